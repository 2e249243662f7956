// Writing files: which ones, how far it is, and links to what was written.

import { button, by, make, name, once } from './dom.js';
import { get, post } from './net.js';
import { plural } from './words.js';

const size = (bytes) => (bytes < 1000 ? `${bytes} bytes` : bytes < 1e6 ? `${(bytes / 1000).toFixed(0)} kB` : `${(bytes / 1e6).toFixed(1)} MB`);

export class Files {
  constructor(store) {
    this.store = store;
    this.kinds = make('fieldset', { class: 'kinds' }, make('legend', {}, 'Which files'));
    this.write = button('Write the files', () => this.start(), { class: 'main-button' });
    this.halt = button('Stop', () => post('/api/write/stop').catch((error) => this.say(error.message)));
    this.bar = make('progress', { 'aria-label': 'Writing files' });
    this.says = make('p', { role: 'status', id: 'files-says' });
    this.list = make('div', { id: 'file-list' });
    by('files-tools').append(this.kinds, make('div', { class: 'row' }, this.write, this.halt, this.bar), this.says, this.list);
    this.chosen = new Set();
  }

  say(text) {
    this.says.textContent = text;
  }

  // asked for when the view is opened, as the list depends on the job
  async open() {
    const { kinds } = await get('/api/kinds');
    once(this.kinds, JSON.stringify(kinds), () => [make('legend', {}, 'Which files'), ...kinds.map(({ kind, label, files }) => {
      const id = `kind-${kind}`;
      const input = make('input', { type: 'checkbox', id, value: kind, onchange: () => this.choose() });
      input.checked = this.before ? this.chosen.has(kind) : true;
      return make('div', { class: 'check' }, input, make('label', { for: id }, label, make('span', { class: 'quiet' }, ` ${plural(files.length, 'file', 'files')}`)));
    })]);
    this.choose();
    this.before = true;
  }

  choose() {
    this.chosen = new Set([...this.kinds.querySelectorAll('input:checked')].map(({ value }) => value));
    this.progress(this.store.state.work);
  }

  async start() {
    const all = this.kinds.querySelectorAll('input').length === this.chosen.size;
    try {
      const { work } = await post('/api/write', { rev: this.store.state.rev, kinds: all ? 'all' : [...this.chosen] });
      this.store.state.work = work;
      this.progress(work);
    } catch (error) {
      this.say(`✗ ${error.message}`);
      this.store.refresh();
    }
  }

  progress(work) {
    const mine = work && work.kind === 'build';
    const runs = Boolean(mine && work.state === 'running');
    this.halt.hidden = this.bar.hidden = !runs;
    this.write.disabled = runs || this.store.state.readonly || !this.chosen.size;
    if (!mine) return;
    if (runs && work.of) Object.assign(this.bar, { max: work.of, value: work.done });
    this.say(`${work.state === 'failed' ? '✗ ' : work.state === 'done' ? '✓ ' : ''}${runs && work.of ? `${work.done} of ${work.of}: ` : ''}${work.says || ''}`);
  }

  update(state) {
    this.progress(state.work);
    once(this.list, JSON.stringify([state.files, state.files_rev === state.rev]), () => this.files(state));
  }

  files(state) {
    if (!state.files.length) return [make('p', { class: 'quiet' }, 'Nothing is written yet.')];
    const old = state.files_rev === state.rev ? null : make('p', { class: 'bad' }, '! The job was changed since these were written; write them again before you cut.');
    const rows = state.files.map((file) => make('li', {}, file.problem
      ? [make('span', { class: 'bad' }, '✗ '), name(file.path), make('span', { class: 'quiet' }, ` ${file.what}: not written, ${file.problem}`)]
      : [make('a', { href: file.url, download: file.path.split('/').pop() }, name(file.path)), make('span', { class: 'quiet' }, ` ${file.what}, ${size(file.bytes)}`)]));
    return [make('h3', {}, plural(state.files.length, 'file', 'files')), old, make('ul', { class: 'files' }, rows)].filter((one) => one);
  }
}
