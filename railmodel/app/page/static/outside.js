// The job file was changed by another program: what differs, and which of the two to keep.

import { button, by, make } from './dom.js';
import { get, post } from './net.js';

export class Outside {
  constructor(store) {
    this.store = store;
    this.host = by('outside');
    this.says = make('p', { role: 'alert' });
    this.lines = make('pre', { class: 'lines', tabindex: 0, role: 'region', 'aria-label': 'What differs' });
    this.mine = button('Keep what is here', () => this.keep('mine'));
    this.theirs = button('Take what is in the file', () => this.keep('theirs'));
    this.host.append(this.says, make('p', { class: 'quiet' }, 'Nothing is written until you choose. In the list, - is what is here and + what is in the file.'), this.lines, make('div', { class: 'row' }, this.mine, this.theirs));
  }

  async update(state) {
    const on = state.saved.state === 'outside';
    this.host.hidden = !on;
    if (!on) return;
    this.says.textContent = `! ${state.saved.says}`;
    const { theirs } = await get('/api/outside');
    this.theirs.disabled = !theirs.reads || state.readonly;
    this.mine.disabled = state.readonly;
    if (!theirs.reads) this.says.textContent = `! ${state.saved.says} What is in the file cannot be read: ${theirs.error}`;
    this.lines.replaceChildren(...theirs.lines.map(({ mark, text }) => make('span', { class: mark === '+' ? 'plus' : mark === '-' ? 'minus' : '' }, `${mark} ${text}\n`)));
  }

  async keep(which) {
    try {
      this.store.take(await post('/api/outside', { keep: which }));
    } catch (error) {
      this.says.textContent = `✗ ${error.message}`;
    }
  }
}
