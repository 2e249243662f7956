// Shapes to keep clear of at any position of their travel: a slider for each way they move, and play.

import { button, by, make, name, once } from './dom.js';
import { get } from './net.js';
import { length, travel, withUnit } from './words.js';

const TRACK = 25; // positions of a play
const BEAT = 90; // milliseconds each

export class Travel {
  constructor(three) {
    this.three = three;
    this.host = by('travel');
    this.which = make('select', { id: 'travel-of', onchange: () => this.choose() });
    this.sliders = make('div', { class: 'sliders' });
    this.says = make('p', { role: 'status', class: 'quiet', id: 'travel-says' });
    this.run = button('Play', () => (this.timer ? this.stop() : this.play()), { 'aria-pressed': 'false' });
    this.home = button('As drawn', () => this.rest());
    this.host.append(make('div', { class: 'row' }, make('label', { for: 'travel-of' }, 'Move'), this.which, this.run, this.home), this.sliders, this.says);
    this.busy = false;
    this.groups = [];
  }

  // shapes that share a motion, and those with one of their own
  update(state) {
    this.state = state;
    const groups = new Map();
    for (const shape of state.shapes.filter(({ drivers }) => drivers.length)) {
      const motion = (state.written.keep_clear[shape.entry] || {}).motion;
      const called = motion || shape.name;
      if (!groups.has(called)) groups.set(called, []);
      groups.get(called).push(shape);
    }
    this.groups = [...groups];
    this.host.hidden = !this.groups.length;
    once(this.which, JSON.stringify(this.groups.map(([called]) => called)), () => this.groups.map(([called]) => make('option', { value: called }, called)));
    const drivers = JSON.stringify([this.which.value, (this.group[0] || { drivers: [] }).drivers]);
    if (drivers !== this.drawn) this.choose();
    else if (this.moved && state.rev !== this.rev) this.ask();
    this.rev = state.rev;
  }

  get group() {
    return (this.groups.find(([called]) => called === this.which.value) || this.groups[0] || [null, []])[1];
  }

  choose() {
    this.stop();
    const [shape] = this.group;
    this.drawn = JSON.stringify([this.which.value, shape ? shape.drivers : []]);
    const drivers = shape ? shape.drivers : [];
    this.sliders.replaceChildren(...drivers.map((driver, i) => {
      const id = `travel-${i}`;
      const input = make('input', { type: 'range', id, min: 0, max: 1, step: 0.01, value: driver.rest, oninput: () => this.ask() });
      const said = (value) => (driver.unit === 'deg' ? `${value.toFixed(0)}°` : `${length(value, this.state.unit)}`);
      return make('div', { class: 'slider' }, make('label', { for: id }, `${driver.label[0].toUpperCase()}${driver.label.slice(1)}`),
        make('span', { class: 'end' }, said(driver.from)), input, make('span', { class: 'end' }, said(driver.to)));
    }));
    this.clear();
  }

  get at() {
    return [...this.sliders.querySelectorAll('input')].map((input) => Number(input.value));
  }

  // the gaps and the place of every shape of the group; one question in flight, the newest position wins
  async ask() {
    this.moved = true;
    if (this.busy) {
      this.again = true;
      return;
    }
    this.busy = true;
    do {
      this.again = false;
      const [shapes, at] = [this.group, this.at];
      const found = await Promise.all(shapes.map(({ id }) => get(`/api/travel?shape=${id.split(' ')[1]}&at=${at.join(',')}`).catch(() => null)));
      if (this.moved && !this.again) this.show(shapes, found);
    } while (this.again);
    this.busy = false;
  }

  show(shapes, found) {
    const { state, three } = this;
    const places = {};
    const marks = [];
    const words = [];
    shapes.forEach((shape, i) => {
      if (!found[i]) return;
      places[shape.id] = found[i].matrix;
      const [gap] = [...found[i].gaps].sort((a, b) => (a.gap - a.needs) - (b.gap - b.needs));
      if (!gap) return;
      const state3 = gap.ok ? 'clear' : gap.gap < 0 ? 'runs into it' : 'too near';
      const says = `${shape.name} to ${gap.part}: ${withUnit(gap.gap, state.unit)}, ${length(gap.needs, state.unit)} wanted, ${state3}`;
      words.push(make('li', { class: gap.ok ? '' : 'bad' }, `${gap.ok ? '✓' : '✗'} `, name(shape.name), ' to ', name(gap.part), `: ${withUnit(gap.gap, state.unit)}, ${length(gap.needs, state.unit)} wanted, ${state3}`));
      marks.push({ from: gap.on_part, to: gap.on_shape, badge: `${gap.ok ? '' : '✗ '}${length(gap.gap, state.unit)}`, words: says, kind: gap.ok ? 'good' : 'bad', shape: shape.name });
    });
    const position = found.find((one) => one);
    this.says.replaceChildren(...(position ? [`Here: ${travel(position.position, state.unit) || 'as drawn'}.`, make('ul', { class: 'plain' }, words)] : []));
    three.instead = marks;
    if (!three.view) return;
    three.marks();
    three.view.placeShapes(places);
  }

  clear() {
    this.moved = false;
    this.says.replaceChildren();
    this.three.instead = [];
    if (!this.three.view || !this.three.state) return;
    this.three.view.placeShapes(Object.fromEntries(this.state.shapes.map(({ id }) => [id, [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]])));
    this.three.marks();
  }

  rest() {
    this.stop();
    (this.group[0] || { drivers: [] }).drivers.forEach((driver, i) => { this.sliders.querySelectorAll('input')[i].value = driver.rest; });
    this.clear();
  }

  async play() {
    this.run.setAttribute('aria-pressed', 'true');
    this.run.textContent = 'Stop';
    this.timer = -1;
    const shapes = this.group;
    const tracks = await Promise.all(shapes.map(({ id }) => get(`/api/travel?shape=${id.split(' ')[1]}&track=${TRACK}`).catch(() => null)));
    if (this.timer !== -1) return;
    if (!tracks.length || tracks.includes(null)) {
      this.stop(); // the shape is not there any more, or the program does not answer
      return;
    }
    let beat = 0;
    this.timer = setInterval(() => {
      const poses = tracks.map(({ poses: all }) => all[beat % all.length]);
      if (this.three.view) this.three.view.placeShapes(Object.fromEntries(shapes.map(({ id }, i) => [id, poses[i].matrix])));
      this.sliders.querySelectorAll('input').forEach((input, i) => { input.value = poses[0].at[i]; });
      beat += 1;
    }, BEAT);
  }

  stop() {
    if (!this.timer) return;
    clearInterval(this.timer);
    this.timer = null;
    this.run.setAttribute('aria-pressed', 'false');
    this.run.textContent = 'Play';
    this.ask();
  }
}
