// One thing to type or choose. What was typed stays until the server takes it or the person gives it up; a field that
// a person is in is never written over.

import { make } from './dom.js';

let count = 0;
const PATIENCE = 700; // milliseconds of stillness before a half-typed value is called wrong
const here = Math.random().toString(36).slice(2); // this page, among all that are open
let turn = 0; // counts the times a person entered a field: what is typed in one turn is one step to undo

export const keyOf = (at) => at.map(String).join('/');

export class Field {
  // place: {key, at, op(value), options(), readonly}; node: what may stand there
  constructor(form, place, node) {
    Object.assign(this, place, { form, node });
    count += 1;
    const id = `field-${count}`;
    this.why = make('p', { class: 'why', id: `${id}-why`, hidden: true });
    this.input = this.control(id);
    this.input.dataset.at = this.key;
    this.input.disabled = Boolean(place.readonly);
    this.label = make('label', { for: id }, node.label);
    this.element = make('div', { class: `field ${node.kind}` }, node.kind === 'flag' ? [this.input, this.label] : [this.label, this.input], this.why);
    this.server = '';
    this.wrong = null;
    this.listen();
  }

  control(id) {
    const common = { id, 'aria-describedby': `${id}-why` };
    if (this.node.kind === 'flag') return make('input', { type: 'checkbox', ...common });
    if (this.node.kind === 'choice') return make('select', common, this.choices(''));
    return make('input', { type: 'text', autocomplete: 'off', autocapitalize: 'off', spellcheck: 'false', placeholder: this.node.optional ? '–' : null, ...common });
  }

  choices(value) {
    const found = this.options().map(String);
    if (value !== '' && !found.includes(value)) found.push(value);
    const all = found.map((one) => make('option', { value: one }, one));
    if (this.node.optional || value === '') all.unshift(make('option', { value: '' }, this.node.none || '–'));
    return all;
  }

  // what may be chosen has changed
  offer() {
    if (this.node.kind !== 'choice') return;
    const { value } = this.input;
    this.input.replaceChildren(...this.choices(value));
    this.input.value = value;
  }

  listen() {
    const chosen = this.node.kind === 'choice' || this.node.kind === 'flag';
    this.input.addEventListener('focus', () => {
      turn += 1;
      this.turn = turn;
      this.form.entered(this);
    });
    if (chosen) {
      this.input.addEventListener('change', () => this.send());
      return;
    }
    this.input.addEventListener('input', () => {
      if (!this.node.late) this.send();
    });
    this.input.addEventListener('change', () => {
      this.settle();
      if (this.node.late) this.send();
    });
    this.input.addEventListener('keydown', (event) => {
      if (event.key === 'Enter') this.settle();
      if (event.key === 'Escape' && this.wrong !== null) this.giveUp();
    });
    this.input.addEventListener('blur', () => this.settle());
  }

  get value() {
    return this.node.kind === 'flag' ? this.input.checked : this.input.value;
  }

  get here() {
    return document.activeElement === this.input;
  }

  send() {
    const { form, key, at } = this;
    const sent = this.value;
    form.sending.set(key, sent);
    form.store.edit(key, this.op(sent), {
      group: this.node.kind === 'choice' || this.node.kind === 'flag' ? null : `${here} ${key} ${this.turn}`,
      still: () => document.activeElement?.dataset.at === key,
      done: (error) => {
        if (form.sending.get(key) !== sent) return; // typed on since
        form.sending.delete(key);
        if (error) form.fail(key, sent, error.about(at));
        else form.pass(key);
      },
    });
  }

  // a value of the server; kept back while a person is here, or what they typed is under way or wrong
  show(value) {
    this.server = value === undefined || value === null ? '' : value;
    if (this.wrong !== null || this.form.sending.has(this.key) || (this.here && this.node.kind !== 'flag' && this.node.kind !== 'choice')) return;
    this.put(this.server);
  }

  put(value) {
    if (this.node.kind === 'flag') {
      this.input.checked = value === true || value === 'true';
      return;
    }
    const text = String(value);
    if (this.node.kind === 'choice' && ![...this.input.options].some((one) => one.value === text)) this.input.replaceChildren(...this.choices(text));
    if (this.input.value !== text) this.input.value = text;
  }

  fail(says) {
    this.wrong = says;
    clearTimeout(this.timer);
    if (this.here && !this.node.late) this.timer = setTimeout(() => this.settle(), PATIENCE);
    else this.settle();
  }

  settle() {
    clearTimeout(this.timer);
    if (this.wrong === null) {
      if (!this.here) this.show(this.server);
      return;
    }
    this.input.setAttribute('aria-invalid', 'true');
    this.why.textContent = `✗ ${this.wrong}`;
    this.why.hidden = false;
  }

  pass() {
    clearTimeout(this.timer);
    this.wrong = null;
    this.input.removeAttribute('aria-invalid');
    this.why.hidden = true;
    this.why.textContent = '';
  }

  // back to what the job holds
  giveUp() {
    this.form.pass(this.key);
    this.put(this.server);
  }
}
