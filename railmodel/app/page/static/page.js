// The page of a job: puts the state into its views, and what a person does into edits.

import { AsBent } from './as_bent.js';
import { Bending } from './bending.js';
import { by } from './dom.js';
import { Files } from './files.js';
import { Flat } from './flat.js';
import { Form } from './form.js';
import { Found } from './found.js';
import { Outside } from './outside.js';
import { JobRecord } from './record.js';
import { Solve } from './solve.js';
import { Store } from './store.js';
import { Three } from './three.js';
import { Travel } from './travel.js';

const PANELS = ['edit', 'solve', 'files', 'bending', 'as-bent', 'record'];
const MARKS = { saved: '✓', waiting: '…', failed: '✗', outside: '!', new: '·' };

const store = new Store();
const says = (text) => { by('says').textContent = text; };
const flatSays = (pieces) => by('flat-says').replaceChildren(...pieces);

const three = new Three(by('three'), {
  picked: (id) => {
    const part = store.state.parts.find((one) => one.id === id);
    const shape = store.state.shapes.find((one) => one.id === id);
    if (part) form.reveal([part.kind === 'crossmember' ? 'crossmembers' : 'parts', part.index]);
    if (shape) form.reveal(['keep_clear', shape.entry]);
  },
  lost: () => {
    by('three').hidden = true;
    by('no-three').hidden = false;
  },
});
const form = new Form(by('form'), store, { says, entered: (at) => mark(at) });
const flats = ['side', 'plan'].map((kind) => new Flat(by(kind), kind, store, { says: flatSays, picked: () => {} }));
const found = new Found({
  pick: (place) => {
    three.pick(place);
    flats.forEach((flat) => flat.pick(place));
    if (place) by(three.view ? 'three' : 'side').scrollIntoView({ block: 'nearest' });
  },
});
const travel = new Travel(three);
const solve = new Solve(store, three);
const files = new Files(store);
const bending = new Bending(store);
const outside = new Outside(store);
let asBent = null; // made when it is first looked at
const record = new JobRecord(store);
const first = [form, three];
const later = [...flats, found, travel, solve, files, bending, outside, record, { update: (state) => asBent?.update(state) }];

// the corner that a person is typing at is marked in the flat views
function mark(at) {
  const [key, index, kind, point] = at;
  document.querySelectorAll('.handle.typed').forEach((one) => one.classList.remove('typed'));
  if (key !== 'parts' || kind !== 'points') return;
  flats.forEach((flat) => flat.handles.get(`${index} ${point}`)?.element.classList.add('typed'));
}

function saved({ state, says: words }) {
  const host = by('saved');
  host.textContent = `${MARKS[state] || ''} ${words}`;
  host.className = state === 'failed' || state === 'outside' ? 'bad' : 'quiet';
  host.dataset.state = state;
}

function head(state) {
  by('name').textContent = state.job.name;
  document.title = `\u2068${state.job.name}\u2069: railmodel`;
  by('file').textContent = `${state.job.file}${state.job.revision ? `, revision ${state.job.revision}` : ''}`;
  saved(state.saved);
  for (const way of ['undo', 'redo']) {
    const made = by(way);
    made.disabled = !state[way] || state.readonly;
    made.title = state[way] ? `${way === 'undo' ? 'Undo' : 'Redo'}: ${state[way]}` : '';
  }
  by('readonly').hidden = !state.readonly;
  by('units').textContent = state.unit === 'in' ? 'Lengths in inches, as a tape is read: 4 1/2, 3\' 6 1/2", 114 mm.' : 'Lengths in mm; 4 1/2" is read too.';
}

// what can be done in the flat views, until something is done there
const DRAG = by('flat-says').textContent;
const NO_DRAG = 'No part is written by points: nothing here can be dragged; change the numbers in the form.';
function draggable({ parts, readonly }) {
  const host = by('flat-says');
  if (readonly) host.hidden = true;
  else if ([DRAG, NO_DRAG].includes(host.textContent)) host.textContent = parts.some(({ drag }) => drag) ? DRAG : NO_DRAG;
}

function undo(way) {
  const field = form.fields.get(document.activeElement?.dataset?.at);
  if (way === 'undo' && field && field.wrong !== null) {
    field.giveUp();
    return;
  }
  if (!store.state[way]) return;
  store.send(way, `/api/${way}`, {}, {
    done: (error) => {
      says(error ? `✗ ${error.message}` : way === 'undo' ? 'Undone.' : 'Done again.');
      const at = form.fields.get(document.activeElement?.dataset?.at);
      if (at && at.wrong === null) at.giveUp(); // the person asked for it: also where they are
    },
  });
}

function route() {
  const wanted = location.hash.slice(1);
  const panel = PANELS.includes(wanted) ? wanted : 'edit';
  document.body.dataset.panel = panel;
  PANELS.forEach((one) => { by(`panel-${one}`).hidden = one !== panel; });
  by('views').hidden = panel === 'bending';
  document.querySelectorAll('nav a[data-panel]').forEach((link) => (link.dataset.panel === panel ? link.setAttribute('aria-current', 'page') : link.removeAttribute('aria-current')));
  if (panel === 'files') files.open();
  if (panel === 'bending') bending.open();
  else bending.close();
  for (const id of ['as-bent-over', 'as-bent-found']) by(id).hidden = panel !== 'as-bent';
  document.querySelectorAll('.flats, .found').forEach((one) => { one.hidden = panel === 'as-bent'; });
  if (panel === 'as-bent') {
    asBent ??= new AsBent(store, three);
    asBent.open();
  } else asBent?.close();
  if (panel === 'record') record.open();
  else record.close();
}

function link(how) {
  by('link').hidden = how === 'on';
  by('link').textContent = how === 'ended' ? '! The program has ended; start it again to go on. What you see is what it last held.' : how === 'lost' ? '! The program does not answer; trying again …' : '';
}

by('undo').addEventListener('click', () => undo('undo'));
by('redo').addEventListener('click', () => undo('redo'));
document.addEventListener('keydown', (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const low = event.key.toLowerCase();
  const way = low === 'z' ? (event.shiftKey ? 'redo' : 'undo') : low === 'y' ? 'redo' : null;
  if (!way) return;
  event.preventDefault();
  undo(way);
});
addEventListener('hashchange', route);

store.on('state', (state) => {
  head(state);
  draggable(state);
  first.forEach((view) => view.update(state));
  const moving = flats.some((flat) => flat.host.contains(document.activeElement));
  if (moving) flats.forEach((flat) => flat.update(state));
  three.then(() => {
    if (state === store.state) later.forEach((view) => (moving && flats.includes(view)) || view.update(state));
  });
});
store.on('meshes', (meshes) => three.hold(meshes));
store.have = () => (three.view ? [...three.meshes.keys()] : null);
store.on('saved', saved);
store.on('work', (work) => {
  solve.progress(work);
  files.progress(work);
});
store.on('link', link);

await store.start();
three.start(store.state);
three.update(store.state);
route();
document.documentElement.dataset.ready = 'yes';
window.page = { store, three, form, flats, travel, bending, record, get asBent() { return asBent; } };
