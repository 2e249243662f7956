// The form: every group of the job as labelled fields, made anew only where what stands in the job has another shape.

import { button, make, name } from './dom.js';
import { Field, keyOf } from './field.js';
import { GROUPS } from './schema.js';
import { angle, withUnit } from './words.js';

// scalars whose being there, or whose text, changes what is shown
const KEPT = new Set(['straight', 'mesh', 'name', 'tube', 'outline', 'size']);

function bones(data) {
  if (Array.isArray(data)) return data.map(bones);
  if (!data || typeof data !== 'object') return 0;
  const kept = Object.entries(data).filter(([key, value]) => (value !== null && typeof value === 'object') || KEPT.has(key));
  return Object.fromEntries(kept.map(([key, value]) => [key, key === 'name' || key === 'tube' ? value : bones(value)]));
}

// what stands at a place; the `at` of a point written as a bare list may be named or not
export function valueAt(data, at) {
  return at.reduce((found, step) => {
    if (found === null || found === undefined || typeof found !== 'object') return undefined;
    return step === 'at' && Array.isArray(found) ? found : found[step];
  }, data);
}

const missing = (data) => data === undefined || data === null;

export class Form {
  constructor(host, store, { says, entered }) {
    this.store = store;
    this.says = says;
    this.entered = (field) => entered(field.at);
    this.fields = new Map(); // from a key to its field
    this.wrong = new Map(); // from a key to {typed, says}
    this.sending = new Map(); // from a key to what was typed there and is not answered yet
    this.open = new Set(['parts', 'parts/0']);
    this.groups = GROUPS.map((group) => {
      const body = make('div', { class: 'body' });
      const count = make('span', { class: 'count' });
      const details = this.folding(group.id, 'group', [make('h3', {}, group.title), ' ', count], body);
      host.append(details);
      return { ...group, body, count, drawn: '', keys: [] };
    });
  }

  folding(key, kind, summary, ...inside) {
    const made = make('details', { class: kind, open: this.open.has(key), 'data-fold': key }, make('summary', {}, summary), ...inside);
    made.addEventListener('toggle', () => (made.open ? this.open.add(key) : this.open.delete(key)));
    return made;
  }

  update(state) {
    this.state = state;
    const common = JSON.stringify([state.unit, state.readonly]);
    const choices = JSON.stringify(state.choices);
    if (choices !== this.offered) this.fields.forEach((field) => field.offer());
    this.offered = choices;
    for (const group of this.groups) {
      const data = valueAt(state.written, group.at);
      const drawn = common + JSON.stringify(group.at.length ? bones(data) : group.id === 'shop' ? state.choices.dies : [bones(data.templates), bones(data.nesting)]);
      if (drawn !== group.drawn) this.rebuild(group, data);
      group.drawn = drawn;
      const many = data && group.at.length ? Object.keys(data).length : 0;
      group.count.textContent = group.at.length ? String(many) : '';
    }
    this.fields.forEach((field) => field.show(field.read ? field.read(state.written) : valueAt(state.written, field.at)));
  }

  rebuild(group, data) {
    const active = document.activeElement;
    const held = group.body.contains(active) && active.dataset.at !== undefined
      ? { key: active.dataset.at, text: active.value, spot: active.type === 'text' ? [active.selectionStart, active.selectionEnd] : null, turn: this.fields.get(active.dataset.at)?.turn } : null;
    group.keys.forEach((key) => this.fields.delete(key));
    this.making = group.keys = [];
    group.body.replaceChildren(...this.build(group.node, group.at, data, data));
    for (const key of group.keys) {
      const wrong = this.wrong.get(key);
      if (wrong) this.restore(key, wrong);
      else if (this.sending.has(key)) this.fields.get(key).put(this.sending.get(key));
    }
    const field = held && this.fields.get(held.key);
    if (!field) return;
    if (field.input.type === 'text') field.input.value = held.text;
    field.input.focus({ preventScroll: true });
    field.turn = held.turn;
    if (held.spot && field.input.type === 'text') field.input.setSelectionRange(...held.spot);
  }

  restore(key, { typed, says }) {
    const field = this.fields.get(key);
    field.put(typed);
    field.fail(says);
  }

  fail(key, typed, says) {
    this.wrong.set(key, { typed, says });
    this.fields.get(key)?.fail(says);
  }

  pass(key) {
    this.wrong.delete(key);
    this.fields.get(key)?.pass();
  }

  // an edit of the shape of the job, from a button
  act(op) {
    if (op.op === 'remove' || op.op === 'move') {
      const list = keyOf(op.at.slice(0, -1));
      [...this.wrong.keys()].filter((key) => key.startsWith(`${list}/`)).forEach((key) => this.pass(key));
    }
    this.store.edit(`act ${performance.now()}`, op, { done: (error) => this.says(error ? `✗ ${error.message}` : '') });
  }

  button(label, op, more = {}) {
    return this.state.readonly ? null : button(label, () => this.act(typeof op === 'function' ? op() : op), { class: 'quiet-button', ...more });
  }

  // opens what a place is in and goes to its first field
  reveal(at) {
    const key = keyOf(at);
    const found = [...this.fields.values()].find((field) => field.key === key || field.key.startsWith(`${key}/`));
    if (!found) return;
    for (let node = found.element.parentElement; node; node = node.parentElement) if (node.tagName === 'DETAILS') node.open = true;
    found.input.focus({ preventScroll: true });
    found.element.scrollIntoView({ block: 'center' });
  }

  // elements for a node; source is what an optional thing's beginning is made of
  build(node, at, data, source) {
    if (this[node.kind]) return this[node.kind](node, at, data, source);
    if (data !== null && typeof data === 'object') return [this.otherwise(node)];
    return [this.field(node, at).element];
  }

  field(node, at, more = {}) {
    const key = more.key || keyOf(at);
    const op = node.op || ((value) => ({ op: 'set', at, value }));
    const late = node.kind === 'text';
    const place = { key, at, op, options: () => (node.options ? node.options(this.state, at) : []), readonly: this.state.readonly, ...more };
    const field = new Field(this, place, { ...node, late: node.late ?? late });
    this.fields.set(key, field);
    this.making.push(key);
    return field;
  }

  otherwise(node) {
    return make('p', { class: 'quiet' }, `${node.label || 'This'} is written another way; change it in the job file.`);
  }

  offer(node, at, source) {
    return node.begin ? [this.button(node.offer || `Add: ${node.label}`, () => ({ op: 'set', at, value: node.begin(source, this.state) }))] : [];
  }

  fieldset(node, at, kind, inside) {
    const out = node.optional && !node.fixed ? this.button(`Take out: ${node.label}`, { op: 'unset', at }) : null;
    return make('fieldset', { class: kind }, make('legend', {}, node.label), ...inside, out);
  }

  vector(node, at, data, source) {
    if (missing(data)) return node.optional ? this.offer(node, at, source) : [];
    if (!Array.isArray(data)) return [this.otherwise(node)];
    return [this.fieldset(node, at, `vector of-${node.names.length}`, node.names.map((label, i) => this.field({ kind: 'length', label }, [...at, i]).element))];
  }

  group(node, at, data, source) {
    if (node.optional && missing(data)) return this.offer(node, at, source);
    if (Array.isArray(data) && !node.keys.at) return [this.otherwise(node)];
    const begin = node.from ? node.from(source) : data;
    const inside = Object.entries(node.keys).flatMap(([key, child]) => this.child(child, [...at, key], Array.isArray(data) ? (key === 'at' ? data : undefined) : data?.[key], begin, data));
    return node.label ? [this.fieldset(node, at, 'part-of', inside)] : [make('div', { class: node.dense ? 'fields dense' : 'fields' }, inside)];
  }

  child(child, at, value, begin, around) {
    const belongs = !child.goes || child.goes.some((key) => !missing(around?.[key]));
    return belongs || !missing(value) ? this.build(child, at, value, begin) : [];
  }

  list(node, at, data, source) {
    if (missing(data)) data = [];
    if (!Array.isArray(data)) return [this.otherwise(node)];
    if (!data.length && node.optional && !node.fresh) return [];
    const items = data.map((item, i) => this.item(node, at, data, item, i));
    const adds = (node.adds || (node.fresh ? [[node.add || `Add to: ${node.label}`, (state, all) => ({ op: 'insert', at, index: null, value: node.fresh(state, all) })]] : []))
      .map(([label, op]) => this.button(label, () => op(this.state, this.at(at) || []), { class: 'add' }));
    const inside = [...items, make('div', { class: 'adds' }, adds)];
    return node.label ? [make('fieldset', { class: 'list' }, make('legend', {}, node.label), ...inside)] : inside;
  }

  at(place) {
    return valueAt(this.state.written, place);
  }

  item(node, at, all, item, i) {
    const place = [...at, i];
    const called = node.called ? node.called(item, this.state, i, all) : `${i + 1}`;
    const kind = node.ends && (i === 0 || i === all.length - 1) ? node.ends : node.item;
    const inside = this.build(kind, place, item, item);
    if (node.rename) inside.unshift(this.renaming(node.rename, item.name, [...place, 'name']));
    const tools = node.fixed ? [] : [
      node.after && i + 1 < all.length ? this.button('Add after', () => node.after(at, i), { 'aria-label': `Add after ${called}` }) : null,
      node.between ? this.button('Add after', () => ({ op: 'insert', at, index: i + 1, value: node.fresh(this.state, all) }), { 'aria-label': `Add after ${called}` }) : null,
      i > 0 ? this.button('Earlier', { op: 'move', at: place, to: i - 1 }, { 'aria-label': `Move ${called} earlier` }) : null,
      all.length > (node.least || 0) ? this.button('Take out', { op: 'remove', at: place }, { 'aria-label': `Take out ${called}` }) : null,
    ];
    const bar = make('div', { class: 'tools' }, tools);
    if (at.length === 1) return this.folding(keyOf(place), 'item', name(called), ...inside, bar);
    return make('fieldset', { class: 'item' }, make('legend', {}, called), ...inside, bar);
  }

  renaming(what, given, at) {
    const node = { kind: 'text', label: 'Name', late: true, op: (value) => ({ op: 'rename', what, from: given, to: value }) };
    return make('div', { class: 'fields' }, this.field(node, at, { read: () => given }).element);
  }

  map(node, at, data) {
    const names = Object.keys(data || {});
    const items = names.map((given) => {
      const place = [...at, given];
      return this.folding(keyOf(place), 'item', name(given), this.renaming(node.what, given, [...place, '#name']), ...this.build(node.item, place, data[given], data[given]),
        make('div', { class: 'tools' }, this.button('Take out', { op: 'remove', at: place }, { 'aria-label': `Take out ${given}` })));
    });
    const adds = node.adds.map(([label, op]) => this.button(label, () => op(this.state, Object.keys(this.at(at) || {})), { class: 'add' }));
    return [...items, make('div', { class: 'adds' }, adds)];
  }

  variant(node, at, data) {
    const kind = Object.keys(node.kinds).find((key) => data && key in data);
    if (!kind) return [this.otherwise(node)];
    const options = () => Object.keys(node.kinds);
    const begin = (value) => ({ [value]: node.kinds[value].begin(this.state), ...(node.kinds[value].with || {}) });
    const which = this.field({ kind: 'choice', label: node.label, op: (value) => ({ op: 'set', at, value: begin(value) }) }, at, {
      key: `${keyOf(at)}/#kind`, options, read: (written) => options().find((key) => key in (valueAt(written, at) || {})),
    });
    const inside = this.build(node.kinds[kind].node, [...at, kind], data[kind], data[kind]);
    const beside = Object.entries(node.beside || {}).flatMap(([key, child]) => this.child(child, [...at, key], data[key], data, data));
    return [make('div', { class: 'fields' }, which.element), ...inside, ...beside];
  }

  // what the shop has, to be looked at
  dies() {
    const { dies, shops } = this.state.choices;
    if (!dies.length) return [make('p', { class: 'quiet' }, shops.length ? 'The shop file names no dies.' : 'No shop file: give every bend a radius.')];
    return [make('ul', { class: 'plain', id: 'dies' }, dies.map((die) => make('li', {}, name(die.name), `: ${die.way} way, radius ${withUnit(die.radius, this.state.unit)}${die.max_angle === null ? '' : `, to ${angle(die.max_angle, 0)}`}`,
      make('span', { class: 'quiet' }, die.tubes.length ? [', for ', ...die.tubes.flatMap((tube, i) => (i ? [', ', name(tube)] : [name(tube)]))] : ', fits no tube of this job'))))];
  }

  either(node, at, data, source) {
    return data !== null && typeof data === 'object' ? this.group(node.whole, at, data, source) : [this.field(node.plain, at).element];
  }

  choices(node, at, data) {
    return this.several(node, at, data, 'choice');
  }

  texts(node, at, data) {
    return this.several(node, at, data, 'text');
  }

  // a short list of names, set as a whole
  several(node, at, data, kind) {
    const given = data || [];
    if (!Array.isArray(given) || given.some((one) => one !== null && typeof one === 'object')) return [this.otherwise(node)];
    return node.names.map((word, i) => {
      const label = word ? `${node.label} ${word}` : node.label;
      const op = (value) => {
        const now = [...(this.at(at) || [])];
        now[i] = value;
        return { op: 'set', at, value: now.filter((one) => one !== '') };
      };
      return this.field({ kind, label, optional: i > 0, options: node.options, op }, [...at, i]).element;
    });
  }
}
