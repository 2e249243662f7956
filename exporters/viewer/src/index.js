// The 3D view of a frame, as window.RailView. It shows what it is given: shapes and figures are computed elsewhere.
//
//   const view = RailView.create(host, { unit: 'in' });   // null where the browser draws no 3D; host is left alone
//   view.setParts([{ id, name, tone, points, normals, triangles, index }]);   // base64 buffers, vehicle axes, mm
//   view.setPoints([{ badge, at: [x, y, z], words, kind }]);                  // the first ones matter most
//   view.setHighlights([{ part, level, badge, at, words }]);                  // level: stop, warn or note
//   view.setCamera('side' | 'front' | 'top' | 'pictorial' | { turn, tilt });  // degrees; shows the whole frame
//
// A page where the frame is worked on shows more; there buffers may be arrays, and a key says what is alike:
//
//   view.setShapes([{ id, name, points, normals, triangles, index }], marked); // seen through; ids of those marked
//   view.placeShapes({ id: [16 numbers] });                                    // matrices, row by row
//   view.setGaps([{ from, to, badge, words, kind }]);                          // lines, drawn over everything
//   view.setGhosts([{ id, name, points, ... }]);                               // parts as they were before
//   view.showPlace({ at, badge, level, words } | null);                        // brought to the middle, and marked
//   view.setSkin({ name, points, triangles } | null);                          // a body that changes its shape
//   view.setExtent([x, y, z, x, ...] | null);                                  // what Fit shows, instead of the parts
//
// Words that come from a job are put in as text, each name in an isolate of its own.

import { OrthographicCamera, WebGLRenderer } from 'three';

import { hands } from './hands.js';
import { Labels } from './labels.js';
import { Orbit } from './orbit.js';
import { Parts } from './scene.js';

const VIEWS = {
  side: { label: 'Side', turn: 0, tilt: 0, words: 'Side view, seen from the left.' },
  front: { label: 'Front', turn: -90, tilt: 0, words: 'Front view, seen from the front.' },
  top: { label: 'Top', turn: 0, tilt: 90, words: 'Top view, seen from above.' },
  pictorial: { label: 'Pictorial', turn: 35, tilt: 28, words: 'Pictorial view, from the rear left and above.' },
};
const KEYS = 'Arrow keys turn, plus and minus zoom, shift and arrow keys move, F fits, M measures, Enter takes the '
  + 'place in the middle, Escape ends measuring.';
const MM_PER_INCH = 25.4;

const BESIDE = 0.45; // a place is shown with this part of the whole frame around it

const element = (tag, name, ...inside) => {
  const made = document.createElement(tag);
  if (name) made.className = name;
  made.append(...inside);
  return made;
};
const degrees = (radians) => Math.round((radians * 180) / Math.PI);

class View {
  constructor(host, renderer, { unit = 'mm', what = 'frame', onLost = () => {}, onPick = () => {} }) {
    this.unit = unit;
    this.what = what;
    this.onPick = onPick;
    this.host = host;
    this.renderer = renderer;
    this.parts = new Parts();
    this.orbit = new Orbit();
    this.camera = new OrthographicCamera();
    this.points = [];
    this.highlights = [];
    this.gaps = [];
    this.picked = null;
    this.extent = null;
    this.measured = [];
    this.measuring = false;
    this.aim = 'pictorial';
    this.whole = true; // the whole frame is shown; a new size of the window keeps it so
    this.frames = 0;
    this.asked = false;
    this.build();
    this.size = new ResizeObserver(() => this.resize());
    this.size.observe(this.stage);
    this.scheme = matchMedia('(prefers-color-scheme: dark)');
    this.repaint = () => this.draw();
    this.scheme.addEventListener('change', this.repaint);
    this.canvas.addEventListener('webglcontextlost', () => {
      this.dispose();
      onLost();
    });
    this.resize();
  }

  build() {
    this.canvas = this.renderer.domElement;
    this.canvas.className = 'rv-canvas';
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute('role', 'application');
    this.canvas.setAttribute('aria-label', `3D view of the ${this.what}. ${KEYS}`);
    this.layer = element('div', 'rv-layer');
    this.layer.setAttribute('aria-hidden', 'true');
    this.cross = element('span', 'rv-cross');
    this.cross.hidden = true;
    this.layer.append(this.cross);
    this.labels = new Labels(this.layer);
    this.stage = element('div', 'rv-stage', this.canvas, this.layer);
    this.status = element('p', 'rv-status');
    this.status.setAttribute('role', 'status');
    this.bar = element('div', 'rv-bar');
    this.bar.setAttribute('role', 'group');
    this.bar.setAttribute('aria-label', '3D view');
    this.buttons = {};
    this.group();
    for (const [name, { label }] of Object.entries(VIEWS)) this.button(name, label, () => this.setCamera(name));
    this.group();
    this.button('fit', 'Fit', () => this.fit());
    this.button('measure', 'Measure', () => this.measure(!this.measuring));
    this.button('labels', 'Labels', () => this.showLabels(!this.labels.on));
    this.host.replaceChildren(this.bar, this.stage, this.status);
    hands(this.canvas, this.orbit, {
      changed: () => {
        this.aim = null;
        this.whole = false;
        this.draw();
      },
      ended: () => this.tellTurn(),
      tapped: (x, y) => this.tapped(x, y),
      key: (key) => this.key(key),
    });
    this.pressed();
  }

  group() {
    this.bar.append(element('div', 'rv-group'));
  }

  button(name, label, act) {
    const made = element('button', 'rv-button', label);
    made.type = 'button';
    made.addEventListener('click', act);
    this.buttons[name] = made;
    this.bar.lastChild.append(made);
  }

  pressed() {
    for (const name of Object.keys(VIEWS)) this.buttons[name].setAttribute('aria-pressed', this.aim === name);
    this.buttons.measure.setAttribute('aria-pressed', this.measuring);
    this.buttons.labels.setAttribute('aria-pressed', this.labels.on);
    this.cross.hidden = !this.measuring;
  }

  setParts(parts) {
    this.parts.set(parts);
    this.changed();
  }

  setSkin(body) {
    this.parts.setSkin(body);
    this.changed();
  }

  setExtent(extent) {
    this.extent = extent;
    this.changed();
  }

  changed() {
    this.measured = [];
    if (this.whole) this.show();
    this.draw();
  }

  setShapes(shapes, marked = []) {
    this.parts.setShapes(shapes, new Set(marked));
    this.draw();
  }

  placeShapes(places) {
    this.parts.place(places);
    this.draw();
  }

  setGhosts(parts) {
    this.parts.setGhosts(parts);
    this.draw();
  }

  setGaps(gaps) {
    this.gaps = gaps;
    this.labels.setLines(gaps);
    this.relabel();
  }

  setPoints(points) {
    this.points = points;
    this.relabel();
  }

  // badges, the ones that matter most first
  relabel() {
    const places = this.picked ? [{ ...this.picked, kind: `picked rv-${this.picked.level}`, always: true }] : [];
    const gaps = this.gaps.map((gap) => ({ ...gap, at: gap.to, kind: `gap rv-gap-${gap.kind}` }));
    this.labels.set([...places, ...this.highlights.filter(({ at }) => at), ...gaps, ...this.points]);
    this.draw();
  }

  // brings a place to the middle and marks it; null takes the mark away
  showPlace(place) {
    this.picked = place;
    if (place) {
      this.orbit.fit(this.all, this.aspect);
      this.orbit.aim(place.at, BESIDE);
      this.whole = false;
      this.tell({ name: place.words });
    }
    this.relabel();
  }

  setHighlights(highlights) {
    this.highlights = highlights.map((one) => ({ ...one, kind: one.level, always: true }));
    const levels = new Map();
    for (const { part, level } of highlights) {
      if (part && (level === 'stop' || !levels.has(part))) levels.set(part, level);
    }
    this.parts.mark(levels);
    this.setPoints(this.points);
  }

  setCamera(wanted) {
    const { turn, tilt, words } = VIEWS[wanted] || wanted;
    this.orbit.look((turn * Math.PI) / 180, (tilt * Math.PI) / 180);
    this.aim = VIEWS[wanted] ? wanted : null;
    this.whole = true;
    this.show();
    this.draw();
    if (words) this.tell(words);
    else this.tellTurn();
  }

  fit() {
    this.whole = true;
    this.show();
    this.draw();
    this.tell(`The whole ${this.what} is shown.`);
  }

  show() {
    this.orbit.fit(this.all, this.aspect);
  }

  // every place that Fit must show, [x, y, z, x, ...]
  get all() {
    return this.extent || this.parts.points;
  }

  showLabels(on) {
    this.labels.on = on;
    this.draw();
    this.tell(on ? 'Labels are shown.' : 'Labels are hidden.');
  }

  measure(on) {
    this.measuring = on;
    this.measured = [];
    this.draw();
    this.tell(on ? 'Measuring: tap two places on the tubes.' : 'Measuring ended.');
  }

  key(key) {
    const low = key.toLowerCase();
    if (low === 'f' || key === '0') this.fit();
    else if (low === 'm') this.measure(!this.measuring);
    else if (key === 'Escape' && this.measuring) this.measure(false);
    else if (key === 'Enter') this.tapped(this.width / 2, this.height / 2);
    else return false;
    return true;
  }

  tapped(x, y) {
    const point = this.measuring ? null : this.labels.under(x, y);
    if (point) {
      this.tell({ name: point.words });
      return;
    }
    this.place(); // as it will be drawn next
    const hit = this.parts.under((2 * x) / this.width - 1, 1 - (2 * y) / this.height, this.camera, !this.measuring);
    if (!this.measuring) {
      if (hit) this.tell({ name: hit.name });
      if (hit) this.onPick(hit.id);
    } else if (!hit) {
      this.tell('No tube there; tap a place on a tube.');
    } else {
      this.take(hit);
    }
  }

  take({ place, name }) {
    this.measured = this.measured.length === 1 ? [this.measured[0], place] : [place];
    this.draw();
    if (this.measured.length === 1) {
      this.tell('First place taken, on ', { name }, '. Tap the second.');
      return;
    }
    this.distance = this.measured[0].distanceTo(place);
    this.tell(`About ${this.say(this.distance)} between the two places, straight through the air: an indication, `
      + 'not a dimension. Tap again to measure anew.');
  }

  say(mm) {
    return this.unit === 'in' ? `${(mm / MM_PER_INCH).toFixed(1)} in` : `${Math.round(mm)} mm`;
  }

  tell(...pieces) {
    this.status.replaceChildren(...pieces.map((piece) => (piece.name === undefined ? piece : element('bdi', '', piece.name))));
  }

  tellTurn() {
    const { turn, tilt } = this.orbit;
    const height = tilt >= 0 ? `${degrees(tilt)} degrees from above` : `${degrees(-tilt)} degrees from below`;
    this.tell(`Turned ${degrees(turn)} degrees from the side view, ${height}.`);
  }

  resize() {
    const [width, height] = [Math.max(1, this.stage.clientWidth), Math.max(1, this.stage.clientHeight)];
    const sharp = Math.min(2, devicePixelRatio || 1);
    if (width === this.width && height === this.height && sharp === this.sharp) return;
    [this.width, this.height, this.sharp, this.aspect] = [width, height, sharp, width / height];
    this.renderer.setDrawingBufferSize(width, height, sharp);
    if (this.whole) this.show();
    if (this.frames) this.render(); // at once: a canvas of a new size is empty
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      if (this.asked && this.renderer) this.render();
    });
  }

  // draws what was asked for; called from outside, it does not wait for the screen's next picture
  render() {
    this.asked = false;
    const style = getComputedStyle(this.host);
    this.parts.paint((name) => style.getPropertyValue(`--rv-${name}`).trim() || '#888');
    this.place();
    this.renderer.render(this.parts.scene, this.camera);
    this.labels.draw(this.orbit, this.width, this.height, this.measured);
    this.pressed();
    this.frames += 1;
  }

  place() {
    this.orbit.place(this.camera, this.aspect, 2e4 + this.orbit.span);
  }

  dispose() {
    if (!this.renderer) return;
    this.size.disconnect();
    this.scheme.removeEventListener('change', this.repaint);
    this.parts.dispose();
    this.renderer.dispose();
    this.renderer = null;
    this.host.replaceChildren();
  }
}

// whether pictures are drawn by the processor, where smooth edges cost more than all else
function slow(renderer) {
  const gl = renderer.getContext();
  const told = gl.getExtension('WEBGL_debug_renderer_info');
  return told !== null && /swiftshader|llvmpipe|software/i.test(gl.getParameter(told.UNMASKED_RENDERER_WEBGL));
}

// quick: where the picture follows a person's typing, and must not keep them waiting
export function create(host, { quick = false, ...options } = {}) {
  let renderer;
  const made = (antialias) => new WebGLRenderer({ antialias, alpha: true, powerPreference: 'low-power' });
  try {
    renderer = made(true);
    if (quick && slow(renderer)) {
      renderer.dispose();
      renderer.forceContextLoss();
      renderer = made(false);
    }
  } catch {
    return null;
  }
  renderer.setClearColor(0, 0);
  return new View(host, renderer, options);
}
