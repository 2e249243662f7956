// The view that can be turned: fed with meshes of the server, of which only those that changed are asked for.

import { get } from './net.js';
import { gaps, highlights, points } from './shown.js';

// once what was just drawn is on the screen; a page that is not looked at draws no frames
function soon(act) {
  let done = false;
  const once = () => {
    if (!done) act();
    done = true;
  };
  requestAnimationFrame(() => setTimeout(once));
  setTimeout(once, 100);
}

export class Three {
  constructor(host, { picked, lost }) {
    this.host = host;
    this.lost = lost;
    this.picked = picked;
    this.meshes = new Map(); // from a key to its buffers
    this.busy = false;
    this.wanted = null;
    this.after = [];
    this.view = null;
    this.bent = []; // a piece as it was bent, drawn over the frame
    this.instead = []; // gaps at a position of travel, instead of the least ones of these shapes
    this.changed = 0; // how many times a new shape was put on the screen
  }

  start(state) {
    this.host.hidden = false;
    this.view = RailView.create(this.host, { quick: true, unit: state.unit, onLost: () => this.lost(), onPick: (id) => this.picked(id) });
    if (!this.view) this.lost();
    else this.view.setCamera('pictorial');
  }

  update(state) {
    if (!this.view) return;
    this.state = state;
    this.wanted = state;
    this.fetch();
  }

  async fetch() {
    if (this.busy) return;
    this.busy = true;
    try {
      while (this.wanted) {
        const state = this.wanted;
        this.wanted = null;
        const all = [...state.meshes, ...((state.solve && state.solve.meshes) || [])];
        if (all.some(({ key }) => !this.meshes.has(key))) this.hold((await get(`/api/mesh?rev=${state.rev}&have=${[...this.meshes.keys()].join(',')}`)).meshes);
        if (!this.wanted) this.show(state, all);
      }
    } finally {
      this.busy = false;
      const acts = this.after.splice(0);
      if (acts.length) soon(() => acts.forEach((act) => act()));
    }
  }

  // does something once the newest shape is on the screen
  then(act) {
    if (this.busy) this.after.push(act);
    else soon(() => (this.busy ? this.after.push(act) : act()));
  }

  // meshes as they came: {key, points, normals, triangles, index}
  hold(meshes) {
    meshes.forEach(({ key, ...buffers }) => this.meshes.set(key, buffers));
  }

  show(state, all) {
    const called = new Map([...state.parts, ...state.shapes].map((one) => [one.id, one]));
    const given = (one) => ({ id: one.id, name: one.name || (one.kind === 'shape' && called.get(one.id)?.name) || one.id, tone: (one.tone ?? called.get(one.id)?.tone) || 0, key: one.key, ...this.meshes.get(one.key) });
    const kept = all.filter(({ key }) => this.meshes.has(key));
    const parts = kept.filter(({ kind }) => kind !== 'shape' && kind !== 'solved').map(given);
    const shapes = kept.filter(({ kind }) => kind === 'shape').map(given);
    const keys = new Set(kept.map(({ key }) => key));
    this.meshes.forEach((_, key) => keys.has(key) || this.meshes.delete(key));
    this.view.unit = state.unit;
    this.view.setParts(parts);
    this.shapes = shapes;
    this.solved = kept.filter(({ kind, id }) => kind === 'solved' || id.startsWith('solved ')).map(given);
    this.marks();
    this.layers();
    if (this.view.frames) this.view.render(); // a person waits for it
    this.changed += 1;
  }

  // shapes, ghosts, badges: all that lies over the parts
  marks() {
    const { state, view } = this;
    const mm = (at) => at.map((value) => value * state.unit_mm);
    const near = gaps(state).filter(({ kind, shape }) => kind === 'bad' && !this.instead.some((one) => one.shape === shape)).map(({ shape }) => shape);
    const bad = new Set([...near, ...this.instead.filter(({ kind }) => kind === 'bad').map(({ shape }) => shape)]);
    view.setShapes(this.shapes, state.shapes.filter(({ name }) => bad.has(name)).map(({ id }) => id));
    const moved = new Set(this.instead.map(({ shape }) => shape));
    const still = gaps(state).filter(({ shape }) => !moved.has(shape)).map((gap) => ({ ...gap, from: mm(gap.from), to: mm(gap.to) }));
    view.setGaps([...this.instead, ...still]);
    view.setHighlights(highlights(state).map((one) => ({ ...one, at: mm(one.at) })));
    view.setPoints(points(state).map((one) => ({ ...one, at: mm(one.at) })));
  }

  // what is drawn over what: the parts as they are, as the solver would have them, and as bent
  layers() {
    this.view.setGhosts([...(this.over ? this.solved : []), ...this.bent]);
  }

  pick(place) {
    if (this.view) this.view.showPlace(place && { ...place, at: place.at.map((value) => value * this.state.unit_mm) });
  }
}
