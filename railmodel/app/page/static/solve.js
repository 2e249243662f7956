// The solver: started, watched, looked at beside the job as it is, and taken or left.

import { button, by, make, name, once } from './dom.js';
import { post } from './net.js';
import { angle, length } from './words.js';

const show = (value, unit) => (unit === 'deg' ? angle(value) : `${length(value, unit)} ${unit}`);

export class Solve {
  constructor(store, three) {
    this.store = store;
    this.three = three;
    this.startButton = button('Solve', () => this.start(), { class: 'main-button' });
    this.stopButton = button('Stop', () => post('/api/solve/stop').catch((error) => this.say(error.message)));
    this.accept = button('Take this shape', () => store.send('solve', '/api/solve/accept', {}, { done: (error) => this.say(error ? `✗ ${error.message}` : 'Taken. Undo brings back what was.') }), { class: 'main-button' });
    this.discard = button('Leave it', () => this.leave());
    this.over = make('input', { type: 'checkbox', id: 'overlay', onchange: () => this.overlay() });
    this.over.checked = true;
    this.bar = make('progress', { 'aria-label': 'Solving' });
    this.says = make('p', { role: 'status', id: 'solve-says' });
    this.result = make('div', { id: 'solve-result' });
    this.choice = make('div', { class: 'row' }, this.accept, this.discard, make('span', { class: 'check' }, this.over, make('label', { for: 'overlay' }, 'Show it over the job as it is')));
    by('solve-tools').append(make('div', { class: 'row' }, this.startButton, this.stopButton, this.bar), this.says, this.choice, this.result);
  }

  say(text) {
    this.says.textContent = text;
  }

  async start() {
    this.say('');
    try {
      const { work } = await post('/api/solve', { rev: this.store.state.rev });
      this.store.state.work = work;
      this.progress(work);
    } catch (error) {
      this.say(`✗ ${error.message}`);
      this.store.refresh();
    }
  }

  async leave() {
    try {
      this.store.take(await post('/api/solve/discard'));
      this.say('Left as it was.');
    } catch (error) {
      this.say(`✗ ${error.message}`);
    }
  }

  overlay() {
    this.three.over = Boolean(this.store.state.solve) && this.over.checked;
    if (this.three.view && this.three.solved) this.three.layers();
  }

  progress(work) {
    const mine = work && work.kind === 'solve';
    const runs = Boolean(mine && work.state === 'running');
    this.stopButton.hidden = this.bar.hidden = !runs;
    this.startButton.disabled = runs || this.store.state.readonly;
    if (!mine) return;
    if (runs && work.of) Object.assign(this.bar, { max: work.of, value: work.done });
    else this.bar.removeAttribute('value');
    if (work.state === 'solved' && !this.store.state.solve) { // taken, left, or not here yet: the words were of that shape
      if (this.says.textContent === work.says) this.say('');
      return;
    }
    this.say(work.state === 'failed' ? `✗ ${work.says}` : work.says || '');
  }

  update(state) {
    this.progress(state.work);
    this.choice.hidden = !state.solve;
    this.overlay();
    once(this.result, JSON.stringify([state.solve, state.rev]), () => (state.solve ? this.answer(state.solve) : this.before(state)));
    this.accept.disabled = !state.solve || state.solve.stale || state.readonly || !state.solve.ok;
  }

  before(state) {
    const free = JSON.stringify(state.written).includes('"free":');
    return [make('p', { class: 'quiet' }, free ? 'The solver moves what the job marks free, as little as it can, until everything fits and can be bent.'
      : 'Nothing is marked free: open a point of a part in the form and let the solver move it.')];
  }

  answer({ ok, stale, answer, changes }) {
    const said = [make('p', { class: ok ? 'good' : 'bad' }, ok ? '✓ Every wish is met.' : '✗ Not every wish can be met; this is the nearest.')];
    if (stale) said.push(make('p', { class: 'bad' }, '! The job was changed since; solve again to take a shape.'));
    const head = (words) => make('thead', {}, make('tr', {}, words.map((word) => make('th', { scope: 'col' }, word))));
    const wishes = answer.wishes.map((one) => make('tr', {}, make('th', { scope: 'row' }, name(one.wish)), make('td', { class: 'n' }, show(one.before, one.unit)), make('td', { class: 'n' }, show(one.after, one.unit)),
      make('td', {}, make('span', { class: one.ok ? 'good' : 'bad' }, one.ok ? '✓ met' : `✗ missed by ${show(one.missed_by, one.unit)}`))));
    const values = answer.values.map((one) => make('tr', {}, make('th', { scope: 'row' }, name(one.part), ` ${one.value}`), make('td', { class: 'n' }, show(one.before, one.unit)), make('td', { class: 'n' }, show(one.after, one.unit)), make('td', {}, one.changed ? '● moved' : 'stays')));
    const sheet = (caption, words, rows) => make('div', { class: 'sheet' }, make('table', {}, make('caption', {}, caption), head(words), make('tbody', {}, rows)));
    if (values.length) said.push(sheet('What may move', ['Value', 'Before', 'After', 'State'], values));
    if (wishes.length) said.push(sheet('Wishes', ['Wish', 'Before', 'After', 'State'], wishes));
    if (changes && changes.length) said.push(make('p', { class: 'quiet' }, `Taking it writes ${changes.length} ${changes.length === 1 ? 'value' : 'values'} into the job file: `, changes.map((one) => `${one.from ?? 'nothing'} → ${one.to}`).join(', '), '.'));
    for (const conflict of answer.conflicts || []) {
      said.push(make('p', {}, 'At odds: ', conflict.wishes.map(({ wish, missed_by: by2 }) => `${wish} (missed by ${length(by2, this.store.state.unit)})`).join('; ')));
    }
    return said;
  }
}
