// The state the server holds, as last heard of, and edits on their way to it: one in flight, the newest of each field.

import { get, post, Refused } from './net.js';

export class Store {
  constructor() {
    this.state = null;
    this.queue = new Map(); // from a field's key to the newest thing to send for it
    this.busy = false;
    this.listeners = { state: [], work: [], saved: [], link: [], meshes: [] };
    this.have = () => null; // keys of the meshes that need not be sent again
    this.heard = null; // the newest key the server spoke of
  }

  on(what, act) {
    this.listeners[what].push(act);
  }

  tell(what, value) {
    this.listeners[what].forEach((act) => act(value));
  }

  async start() {
    this.take(await get('/api/state'));
    this.listen();
  }

  listen() {
    const events = new EventSource('/events');
    const parsed = (act) => (event) => act(JSON.parse(event.data));
    events.addEventListener('state', parsed(({ key }) => {
      this.heard = key;
      this.catchUp();
    }));
    events.addEventListener('work', parsed((work) => {
      this.state.work = work;
      this.tell('work', work);
    }));
    events.addEventListener('saved', parsed((saved) => {
      this.state.saved = saved;
      this.tell('saved', saved);
    }));
    events.addEventListener('outside', () => this.refresh());
    events.addEventListener('bye', () => {
      events.close();
      this.tell('link', 'ended');
    });
    let lost = false;
    events.onerror = () => {
      lost = true;
      this.tell('link', 'lost');
    };
    events.onopen = () => {
      this.tell('link', 'on');
      if (lost) this.refresh(true);
      lost = false;
    };
    addEventListener('pagehide', () => events.close());
  }

  // a state counts if it is not older than what is shown; after the server was started anew, any
  take(state, any = false) {
    const [rev, part] = state.key.split('.').map(Number);
    const [own, ownPart] = this.state ? this.state.key.split('.').map(Number) : [-1, 0];
    if (!any && (rev < own || (rev === own && part < ownPart))) return;
    this.state = state;
    this.tell('state', state);
  }

  catchUp() {
    if (!this.busy && this.heard !== null && this.heard !== this.state.key) this.refresh();
  }

  async refresh(any = false) {
    if (this.asking) return;
    this.asking = true;
    try {
      const state = await get(any ? '/api/state' : `/api/state?have=${this.state.key}`);
      if (state) this.take(state, any);
      else this.heard = this.state.key;
    } catch (error) {
      if (!(error instanceof TypeError)) throw error; // no link; the events say so
    } finally {
      this.asking = false;
    }
  }

  // key: the field; still: whether a person is still at it; done(error or nothing): what came of it
  edit(key, op, { group = null, still = () => false, done = () => {} } = {}) {
    const body = group ? { op, group } : { op };
    this.send(key, '/api/edit', body, { still, done });
  }

  send(key, path, body = {}, { still = () => false, done = () => {} } = {}) {
    this.queue.set(key, { path, body, still, done, again: false });
    this.pump();
  }

  async pump() {
    if (this.busy) return;
    this.busy = true;
    while (this.queue.size) {
      const [key, item] = this.queue.entries().next().value;
      this.queue.delete(key);
      await this.attempt(key, item);
    }
    this.busy = false;
    this.catchUp();
  }

  async attempt(key, item) {
    try {
      const have = this.have();
      const reply = await post(item.path, { ...item.body, rev: this.state.rev, ...(have && { have }) });
      const state = reply && reply.state && reply.state.key ? reply.state : reply;
      if (state !== reply) this.tell('meshes', reply.meshes);
      if (state && state.key) this.take(state);
      item.done(null, state);
    } catch (error) {
      if (error instanceof Refused && error.status === 409 && error.body.state) {
        this.take(error.body.state);
        if (item.still() && !item.again && !this.queue.has(key)) {
          this.queue.set(key, { ...item, again: true });
          return;
        }
      }
      item.done(error instanceof TypeError ? new Refused(0, { error: 'the program does not answer; is it still running?' }) : error);
      if (!(error instanceof Refused) && !(error instanceof TypeError)) throw error;
    }
  }
}
