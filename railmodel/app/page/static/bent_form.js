// The fields of a record of measurements, bound to a draft: what is typed stands in the draft at once, as it was typed.

import { button, make, name } from './dom.js';

const TOOLS = [['tape', 'Tape, sure to'], ['protractor', 'Protractor, sure to, degrees'], ['level', 'Level, sure to, degrees'], ['grid', 'Table, sure to']];
const WORDS = [['date', 'Date'], ['heat', 'Heat'], ['measured_by', 'Measured by'], ['note', 'Note']];
const MIDDLE = 'middle of the tube';
let count = 0;

export const keyOf = (at) => at.map(String).join('/');

const filled = (one) => Boolean((one.reads && one.reads.trim()) || (one.at && one.at.some((text) => text && text.trim())));

// what of a draft would be saved, as text to compare
export function essence(draft) {
  const whole = { ...draft };
  for (const section of ['legs', 'angles', 'turns', 'distances', 'table']) whole[section] = (draft[section] || []).filter(filled).map(({ auto, ...one }) => one);
  if (Array.isArray(draft.set)) whole.set = draft.set.filter(({ angle }) => angle);
  const plain = (value) => {
    if (Array.isArray(value)) return value.length ? value.map(plain) : undefined;
    if (value && typeof value === 'object') {
      const kept = Object.entries(value).map(([key, item]) => [key, plain(item)]).filter(([, item]) => item !== undefined).sort(([a], [b]) => (a < b ? -1 : 1));
      return kept.length ? Object.fromEntries(kept) : undefined;
    }
    return value === '' || value === null ? undefined : value;
  };
  return JSON.stringify(plain(whole) || {});
}

export const measured = (draft) => ['legs', 'angles', 'turns', 'distances', 'table'].some((section) => (draft[section] || []).some(filled));

// a line for every straight and bend there is, blank where nothing is read yet
export function seed(draft, info) {
  const has = (section, same) => draft[section].some((one) => Object.entries(same).every(([key, value]) => String(one[key] || (key === 'between' ? 'tangents' : '')) === value));
  for (const section of ['legs', 'angles', 'turns', 'distances', 'table']) draft[section] = draft[section] || [];
  const blank = (section, line) => has(section, line) || draft[section].push({ ...line, reads: '', sure_to: '' });
  for (let i = 0; i <= info.bends; i += 1) for (const between of ['tangents', 'apexes']) blank('legs', { straight: String(i), between });
  for (let i = 1; i <= info.bends; i += 1) ['angles', 'turns'].forEach((section) => blank(section, { bend: String(i) }));
  draft.tools = draft.tools || {};
}

// the distances that tell most have a line of their own as long as nobody wrote into another
export function suggest(draft, first) {
  const same = (one, line) => (one.from === line.from && one.to === line.to) || (one.from === line.to && one.to === line.from);
  const wanted = first.filter(({ section }) => section === 'distances').map(({ line }) => line);
  const kept = draft.distances.filter((one) => !one.auto || filled(one) || wanted.some((line) => same(one, line)));
  const fresh = wanted.filter((line) => !kept.some((one) => same(one, line)));
  if (kept.length === draft.distances.length && !fresh.length) return false;
  draft.distances = [...kept, ...fresh.map((line) => ({ ...line, reads: '', sure_to: '', auto: true }))];
  return true;
}

// the line of a draft that a suggestion is about
export function lineOf(draft, { section, line }) {
  const at = draft[section].findIndex((one) => Object.entries(line).every(([key, value]) => String(one[key] || (key === 'between' ? 'tangents' : '')) === value)
    || (section === 'distances' && one.from === line.to && one.to === line.from));
  return at < 0 ? null : { at: [section, at, 'reads'], done: filled(draft[section][at]) };
}

export class BentForm {
  // changed(): a value was typed; again(): lines came or went
  constructor(host, { changed, again }) {
    Object.assign(this, { host, changed, again });
    this.inputs = new Map(); // from a key to {input, why}
    this.open = new Set(['angles', 'tangents', 'distances']);
    this.said = new Map(); // from a key to what is said of it
  }

  draw(draft, info, common) {
    Object.assign(this, { draft, info, common });
    const active = document.activeElement?.dataset?.at;
    this.inputs.clear();
    this.host.replaceChildren(...this.groups());
    this.say([], []);
    if (active && this.inputs.has(active)) this.inputs.get(active).input.focus({ preventScroll: true });
  }

  groups() {
    const { draft, info } = this;
    const rows = (section, pick = () => true) => draft[section].map((one, i) => ({ one, i })).filter(({ one }) => pick(one));
    const number = (key) => (a, b) => Number(a.one[key]) - Number(b.one[key]);
    const between = (what) => rows('legs', (one) => (one.between || 'tangents') === what).sort(number('straight'));
    const turned = this.turned();
    const planned = (list, i) => (turned ? null : list[i]);
    const legs = (what) => between(what).map(({ one, i }) => this.reading(['legs', i], `Straight ${one.straight}`, planned(info.planned[what], Number(one.straight))));
    const bends = (section) => rows(section).sort(number('bend')).map(({ one, i }) => this.reading([section, i], `Bend ${one.bend}`, planned(info.planned[section], Number(one.bend) - 1), 'decimal'));
    return [
      this.group('angles', 'Bend angles, by protractor', 'angles', null, ...bends('angles')),
      this.group('tangents', 'Straights, from tangent to tangent', 'legs', (one) => (one.between || 'tangents') === 'tangents', ...legs('tangents')),
      this.group('distances', 'Distances by tape, from place to place', 'distances', null, ...rows('distances').map(({ i }) => this.distance(i)),
        this.adder('Another distance', 'distances', { from: 'front end', to: 'rear end', reads: '', sure_to: '' })),
      this.group('apexes', 'Straights, from apex to apex', 'legs', (one) => one.between === 'apexes', ...legs('apexes')),
      this.group('turns', 'Turns of a bend’s plane from the bend before, degrees', 'turns', null, ...bends('turns')),
      this.group('table', 'Points on a table or grid', 'table', null, make('p', { class: 'quiet' }, 'Wherever the table has its own origin; leave a height empty that was not measured.'),
        ...rows('table').map(({ i }) => this.point(i)), this.adder('Another point', 'table', { place: 'front end', at: ['', '', ''], sure_to: '' })),
      this.group('set', 'What the bender was set to', null, null, ...this.set()),
      this.group('record', 'Tools, and what else stands in the record', null, null, ...this.record()),
    ];
  }

  turned() {
    const from = this.draft.numbered_from;
    return Boolean(from) && from !== this.info.leading_end;
  }

  group(key, title, section, pick, ...inside) {
    const many = section ? this.draft[section].filter((one) => (!pick || pick(one)) && filled(one)).length : 0;
    if (many) this.open.add(key);
    const tally = make('span', { class: 'count' }, many ? `${many}` : '');
    const made = make('details', { class: 'group', open: this.open.has(key), 'data-fold': key }, make('summary', {}, make('h3', {}, title), ' ', tally), make('div', { class: 'body' }, ...inside));
    made.addEventListener('toggle', () => (made.open ? this.open.add(key) : this.open.delete(key)));
    return made;
  }

  // unfolds the group a field is in, and goes there
  go(at) {
    const { input } = this.inputs.get(keyOf(at)) || {};
    if (!input) return;
    input.closest('details').open = true;
    input.focus();
    input.scrollIntoView({ block: 'center' });
  }

  holder(at) {
    return at.slice(0, -1).reduce((found, step) => found[step], this.draft);
  }

  field(at, label, given = {}) {
    count += 1;
    const id = `bent-${count}`;
    const key = keyOf(at);
    const input = make('input', {
      type: 'text', id, 'data-at': key, autocomplete: 'off', autocapitalize: 'off', spellcheck: 'false', 'aria-describedby': `${id}-why`, disabled: this.common.readonly, ...given,
      oninput: () => {
        this.holder(at)[at[at.length - 1]] = input.value;
        this.changed();
      },
    });
    input.value = this.holder(at)[at[at.length - 1]] || '';
    const why = make('p', { class: 'why', id: `${id}-why`, hidden: true });
    this.inputs.set(key, { input, why });
    return make('div', { class: 'field' }, make('label', { for: id }, label), input, why);
  }

  choice(at, label, options, { value, put } = {}) {
    count += 1;
    const id = `bent-${count}`;
    const key = keyOf(at);
    const now = value === undefined ? String(this.holder(at)[at[at.length - 1]] || '') : value;
    const all = options.some(([one]) => one === now) ? options : [...options, [now, now]];
    const input = make('select', {
      id, 'data-at': key, 'aria-describedby': `${id}-why`, disabled: this.common.readonly,
      onchange: () => {
        if (put) put(input.value);
        else this.holder(at)[at[at.length - 1]] = input.value;
        this.changed();
      },
    }, all.map(([one, words]) => make('option', { value: one }, words)));
    input.value = now;
    const why = make('p', { class: 'why', id: `${id}-why`, hidden: true });
    this.inputs.set(key, { input, why });
    return make('div', { class: 'field' }, make('label', { for: id }, label), input, why);
  }

  reading(at, label, planned, inputmode = null) {
    const words = [label, planned ? make('span', { class: 'quiet' }, `, planned ${planned}`) : null];
    return make('div', { class: 'reading' }, this.field([...at, 'reads'], words.filter((one) => one), { inputmode }), this.field([...at, 'sure_to'], 'sure to', { inputmode, 'aria-label': `${label}, sure to` }));
  }

  // a place on the tube and the face it is measured to, one text in the record
  place(at, label) {
    const holder = this.holder(at);
    const key = at[at.length - 1];
    const parts = () => String(holder[key] || '').split(',').map((one) => one.trim());
    const put = (place, face) => { holder[key] = face ? `${place}, ${face}` : place; };
    const places = this.info.places.map((one) => [one, one]);
    const faces = [['', MIDDLE], ...this.info.faces.map((one) => [one, `${one} face`])];
    return [
      this.choice(at, label, places, { value: parts()[0], put: (value) => put(value, parts()[1]) }),
      this.choice([...at, 'face'], `${label}: at the`, faces, { value: parts()[1] || '', put: (value) => put(parts()[0], value) }),
    ];
  }

  distance(i) {
    const at = ['distances', i];
    return make('fieldset', { class: 'tape' }, make('legend', { class: 'unseen' }, `Distance ${i + 1}`), ...this.place([...at, 'from'], 'From'), ...this.place([...at, 'to'], 'To'),
      this.field([...at, 'reads'], 'Reads'), this.field([...at, 'sure_to'], 'sure to', { 'aria-label': `Distance ${i + 1}, sure to` }), this.remover('distances', i, `Take distance ${i + 1} out`));
  }

  point(i) {
    const at = ['table', i];
    const axes = ['x', 'y', 'z'].map((axis, k) => this.field([...at, 'at', k], axis, { 'aria-label': `Point ${i + 1}, ${axis}` }));
    return make('fieldset', { class: 'tape' }, make('legend', { class: 'unseen' }, `Point ${i + 1}`), ...this.place([...at, 'place'], 'Place'), make('div', { class: 'axes' }, axes),
      this.field([...at, 'sure_to'], 'sure to', { 'aria-label': `Point ${i + 1}, sure to` }), this.remover('table', i, `Take point ${i + 1} out`));
  }

  remover(section, i, label) {
    if (this.common.readonly) return '';
    return button(label, () => {
      this.draft[section].splice(i, 1);
      this.again();
    }, { class: 'quiet-button' });
  }

  adder(label, section, line) {
    if (this.common.readonly) return '';
    return button(label, () => {
      this.draft[section].push(structuredClone(line));
      this.again();
      this.go([section, this.draft[section].length - 1, section === 'table' ? 'place' : 'from']);
    }, { class: 'add' });
  }

  set() {
    const { draft, info } = this;
    const kind = Array.isArray(draft.set) ? 'these' : draft.set ? 'planned' : '';
    const choose = (value) => {
      draft.set = value === 'these' ? Array.from({ length: info.bends }, (_, i) => ({ bend: String(i + 1), angle: '' })) : value === 'planned' ? 'as planned' : '';
      this.again();
    };
    const which = this.choice(['set'], 'Set angles', [['', 'not said'], ['planned', 'as planned'], ['these', 'as typed here']], { value: kind, put: choose });
    if (kind !== 'these') return [which];
    for (let i = 1; i <= info.bends; i += 1) if (!draft.set.some(({ bend }) => Number(bend) === i)) draft.set.push({ bend: String(i), angle: '' });
    const rows = draft.set.map((one, i) => ({ one, i })).sort((a, b) => Number(a.one.bend) - Number(b.one.bend));
    return [which, make('div', { class: 'fields' }, rows.map(({ one, i }) => this.field(['set', i, 'angle'], `Bend ${one.bend}, degrees`, { inputmode: 'decimal' })))];
  }

  record() {
    const { draft, common } = this;
    const usual = (tool) => (common.sure_to[tool] ? make('span', { class: 'quiet' }, ` (else ${common.sure_to[tool]})`) : null);
    const tools = TOOLS.map(([tool, label]) => this.field(['tools', tool], [label, usual(tool)].filter((one) => one)));
    const weights = draft.weights && Object.entries(draft.weights).map(([key, value]) => `${key} ${value}`).join(', ');
    return [
      make('p', { class: 'quiet' }, 'Nineteen of twenty readings lie within so much of the truth.'),
      make('div', { class: 'fields' }, tools),
      make('div', { class: 'fields' },
        this.choice(['numbered_from'], 'Straights and bends counted from', [['', 'the leading end'], ['front', 'the front end'], ['rear', 'the rear end']], { put: (value) => { draft.numbered_from = value; this.again(); } }),
        this.choice(['units'], 'Lengths without a unit are', [['', `as in the job (${common.unit})`], ['in', 'inches'], ['mm', 'mm']]),
        WORDS.map(([key, label]) => this.field([key], label))),
      weights ? make('p', { class: 'quiet' }, 'Weights of fit points in the record: ', name(weights), '.') : '',
    ];
  }

  // puts what is said of fields beside them: problems of what was typed, and readings left out of the shape
  say(problems, leftOut) {
    this.said.clear();
    const fields = [...this.inputs.keys()];
    const near = (at) => {
      const key = keyOf(at);
      return fields.find((one) => one === key) || fields.find((one) => one === `${key}/reads`) || fields.find((one) => one.startsWith(`${key}/`)) || fields.find((one) => key.startsWith(`${one}/`));
    };
    const rest = [];
    for (const { says, at } of problems) {
      const key = at && near(at);
      if (key) this.said.set(key, { wrong: true, text: `✗ ${says}` });
      else rest.push(says);
    }
    for (const at of leftOut) {
      const key = near(at);
      if (key && !this.said.has(key)) this.said.set(key, { wrong: false, text: '! Left out: it does not go with the rest. Measure it again.' });
    }
    for (const [key, { input, why }] of this.inputs) {
      const said = this.said.get(key);
      why.hidden = !said;
      why.textContent = said ? said.text : '';
      if (said && said.wrong) input.setAttribute('aria-invalid', 'true');
      else input.removeAttribute('aria-invalid');
    }
    return rest;
  }
}
