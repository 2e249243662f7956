// A side or plan view to scale, whose corner points can be dragged or moved by keys. Lengths in the job's unit.

import { name, svg } from './dom.js';
import { gaps, points } from './shown.js';
import { length, withUnit } from './words.js';

const VIEWS = {
  side: { title: 'Side view, seen from the left', axes: [0, 2], names: ['X', 'Z'] },
  plan: { title: 'Plan, seen from above', axes: [0, 1], names: ['X', 'Y'] },
};
const LETTER = 12; // height of letters, pixels
const REACH = 17; // a finger's reach about a point, pixels
const here = Math.random().toString(36).slice(2); // this page, among all that are open
const BARS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000];

export class Flat {
  constructor(host, kind, store, { says, picked }) {
    Object.assign(this, { host, store, says, picked, ...VIEWS[kind], kind });
    this.svg = svg('svg', { role: 'group', 'aria-label': `${this.title}. Points can be dragged, or moved with the arrow keys.` });
    this.layers = Object.fromEntries(['shapes', 'parts', 'gaps', 'marks', 'handles', 'scale'].map((layer) => [layer, svg('g', { class: layer })]));
    this.svg.append(...Object.values(this.layers));
    host.append(this.svg);
    this.handles = new Map();
    this.turn = 0;
    this.place = null;
    new ResizeObserver(() => this.state && this.draw()).observe(host);
  }

  update(state) {
    this.state = state;
    this.draw();
  }

  // a place as it is drawn: right, and down
  spot(at) {
    return [at[this.axes[0]], -at[this.axes[1]]];
  }

  ring(ring) {
    return `M${ring.map(([a, b]) => `${a.toFixed(3)} ${(-b).toFixed(3)}`).join('L')}Z`;
  }

  draw() {
    if (!this.held) this.frame();
    const { layers, state } = this;
    layers.shapes.replaceChildren(...state.shapes.flatMap((shape) => (shape.outline ? [svg('path', { d: shape.outline[this.kind].map((ring) => this.ring(ring)).join('') }, svg('title', {}, shape.name))] : [])));
    layers.parts.replaceChildren(...state.parts.flatMap((part) => [
      svg('g', { class: `tone-${part.tone % 4}` }, svg('title', {}, part.id), part.outline[this.kind].map((ring) => svg('path', { d: this.ring(ring) }))),
      svg('polyline', { points: part.line.map((at) => this.spot(at).join(' ')).join(' ') }),
    ]));
    this.drawMarks();
    this.drawHandles();
    this.drawScale();
  }

  frame() {
    let [left, top, right, foot] = [Infinity, Infinity, -Infinity, -Infinity];
    for (const { outline } of [...this.state.parts, ...this.state.shapes]) {
      for (const ring of outline ? outline[this.kind] : []) {
        for (const [x, y] of ring) {
          if (x < left) left = x;
          if (x > right) right = x;
          if (-y < top) top = -y;
          if (-y > foot) foot = -y;
        }
      }
    }
    if (left > right) return;
    const [wide, high] = [right - left, foot - top];
    const margin = Math.max(wide, high) * 0.05;
    this.box = [left - margin, top - margin, wide + 2 * margin, high + 3 * margin];
    const tall = parseFloat(getComputedStyle(this.svg).maxHeight) || Infinity; // a view as tall as may be leaves room at its sides
    this.pixel = Math.max(this.box[2] / Math.max(200, this.host.clientWidth), this.box[3] / tall); // the unit's length of one pixel
    this.svg.setAttribute('viewBox', this.box.map((value) => value.toFixed(4)).join(' '));
    this.svg.style.fontSize = `${LETTER * this.pixel}px`;
  }

  // short words beside places, kept off each other
  drawMarks() {
    const taken = [];
    const { pixel } = this;
    const text = (words, at, kind, title) => {
      const [x, y] = this.spot(at);
      const half = ((words.length * 0.62 + 0.6) * LETTER * pixel) / 2;
      const tall = LETTER * pixel * 1.1;
      for (const [dx, dy] of [[0, -1.3], [0, 1.9], [1.1, -0.7], [-1.1, -0.7]]) {
        const at2 = [x + dx * half * 1.6, y + dy * tall];
        const box = [at2[0] - half, at2[1] - tall, at2[0] + half, at2[1] + tall * 0.3];
        const [left, top, wide, high] = this.box;
        if (box[0] < left || box[1] < top || box[2] > left + wide || box[3] > top + high) continue;
        if (taken.some((other) => box[0] < other[2] && other[0] < box[2] && box[1] < other[3] && other[1] < box[3])) continue;
        taken.push(box);
        return [svg('circle', { class: `dot ${kind}`, cx: x, cy: y, r: 2.2 * pixel }), svg('text', { class: kind, x: at2[0], y: at2[1] }, words, svg('title', {}, title))];
      }
      return [svg('circle', { class: `dot ${kind}`, cx: x, cy: y, r: 2.2 * pixel })];
    };
    const picked = this.place ? text(this.place.badge, this.place.at, `picked ${this.place.level}`, this.place.words) : [];
    if (this.place) {
      const [cx, cy] = this.spot(this.place.at);
      picked.push(svg('circle', { class: `ring ${this.place.level}`, cx, cy, r: 14 * pixel }));
    }
    const near = (at) => this.kind === 'plan' || at[1] >= -1e-6; // of a pair the side view names the right hand, which is the one written
    const close = gaps(this.state).filter(({ from }) => near(from));
    this.layers.gaps.replaceChildren(...close.flatMap((gap) => {
      const [[x1, y1], [x2, y2]] = [this.spot(gap.from), this.spot(gap.to)];
      return [svg('line', { class: gap.kind, x1, y1, x2, y2 }), ...text(gap.badge, gap.to, `gap ${gap.kind}`, gap.words)];
    }));
    const badges = points(this.state).filter(({ at }) => near(at));
    this.layers.marks.replaceChildren(...badges.flatMap(({ badge, at, words, kind }) => text(badge, at, `badge ${kind}`, words)), ...picked);
  }

  drawHandles() {
    const wanted = new Set();
    for (const part of this.state.readonly ? [] : this.state.parts.filter(({ drag }) => drag)) {
      part.corners.forEach((at, point) => {
        const key = `${part.index} ${point}`;
        wanted.add(key);
        const handle = this.handles.get(key) || this.handle(key, part, point);
        this.settle(handle, part, point, at);
      });
    }
    this.handles.forEach((handle, key) => {
      if (wanted.has(key)) return;
      handle.element.remove();
      this.handles.delete(key);
    });
  }

  handle(key, part, point) {
    const element = svg('g', { class: 'handle', tabindex: 0, role: 'button' }, svg('circle', { class: 'reach' }), svg('rect', {}));
    const made = { key, element, part: part.index, point, goal: null };
    element.addEventListener('pointerdown', (event) => this.take(event, made));
    element.addEventListener('pointermove', (event) => this.drag(event, made));
    for (const kind of ['pointerup', 'pointercancel']) element.addEventListener(kind, () => this.drop(made));
    element.addEventListener('keydown', (event) => this.key(event, made));
    element.addEventListener('focus', () => {
      this.turn += 1;
      this.tell(made);
    });
    this.handles.set(key, made);
    this.layers.handles.append(element);
    return made;
  }

  settle(handle, part, point, at) {
    const [x, y] = this.spot(at);
    const [reach, mark] = handle.element.children;
    const others = part.corners.filter((_, i) => i !== point).map((other) => this.spot(other));
    const room = Math.min(...others.map(([a, b]) => Math.hypot(a - x, b - y))) / 2;
    Object.entries({ cx: x, cy: y, r: Math.min(REACH * this.pixel, Math.max(room, 8 * this.pixel)) }).forEach(([k, v]) => reach.setAttribute(k, v));
    const half = 4.5 * this.pixel;
    Object.entries({ x: x - half, y: y - half, width: 2 * half, height: 2 * half }).forEach(([k, v]) => mark.setAttribute(k, v));
    handle.at = at;
    handle.element.setAttribute('aria-label', `${part.name}, point ${point + 1}: ${this.where(at)}`);
  }

  where(at) {
    return this.names.map((axis, i) => `${axis} ${length(at[this.axes[i]], this.state.unit)}`).join(', ');
  }

  tell(handle) {
    const part = this.state.parts.find(({ index, drag }) => drag && index === handle.part);
    this.says(part ? ['Point ', `${handle.point + 1} of `, name(part.name), `: ${this.where(handle.at)} ${this.state.unit}`] : []);
    this.picked(['parts', handle.part, 'points', handle.point]);
  }

  // how far the pointer went on the glass, in the job's unit, right and up; lines that come and go above move nothing
  gone(event) {
    const { x, y, scale } = this.held;
    return [(event.clientX - x) * scale, (y - event.clientY) * scale];
  }

  take(event, handle) {
    if (event.button !== 0) return;
    handle.element.setPointerCapture(event.pointerId);
    handle.element.focus({ preventScroll: true });
    this.turn += 1;
    const from = this.axes.map((axis) => handle.at[axis]);
    this.held = { handle, from, x: event.clientX, y: event.clientY, scale: 1 / this.svg.getScreenCTM().a };
    handle.element.classList.add('held');
    event.preventDefault();
  }

  drag(event, handle) {
    if (!this.held || this.held.handle !== handle) return;
    const [a, b] = this.gone(event);
    this.move(handle, this.held.from[0] + a, this.held.from[1] + b);
  }

  drop(handle) {
    if (!this.held) return;
    this.held = null;
    handle.element.classList.remove('held');
    this.draw();
  }

  key(event, handle) {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!way || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const step = this.state.snap * (event.shiftKey ? this.state.tape_step || 10 : 1);
    const from = handle.goal || this.axes.map((axis) => handle.at[axis]);
    this.move(handle, from[0] + way[0] * step, from[1] + way[1] * step);
  }

  // asks the server, which snaps to the shop's fraction
  move(handle, a, b) {
    handle.goal = [a, b];
    const to = [null, null, null];
    to[this.axes[0]] = a;
    to[this.axes[1]] = b;
    const key = `drag ${handle.part} ${handle.point}`;
    this.store.edit(key, { op: 'drag', part: handle.part, point: handle.point, to }, {
      group: `${here} ${key} ${this.kind} ${this.turn}`,
      still: () => document.activeElement === handle.element,
      done: (error) => {
        if (!this.store.queue.has(key)) handle.goal = null;
        if (error) this.says([`✗ ${error.message}`]);
        else this.tell(handle);
      },
    });
  }

  drawScale() {
    const [left, top, wide, high] = this.box;
    const bar = BARS.filter((one) => one <= wide / 4).pop() || wide / 4;
    const [x, y] = [left + 10 * this.pixel, top + high - 12 * this.pixel];
    this.layers.scale.replaceChildren(
      svg('path', { d: `M${x} ${y - 4 * this.pixel}V${y}H${x + bar}V${y - 4 * this.pixel}` }),
      svg('text', { x: x + bar + 6 * this.pixel, y }, withUnit(bar, this.state.unit).replace(/\.0+(?= )/, '')),
    );
  }

  // a place of a finding, marked; null for none
  pick(place) {
    this.place = place;
    if (this.state) this.draw();
  }
}
