// Beside the machine: one bend at a time in large type, one tap a bend. How far a tube is stays in this browser.

import { by, make, name, once } from './dom.js';
import { get } from './net.js';
import { Store } from './store.js';
import { angle, gauged, length, marked, markWords } from './words.js';

const BETWEEN = 400; // milliseconds from one tap to the next that counts
const store = new Store();
const which = by('which');
const card = by('card');
let data = null;
let stops = [];
let question = null; // what is asked and not answered yet

const chosen = () => JSON.parse(which.value || '[]');
const own = (...more) => JSON.stringify([store.state.job.folder, store.state.job.file, ...more]);
const place = () => `railmodel bends ${own(...chosen())}`;
const last = () => `railmodel part ${own()}`; // the part that was chosen last

// what is kept of a tube: {key of the plan, how many bends are made}
function kept() {
  try {
    return JSON.parse(localStorage.getItem(place())) || { key: null, done: 0 };
  } catch {
    return { key: null, done: 0 };
  }
}

function keep(done) {
  localStorage.setItem(place(), JSON.stringify({ key: data.key, done }));
  draw();
}

// the bends in order, each with its orders
const bends = () => data.steps.filter(({ kind }) => kind === 'bend').map(({ order, bend }) => ({ bend, ...order }));

// the part stays the one that was chosen, on this page or the last time; nobody is taken to another one
function choices(state) {
  const named = state.parts.filter(({ kind, bends: some }) => kind === 'part' && some.length).map(({ id, name: part, hand }) => [JSON.stringify([part, hand]), id]);
  const asked = new URLSearchParams(location.search);
  const wanted = which.dataset.set ? [which.value] : [JSON.stringify([asked.get('part'), asked.get('hand')]), localStorage.getItem(last())];
  const there = wanted.find((one) => named.some(([value]) => value === one));
  once(which, JSON.stringify(named), () => named.map(([value, id]) => make('option', { value }, id)));
  if (there) which.value = there;
  else if (which.dataset.set) which.selectedIndex = -1;
  if (named.length) which.dataset.set = 'yes';
}

function choose() {
  const [part, hand] = chosen();
  localStorage.setItem(last(), which.value);
  history.replaceState(null, '', `?part=${encodeURIComponent(part)}&hand=${encodeURIComponent(hand)}`);
  load();
}

// nothing to follow: no orders of another part, or of the job as it was, stay in sight
function blank(words, kind = null) {
  data = null;
  card.replaceChildren(make('p', { class: kind }, words));
  by('dots').replaceChildren();
  by('next').disabled = by('back').disabled = by('again').hidden = true;
  by('next').textContent = '…';
  delete document.documentElement.dataset.bend;
}

async function load() {
  const asked = {};
  question = asked;
  if (!which.value) {
    question = null;
    blank(which.options.length ? 'The part that was chosen is not in this job any more; choose one.' : 'No part of this job has bends.');
    return;
  }
  blank('Being worked out …');
  const [part, hand] = chosen();
  try {
    for (;;) {
      const found = await get(`/api/rehearsal?part=${encodeURIComponent(part)}&hand=${encodeURIComponent(hand)}`);
      if (question !== asked) return;
      if (found && !found.busy) {
        question = null;
        data = found;
        draw();
        return;
      }
      await new Promise((done) => setTimeout(done, 300));
      if (question !== asked) return;
    }
  } catch (error) {
    if (question !== asked) return;
    question = null;
    data = planned(part, hand);
    if (data) draw();
    else blank(`✗ ${error.message}`, 'bad');
  }
}

// where the shop says too little of its bender for a rehearsal, the plan alone has the orders; nothing while it is not there
function planned(part, hand) {
  const { answer } = store.state.plan;
  const found = answer && answer.parts.find((one) => one.part === part && one.hand === hand && one.steps.length);
  return found ? {
    key: JSON.stringify(found.steps), unit: answer.units.length, seen: answer.turns.replace(/^as seen /, ''), leading_end: found.leading_end,
    set_angle_places: answer.set_angle_places, cut_length: found.cut_length,
    trims: [[found.trim_lead, 'leading end'], [found.trim_tail, 'tail']].filter(([trim]) => trim > 0).map(([trim, end]) => [length(trim, answer.units.length), end]),
    steps: found.steps.map((order) => ({ kind: 'bend', bend: order.bend, order })),
  } : null;
}

function draw() {
  const [part, hand] = chosen();
  const all = bends();
  const had = kept();
  const changed = had.key !== null && had.key !== data.key && had.done > 0;
  const done = had.key === data.key ? Math.min(had.done, all.length) : 0;
  const answer = store.state.checks.answer;
  stops = ((answer && answer.findings) || store.state.quick.findings).filter((one) => one.level === 'stop' && one.part === part && (!one.hand || one.hand === hand));
  by('dots').replaceChildren(...all.map((_, i) => make('li', { class: i < done ? 'made' : i === done ? 'now' : '', 'aria-current': i === done ? 'step' : null }, `${i + 1}`, make('span', { class: 'unseen' }, i < done ? ' made' : ''))));
  const told = done < all.length ? next(all[done], done, all.length) : finished(all.length, data);
  const warn = changed ? make('p', { class: 'bad' }, '! The job was changed since this tube was begun; the count starts anew. Measure the tube before you go on.') : null;
  const stop = stops.length ? make('div', { class: 'bad stopper', role: 'alert' }, make('strong', {}, '✗ DO NOT BEND'), stops.map(({ says }) => make('p', {}, says))) : null;
  card.replaceChildren(...[stop, warn, ...told].filter((one) => one));
  by('back').disabled = done === 0;
  by('next').disabled = done >= all.length;
  by('next').textContent = done >= all.length ? 'All bends made' : `Bend ${done + 1} is made`;
  by('again').hidden = done < all.length;
  document.documentElement.dataset.bend = String(done);
}

const fact = (term, words, kind = '') => make('div', { class: kind }, make('dt', {}, term), make('dd', {}, words));

function next(order, done, count) {
  const unit = data.unit;
  const { turn } = order;
  const [mark, beside] = marked(order.mark_tape || length(order.mark, unit), unit);
  const before = done ? bends()[done - 1].die : order.die;
  const gauge = gauged(order, bends(), unit);
  const cut = marked(data.cut_length_tape || length(data.cut_length, unit), unit);
  return [
    make('h2', {}, `Bend ${done + 1} of ${count}`),
    make('p', { class: 'turn' }, `${turn[0].toUpperCase()}${turn.slice(1)}${order.turn_over ? `, ${order.turn_over}` : ''}`),
    before === order.die || !order.die ? null : make('p', { class: 'change' }, 'Change to die ', name(order.die), '.'),
    make('dl', { class: 'big' },
      fact('Mark at', [mark, make('span', { class: 'less' }, ` ${beside}`)], 'wide'),
      gauge ? fact('Mark at the gauge', [gauge[0], make('span', { class: 'less' }, ` ${gauge[1]}`)], 'wide') : '',
      fact('Set angle', angle(order.set_angle, data.set_angle_places)), fact('Face on the die', order.face_on_die), fact('Face up', order.face_up),
      fact('Die', order.die ? name(order.die) : 'none of the shop’s'), fact('Finished angle', angle(order.finished_angle, 1)), order.seam ? fact('Weld seam', order.seam) : '',
      done ? '' : fact('Cut length', [cut[0], make('span', { class: 'less' }, ` ${cut[1]}`)])),
    make('p', { class: 'quiet' }, `Marks count from the leading cut end. Turns are as seen ${data.seen}. The ${data.leading_end} end leads.`),
  ];
}

const finished = (count, { trims, unit }) => [
  make('h2', {}, '✓ All bends made'),
  trims.length ? make('p', { class: 'change' }, `Cut off ${trims.map(([text, end]) => `${markWords(text, unit)} at the ${end}`).join(' and ')}.`) : null,
  make('p', {}, `${count} of ${count}. Check the part against its inspection record before the next tube is cut.`),
];

// the screen stays on while this page is in front, where the browser can do that
let lock = null;
async function wake() {
  const words = by('awake');
  if (!('wakeLock' in navigator)) {
    words.textContent = '! This browser lets the screen go dark; set it to stay on.';
    return;
  }
  if (document.visibilityState !== 'visible' || (lock && !lock.released)) return;
  try {
    lock = await navigator.wakeLock.request('screen');
    words.textContent = '✓ The screen stays on.';
    lock.addEventListener('release', () => { words.textContent = 'The screen may go dark.'; });
  } catch {
    words.textContent = '! The screen may go dark: this device does not allow it to be kept on.';
  }
}

// a second tap right after the first is a slip of the hand: no bend is made so soon
let tapped = -Infinity;
const slip = ({ timeStamp }) => {
  const soon = timeStamp - tapped < BETWEEN;
  if (!soon) tapped = timeStamp;
  return soon;
};

which.addEventListener('change', choose);
by('next').addEventListener('click', (event) => {
  wake();
  if (slip(event)) return;
  keep(Number(document.documentElement.dataset.bend) + 1);
});
by('back').addEventListener('click', (event) => slip(event) || keep(Number(document.documentElement.dataset.bend) - 1));
by('again').addEventListener('click', (event) => slip(event) || keep(0));
document.addEventListener('visibilitychange', wake);

let rev = null;
store.on('state', (state) => {
  by('job').textContent = `${state.job.name}${state.job.revision ? `, revision ${state.job.revision}` : ''}`;
  const before = which.value;
  choices(state);
  const anew = state.rev !== rev || which.value !== before || (!data && !question);
  rev = state.rev;
  if (anew) load();
  else if (data) draw();
});
store.on('link', (how) => {
  by('link').hidden = how === 'on';
  by('link').textContent = how === 'ended' ? '! The program has ended. This list goes on as it is.' : how === 'lost' ? '! The program does not answer. This list goes on as it is.' : '';
});
wake();
await store.start();
document.documentElement.dataset.ready = 'yes';
