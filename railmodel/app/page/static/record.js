// The record of the job, newest first: what was built, sent, approved, measured and corrected, and whether it was the
// job as it stands now.

import { button, by, make, name } from './dom.js';
import { get, post } from './net.js';

const SAID = { built: 'Files built', sent: 'Sent', approved: 'Approved', measured: 'A piece measured', corrected: 'A piece corrected' };

const when = (text) => {
  const at = new Date(text);
  return make('time', { datetime: text }, Number.isNaN(at.getTime()) ? text : at.toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' }));
};

export class JobRecord {
  constructor(store) {
    this.store = store;
    this.shown = false;
    this.stands = make('p', { id: 'record-stands', role: 'status' });
    this.list = make('ol', { id: 'record-list', class: 'findings' });
    this.says = make('p', { role: 'status', id: 'record-says' });
    const field = (key, label, kind = 'field') => {
      const id = `record-${key}`;
      this[key] = make('input', { type: 'text', id, autocomplete: 'off', 'aria-describedby': `${id}-why`, oninput: () => this.wrong(key, null) });
      this[`${key}Why`] = make('p', { class: 'why', id: `${id}-why`, hidden: true });
      return make('div', { class: kind }, make('label', { for: id }, label), this[key], this[`${key}Why`]);
    };
    this.print = make('span', { class: 'n' });
    this.noting = make('fieldset', { id: 'record-noting' }, make('legend', {}, 'Note what happened'), make('div', { class: 'fields' }, field('by', 'Who'), field('note', 'Note (may be left out)'),
      field('fingerprint', 'Fingerprint on what was approved (left out: the job as it stands)', 'field wide')),
    make('div', { class: 'row' }, button('Note: sent to the customer', () => this.send('sent'), { id: 'note-sent' }), button('Note: approved by the customer', () => this.send('approved'), { id: 'note-approved' })));
    by('record-tools').append(this.stands, make('p', { class: 'quiet' }, 'Fingerprint of the job as it stands: ', this.print, '. Papers, page and files of this very job carry the same.'), this.noting, this.says, make('h3', {}, 'What was recorded, newest first'), this.list);
  }

  open() {
    this.shown = true;
    this.load();
  }

  close() {
    this.shown = false;
  }

  update(state) {
    if (this.shown && this.key !== state.key) this.load();
  }

  async load() {
    const { key } = this.store.state;
    this.key = key;
    try {
      const found = await get('/api/record');
      if (this.key === key) this.draw(found);
    } catch (error) {
      this.says.textContent = `✗ ${error.message}`;
    }
  }

  wrong(key, says) {
    const why = this[`${key}Why`];
    why.hidden = !says;
    why.textContent = says ? `✗ ${says}` : '';
    if (says) this[key].setAttribute('aria-invalid', 'true');
    else this[key].removeAttribute('aria-invalid');
  }

  async send(kind) {
    ['by', 'note', 'fingerprint'].forEach((key) => this.wrong(key, null));
    const body = { rev: this.store.state.rev, kind, by: this.by.value, note: this.note.value, fingerprint: kind === 'approved' ? this.fingerprint.value : '' };
    try {
      const found = await post('/api/record', body);
      this.draw(found);
      this.note.value = this.fingerprint.value = '';
      this.says.textContent = found.said.length ? `! Recorded. ${found.said.join(' ')}` : '✓ Recorded.';
    } catch (error) {
      const field = ((error.body && error.body.problems) || []).find(({ at }) => at && this[`${at[0]}Why`]);
      if (field) this.wrong(field.at[0], field.says);
      this.says.textContent = `✗ ${error.message}`;
    }
  }

  draw({ entries, not_read: lost, short, stands, readonly }) {
    this.noting.hidden = readonly;
    this.print.textContent = short;
    this.stands.className = stands === false ? 'bad' : stands ? 'good' : 'quiet';
    this.stands.textContent = stands === null ? '· The customer has not approved this job yet.' : stands ? '✓ The job stands as it was approved.' : '✗ The job has changed since it was approved: have it approved again.';
    const rows = entries.map((one) => {
      const more = [one.revision ? `revision ${one.revision}` : null, one.part || null].filter((word) => word);
      return make('li', { class: 'entry' }, make('strong', {}, SAID[one.kind] || one.kind), one.by ? [' by ', name(one.by)] : null, ', ', when(one.at), more.length ? `, ${more.join(', ')}` : null,
        one.note ? [': ', name(one.note)] : null, make('br'),
        make('span', { class: one.as_it_stands ? 'good' : 'quiet' }, one.as_it_stands ? '✓ the job as it stands' : '○ an older state of the job'), make('span', { class: 'quiet n' }, ` ${one.short}`));
    });
    this.list.replaceChildren(...(rows.length ? rows : [make('li', { class: 'entry quiet' }, 'Nothing is recorded yet.')]), ...lost.map((text) => make('li', { class: 'entry bad' }, `! ${text}`)));
    document.documentElement.dataset.recorded = String(entries.length);
  }
}
