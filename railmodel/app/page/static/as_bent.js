// A bent piece beside the bench: what was measured is typed here, what it tells is asked of the server, and all of it
// is kept in this browser until it is saved as a record beside the job.

import { BentForm, essence, keyOf, lineOf, measured, seed, suggest } from './bent_form.js';
import { suggestions, told } from './bent_found.js';
import { button, by, make, name, once } from './dom.js';
import { get, post } from './net.js';

const PATIENCE = 200; // milliseconds without a key before the server is asked

function buffers(mesh) {
  const bytes = (text) => Uint8Array.from(atob(text), (one) => one.charCodeAt(0)).buffer;
  const Whole = mesh.index === 'uint32' ? Uint32Array : Uint16Array;
  return { points: new Float32Array(bytes(mesh.points), 0, 3 * mesh.vertices), normals: new Int8Array(bytes(mesh.normals), 0, 3 * mesh.vertices), triangles: new Whole(bytes(mesh.triangles), 0, 3 * mesh.count) };
}

export class AsBent {
  constructor(store, three) {
    Object.assign(this, { store, three });
    this.shown = false;
    this.info = null; // parts and records, as of a revision
    this.drafts = {}; // from a record's name, or that of a part for a new one, to {draft, stamp, saved}
    this.now = { label: null, name: null };
    this.asking = 0;
    this.part = make('select', { id: 'bent-part', onchange: () => this.choose({ label: this.part.value, name: null }) });
    this.which = make('select', { id: 'bent-record', onchange: () => this.choose({ label: this.now.label, name: this.which.value || null }) });
    this.bent = make('select', { id: 'bent-so-far', onchange: () => this.put('bent', this.bent.value) });
    this.first = make('div', { id: 'bent-first' });
    this.host = make('div', { id: 'bent-form' });
    this.file = make('input', { type: 'text', id: 'bent-name', autocomplete: 'off', spellcheck: 'false', 'aria-describedby': 'bent-name-why', oninput: () => this.typing() });
    this.fileWhy = make('p', { class: 'why', id: 'bent-name-why', hidden: true });
    this.save = button('Save the record', () => this.write(), { class: 'main-button' });
    this.anew = button('Start again', () => this.again());
    this.back = button('Bring back what was typed', () => this.bringBack(), { hidden: true });
    this.log = button('', () => this.record());
    this.says = make('p', { role: 'status', id: 'bent-says' });
    this.troubles = make('ul', { class: 'plain quiet' });
    this.form = new BentForm(this.host, { changed: () => this.typed(), again: () => this.redraw() });
    const pick = (label, input, kind = 'field') => make('div', { class: kind }, make('label', { for: input.id }, label), input);
    this.keeping = make('div', { class: 'keeping' }, make('h3', {}, 'Keep it'), make('div', { class: 'field' }, make('label', { for: 'bent-name' }, 'Name of the record'), this.file, this.fileWhy),
      make('div', { class: 'row' }, this.save, this.anew, this.back), make('p', { class: 'quiet', id: 'bent-where' }), this.log);
    by('as-bent-tools').append(make('div', { class: 'fields' }, pick('Part', this.part), pick('Bends made so far', this.bent), pick('Record', this.which, 'field wide')), this.troubles, this.first, this.host, this.keeping, this.says);
    this.over = make('input', { type: 'checkbox', id: 'bent-over', onchange: () => this.overlay() });
    this.over.checked = true;
    this.times = make('select', { id: 'bent-times', onchange: () => this.look() }, [['1', 'as far off as it is'], ['10', '10 times as far off']].map(([value, words]) => make('option', { value }, words)));
    by('as-bent-over').append(make('span', { class: 'check' }, this.over, make('label', { for: 'bent-over' }, 'Show the piece as bent over the frame')), make('label', { for: 'bent-times', class: 'unseen' }, 'Drawn'), this.times, make('p', { class: 'quiet', id: 'bent-laid' }));
    this.found = by('as-bent-found');
    this.recall();
  }

  // what is kept in this browser

  get place() {
    const { folder, file } = this.store.state.job;
    return `railmodel as bent ${JSON.stringify([folder, file])}`;
  }

  recall() {
    try {
      const kept = JSON.parse(localStorage.getItem(this.place));
      if (kept) Object.assign(this, { drafts: kept.drafts || {}, now: kept.now || this.now });
    } catch {
      this.drafts = {};
    }
  }

  keep() {
    for (const [key, one] of Object.entries(this.drafts)) if (key !== this.key && essence(one.draft) === one.saved) delete this.drafts[key];
    try {
      localStorage.setItem(this.place, JSON.stringify({ drafts: this.drafts, now: this.now }));
    } catch {
      this.tell('! This browser keeps nothing here; save the record before the page is closed.');
    }
  }

  get key() {
    return this.now.name || `new ${this.now.label}`;
  }

  get held() {
    return this.drafts[this.key];
  }

  get partInfo() {
    return this.info.parts.find(({ label, problem }) => label === this.now.label && !problem);
  }

  // opening and choosing

  async open() {
    if (this.shown) return;
    this.shown = true;
    await this.load();
  }

  close() {
    this.shown = false;
    this.overlay();
  }

  update(state) {
    if (this.shown && this.info && this.rev !== state.rev) this.load();
  }

  async load() {
    const { rev } = this.store.state;
    this.rev = rev;
    try {
      this.info = await get('/api/as_bent');
    } catch (error) {
      this.tell(`✗ ${error.message}`);
      return;
    }
    if (this.rev !== rev) return;
    const labels = this.info.parts.filter(({ problem }) => !problem).map(({ label }) => label);
    once(this.part, JSON.stringify(labels), () => labels.map((label) => make('option', { value: label }, label)));
    const { label, name: record } = this.now;
    const there = record === null || this.info.records.some((one) => one.name === record) || Boolean(this.drafts[record]);
    await this.choose({ label: labels.includes(label) ? label : labels[0] ?? null, name: there ? record : null });
  }

  async choose({ label, name: record }) {
    this.now = { label, name: record };
    this.back.hidden = true;
    this.before = null;
    this.tell('');
    this.list();
    this.part.value = label || '';
    if (!label) {
      this.found.replaceChildren(make('p', { class: 'quiet' }, 'No part of this job has bends.'));
      return;
    }
    this.answer = null;
    if (record && (!this.held || this.store.state.readonly)) await this.fetch(record);
    if (!record && !this.held) this.drafts[this.key] = { draft: this.blank(label), stamp: null, saved: null, name: this.freeName(label) };
    if (!this.held) {
      await this.choose({ label, name: null });
      return;
    }
    this.redraw();
    if (this.answer) this.show();
  }

  async fetch(record) {
    try {
      const got = await get(`/api/as_bent/record?name=${encodeURIComponent(record)}`);
      const label = this.labelOf(got.draft) || this.now.label;
      if (got.name !== record) delete this.drafts[record];
      this.now = { label, name: got.stamp === null ? null : got.name };
      this.part.value = label;
      this.drafts[this.key] = { draft: got.draft, stamp: got.stamp, saved: essence(got.draft), name: got.name };
      if (got.stamp === null) this.drafts[this.key].saved = null;
      this.answer = got.look;
    } catch (error) {
      this.tell(`✗ ${error.message}`);
    }
  }

  labelOf({ part, hand }) {
    const parts = this.info.parts.filter(({ problem }) => !problem);
    const found = parts.find((one) => one.part === part && (one.hand === (hand || 'single') || one.hand === 'single')) || (part ? null : parts.length === 1 && parts[0]);
    return found ? found.label : null;
  }

  blank(label) {
    const { part, hand } = this.info.parts.find((one) => one.label === label);
    return { part, hand: hand === 'single' ? '' : hand, bent: '', set: '' };
  }

  freeName(label) {
    const stem = label.toLowerCase().replace(/[^a-z0-9]+/g, '_').replace(/^_+|_+$/g, '') || 'record';
    let i = 1;
    while (this.info.records.some((one) => one.name === `${stem}_${i}.yaml`)) i += 1;
    return `${stem}_${i}.yaml`;
  }

  list() {
    const { records } = this.info;
    const good = records.filter(({ problem }) => !problem);
    once(this.which, JSON.stringify([good, this.now.label]), () => [make('option', { value: '' }, 'a new one'), ...good.map((one) => make('option', { value: one.name }, `${one.name}${one.part ? ` (${[one.part, one.hand].filter((word) => word).join(' ')}${one.date ? `, ${one.date}` : ''})` : ''}`))]);
    this.which.value = this.now.name || '';
    once(this.troubles, JSON.stringify(records), () => records.filter(({ problem }) => problem).map((one) => make('li', {}, '✗ ', name(one.name), ` cannot be opened: ${one.problem}`)));
  }

  redraw() {
    const info = this.partInfo;
    const { draft } = this.held;
    const { readonly, unit } = this.store.state;
    seed(draft, info);
    if (this.answer && !measured(draft)) suggest(draft, this.answer.first);
    const made = ['', ...Array.from({ length: info.bends }, (_, i) => String(i))];
    once(this.bent, JSON.stringify(made), () => made.map((value) => make('option', { value }, value === '' ? `all ${info.bends}` : `${value} of ${info.bends}`)));
    this.bent.value = made.includes(draft.bent || '') ? draft.bent || '' : '';
    this.bent.disabled = this.times.hidden = readonly;
    this.keeping.hidden = readonly;
    this.file.value = this.held.name || '';
    this.form.draw(draft, info, { readonly, unit, sure_to: this.info.sure_to });
    this.typed(0);
  }

  put(key, value) {
    this.held.draft[key] = value;
    this.redraw();
  }

  // typing, and what it tells

  typing() {
    this.held.name = this.file.value;
    this.fileWhy.hidden = true;
    this.file.removeAttribute('aria-invalid');
    this.state();
    this.keep();
  }

  typed(wait = PATIENCE) {
    this.state();
    this.keep();
    clearTimeout(this.timer);
    document.documentElement.dataset.bent = 'waiting';
    this.timer = setTimeout(() => this.look(), wait);
  }

  async look() {
    if (!this.shown || !this.held) return;
    this.asking += 1;
    const turn = this.asking;
    const { draft, stamp } = this.held;
    try {
      let answer = this.answer;
      if (!this.store.state.readonly) answer = await post('/api/as_bent/look', { draft, name: this.now.name, stamp, times: Number(this.times.value) });
      else if (this.now.name === null) answer = { empty: true, problems: [], first: [], problem: null };
      if (turn !== this.asking) return;
      this.answer = answer;
      this.show();
    } catch (error) {
      if (turn !== this.asking) return;
      this.answer = null;
      this.form.say((error.body && error.body.problems) || [], []);
      this.found.replaceChildren(make('h2', {}, 'As bent'), make('p', { class: 'bad' }, `✗ ${error.message}`));
      this.overlay();
    }
    document.documentElement.dataset.bent = String(turn);
  }

  show() {
    const { answer, form } = this;
    const { draft } = this.held;
    if (!measured(draft) && !this.store.state.readonly && suggest(draft, answer.first)) form.draw(draft, this.partInfo, form.common);
    const rest = form.say(answer.problems, answer.said ? answer.said.left_out : []);
    const ways = { readonly: this.store.state.readonly, done: (one) => lineOf(draft, one)?.done, go: (one) => this.go(one) };
    const active = this.first.contains(document.activeElement);
    if (!active) once(this.first, JSON.stringify([answer.first, answer.first.map((one) => ways.done(one)), this.key]), () => (answer.first.length ? [make('h3', {}, 'Measure these first'), make('p', { class: 'quiet' }, 'They tell the most about where the places that matter lie. Press one to enter it.'), suggestions(answer.first, ways)] : []));
    const wrong = answer.problems.length ? make('p', { class: 'bad' }, `✗ ${answer.problems.length === 1 ? 'One entry does not count yet' : `${answer.problems.length} entries do not count yet`}: see beside ${answer.problems.length === 1 ? 'it' : 'them'} why.`) : null;
    const said = [make('h2', {}, 'As bent: ', name(this.now.label)), wrong, ...rest.map((text) => make('p', { class: 'bad' }, `✗ ${text}`))];
    if (answer.problem) said.push(make('p', { class: 'bad' }, `✗ ${answer.problem}`));
    else if (answer.empty) said.push(make('p', { class: 'quiet' }, this.store.state.readonly ? 'Choose a record to see what it tells; measurements are entered where the program runs.' : 'Nothing is measured yet: enter the first reading and the shape shows here.'));
    else said.push(...told(answer, ways));
    this.found.replaceChildren(...said.filter((one) => one));
    this.overlay();
  }

  go(one) {
    const { draft } = this.held;
    if (!lineOf(draft, one)) {
      draft[one.section].push({ ...one.line, reads: '', sure_to: '' });
      this.redraw();
    }
    this.form.go(lineOf(draft, one).at);
  }

  overlay() {
    const mesh = this.shown && this.over.checked && this.answer && this.answer.mesh;
    const made = mesh && this.drawn && this.drawn.mesh === mesh ? this.drawn : mesh ? { mesh, ghost: { id: mesh.id, name: `${mesh.part}, as bent`, tone: 0, key: '', ...buffers(mesh) } } : null;
    this.drawn = made;
    this.three.bent = made ? [made.ghost] : [];
    if (this.three.view && this.three.shapes) this.three.layers();
    by('bent-laid').textContent = made ? `As bent, laid ${mesh.laid_on}${mesh.times > 1 ? `, drawn ${mesh.times} times as far off as it is` : ''}.` : '';
  }

  // keeping it

  tell(...words) {
    this.says.replaceChildren(...words);
  }

  state() {
    const { held, info } = this;
    const saved = held.stamp !== null && essence(held.draft) === held.saved && held.name === this.now.name;
    this.save.disabled = saved || !measured(held.draft);
    this.log.hidden = !info.log;
    this.log.disabled = !saved;
    if (info.log) this.log.textContent = `Add its bends to the shop’s test bends (${info.log})`;
    by('bent-where').textContent = saved ? `✓ Saved as ${info.folder}/${held.name}.` : `Not saved yet; it is kept in this browser. Saved, it stands in ${info.folder}/ beside the job.${info.log ? ' Bends are added to the test bends from a saved record only.' : ''}`;
  }

  async write() {
    const { held, key } = this;
    const own = held.name === this.now.name;
    try {
      const got = await post('/api/as_bent/save', { draft: held.draft, name: held.name, stamp: own ? held.stamp : null });
      delete this.drafts[key];
      this.info.records = got.records;
      this.now.name = got.name;
      this.drafts[this.key] = { draft: held.draft, stamp: got.stamp, saved: essence(held.draft), name: got.name };
      this.list();
      this.file.value = got.name;
      this.back.hidden = true;
      this.typed(0);
      this.tell(`✓ Saved as ${this.info.folder}/${got.name}.${got.said.map((why) => ` ! ${why}.`).join('')}`);
    } catch (error) {
      this.refused(error);
    }
  }

  refused(error) {
    const problems = (error.body && error.body.problems) || [];
    const own = problems.find(({ at }) => at && keyOf(at) === 'name');
    if (own) {
      this.fileWhy.textContent = `✗ ${own.says}`;
      this.fileWhy.hidden = false;
      this.file.setAttribute('aria-invalid', 'true');
    } else {
      this.form.say(problems.filter(({ at }) => at), this.answer && this.answer.said ? this.answer.said.left_out : []);
    }
    this.tell(`✗ ${problems.some(({ at }) => at && keyOf(at) !== 'name') ? 'Nothing was saved: see beside the fields why.' : error.message}`);
  }

  async again() {
    this.before = { key: this.key, held: structuredClone(this.held) };
    const { before } = this;
    delete this.drafts[this.key];
    this.answer = null;
    await this.choose({ ...this.now });
    this.before = before;
    this.back.hidden = false;
    this.tell(this.now.name ? 'As it stands in the file.' : 'Cleared.');
  }

  bringBack() {
    if (this.before && this.before.key === this.key) this.drafts[this.key] = this.before.held;
    this.back.hidden = true;
    this.redraw();
    this.tell('Brought back.');
  }

  async record() {
    try {
      const { says } = await post('/api/as_bent/log', { name: this.now.name, stamp: this.held.stamp });
      this.tell(`✓ ${says.join(' ')}`);
      this.look();
    } catch (error) {
      this.tell(`✗ ${error.message}`);
    }
  }
}
