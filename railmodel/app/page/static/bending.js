// The rehearsal: a part bent step by step on the bender, played, stepped or scrubbed, as the server worked it out.

import { keepOut, solid, swung } from './bender.js';
import { button, by, make, name, once } from './dom.js';
import { get } from './net.js';
import { angle, gauged, length, markWords, withUnit } from './words.js';

const PACE = 1400; // milliseconds a step

export class Bending {
  constructor(store) {
    this.store = store;
    this.which = make('select', { id: 'rehearse-of', onchange: () => this.load() });
    this.end = make('select', { id: 'rehearse-end', onchange: () => this.load() }, ['front', 'rear'].map((end) => make('option', { value: end }, `${end} end leading`)));
    this.run = button('Play', () => (this.playing ? this.stop() : this.play()), { 'aria-pressed': 'false', class: 'main-button' });
    this.scrub = make('input', { type: 'range', id: 'scrub', min: 0, max: 1, step: 0.01, value: 0, oninput: () => this.to(Number(this.scrub.value)) });
    this.host = make('div', { class: 'rv', id: 'bender' });
    this.now = make('div', { id: 'step-now', 'aria-live': 'polite' });
    this.steps = make('ol', { class: 'steps', id: 'step-list' });
    this.says = make('p', { role: 'status', class: 'quiet', id: 'rehearse-says' });
    by('bending-tools').append(
      make('div', { class: 'row' }, make('label', { for: 'rehearse-of' }, 'Part'), this.which, make('label', { for: 'rehearse-end' }, 'From'), this.end,
        make('a', { href: '/bend', id: 'to-bender', class: 'button' }, 'Next bend, in large type')),
      this.says,
      this.bench = make('div', { class: 'bench', hidden: true }, make('div', {}, this.host, make('div', { class: 'row' }, button('Step back', () => this.step(-1)), this.run, button('Step on', () => this.step(1))),
        make('div', { class: 'slider' }, make('label', { for: 'scrub' }, 'Scrub'), this.scrub)), make('div', {}, this.now, make('h3', {}, 'Steps'), this.steps)),
    );
    this.at = 0;
  }

  get chosen() {
    const [part, hand] = JSON.parse(this.which.value || '[]');
    return { part, hand };
  }

  open() {
    this.shown = true;
    this.update(this.store.state);
  }

  close() {
    this.shown = false;
    this.stop();
  }

  update(state) {
    if (!this.shown || !state) return;
    const parts = state.parts.filter(({ kind, bends }) => kind === 'part' && bends.length);
    const named = parts.map(({ id, name: part, hand }) => [JSON.stringify([part, hand]), id]);
    once(this.which, JSON.stringify(named), () => named.map(([value, id]) => make('option', { value }, id)));
    if (!named.length) {
      this.says.textContent = 'No part of this job has bends.';
      return;
    }
    if (this.rev !== state.rev || !this.data) this.load(this.rev === undefined);
    this.rev = state.rev;
  }

  // asks until the answer is there; the newest choice wins
  async load() {
    const { part, hand } = this.chosen;
    const leading = this.store.state.parts.find((one) => one.name === part && one.hand === hand).leading_end;
    const fresh = this.part !== this.which.value;
    if (fresh) this.end.value = leading;
    this.part = this.which.value;
    const question = {};
    this.question = question;
    this.says.textContent = 'Being worked out …';
    const path = `/api/rehearsal?part=${encodeURIComponent(part)}&hand=${encodeURIComponent(hand)}&end=${this.end.value}`;
    try {
      for (;;) {
        const data = await get(path);
        if (this.question !== question) return;
        if (data && !data.busy) {
          this.take(data, fresh);
          return;
        }
        await new Promise((done) => setTimeout(done, 300));
        if (this.question !== question) return;
      }
    } catch (error) {
      if (this.question !== question) return;
      this.data = null;
      this.stop();
      this.bench.hidden = true; // nothing of another part stays in sight
      this.says.textContent = `✗ ${error.message}`;
    }
  }

  take(data, fresh) {
    this.data = data;
    this.bench.hidden = false;
    this.scrub.max = data.steps.length;
    const least = data.least_gap === null || data.least_gap === undefined ? '' : ` Least clearance ${withUnit(data.least_gap, data.unit)}.`;
    this.says.replaceChildren(make('span', { class: data.ok ? 'good' : 'bad' }, data.ok ? `✓ Nothing is touched.${least}` : `✗ The tube touches something.${least}`), ...data.not_checked.flatMap((words) => [make('br'), `Not rehearsed: ${words}`]));
    this.steps.replaceChildren(...data.steps.map((step, i) => make('li', {}, button([make('span', {}, step.name), make('span', { class: step.gap !== null && step.gap < 0 ? 'bad n' : 'n' },
      step.gap === null ? '–' : `${step.gap < 0 ? '✗ ' : ''}${withUnit(step.gap, data.unit)}`)], () => this.to(i), { class: 'step' }))));
    if (!this.view) this.view = RailView.create(this.host, { quick: true, unit: data.unit, what: 'bender', onLost: () => { this.view = null; } });
    if (this.view) {
      this.solids = data.machine.solids.map(solid);
      this.view.setExtent(this.extent());
      if (fresh) this.view.setCamera({ turn: 90 - 55 * data.machine.side, tilt: 32 }); // from the side away from the die
    }
    this.to(fresh ? 0 : Math.min(this.at, data.steps.length));
    document.documentElement.dataset.rehearsed = `${data.part} ${data.hand} ${data.leading_end} ${data.rev}`;
  }

  // every place that the tube comes to, and the floor that people keep out of
  extent() {
    const { steps, machine } = this.data;
    const floor = machine.floor ?? 0;
    return steps.flatMap(({ frames, keep_out: area }) => [...frames.flatMap(({ points }) => Array.from(points)), ...(area ? Array.from(keepOut(area, floor).points) : [])]);
  }

  step(by2) {
    this.stop();
    if (!this.data) return;
    const now = Math.min(Math.floor(this.at), this.data.steps.length - 1);
    const next = by2 < 0 && this.at > now ? now : now + by2;
    this.to(Math.max(0, Math.min(this.data.steps.length - 1, next)));
  }

  play() {
    if (!this.data) return;
    this.playing = true;
    this.run.textContent = 'Stop';
    this.run.setAttribute('aria-pressed', 'true');
    if (this.at >= this.data.steps.length) this.at = 0;
    let last = null;
    const tick = (time) => {
      if (!this.playing) return;
      if (last !== null) this.to(Math.min(this.data.steps.length, this.at + (time - last) / PACE));
      last = time;
      if (this.at >= this.data.steps.length) this.stop();
      else requestAnimationFrame(tick);
    };
    requestAnimationFrame(tick);
  }

  stop() {
    this.playing = false;
    this.run.textContent = 'Play';
    this.run.setAttribute('aria-pressed', 'false');
  }

  // shows a moment: whole steps and a fraction of one
  to(at) {
    this.at = at;
    this.scrub.value = at;
    const { steps, machine } = this.data;
    const i = Math.min(Math.floor(at), steps.length - 1);
    const fraction = at - i;
    const step = steps[i];
    const [before, after, share] = between(step.frames, fraction);
    const points = share ? before.points.map((value, k) => value + share * (after.points[k] - value)) : before.points;
    const arm = before.arm + share * (after.arm - before.arm);
    this.scrub.setAttribute('aria-valuetext', `${step.name}, ${Math.round(fraction * 100)} percent`);
    this.words(step, i);
    if (!this.view) return;
    const floor = machine.floor ?? 0;
    this.view.setSkin({ name: this.data.part, points, triangles: this.data.triangles });
    this.view.setShapes([...this.solids, ...(step.keep_out ? [keepOut(step.keep_out, floor)] : [])],
      ['keep out', ...machine.solids.flatMap(({ name: called }, k) => (step.hits.includes(called) ? [`solid ${k}`] : []))]);
    this.view.placeShapes(Object.fromEntries(machine.solids.map(({ moves }, k) => [`solid ${k}`, swung(step.die.axis, moves === 'arm' ? arm : 0)])));
    const close = step.where && Math.abs(fraction - (step.fraction ?? 0)) < 0.12;
    this.view.setHighlights(close ? [{ level: step.gap < 0 ? 'stop' : 'warn', badge: withUnit(step.gap, this.data.unit), at: step.where, words: `${step.name}: least clearance, to ${step.against}` }] : []);
  }

  words(step, i) {
    const { data } = this;
    once(this.now, `${data.key || data.rev} ${i} ${data.hand} ${data.leading_end}`, () => this.told(step, i));
    [...this.steps.children].forEach((item, k) => (k === i ? item.firstChild.setAttribute('aria-current', 'step') : item.firstChild.removeAttribute('aria-current')));
  }

  told(step, i) {
    const { data } = this;
    const fact = (term, words) => make('div', { class: typeof words === 'string' && words.length > 30 ? 'wide' : null }, make('dt', {}, term), make('dd', {}, words));
    const facts = [fact('Least clearance', step.gap === null ? 'not known' : make('span', { class: step.gap < 0 ? 'bad' : '' }, `${step.gap < 0 ? '✗ ' : ''}${withUnit(step.gap, data.unit)}, to ${step.against}`))];
    if (step.hits.length) facts.push(fact('Touches', make('span', { class: 'bad' }, `✗ ${step.hits.join(', ')}`)));
    if (step.keep_out) facts.push(fact(step.keep_out.kind === 'arc' ? 'Floor arc, keep out' : 'Floor, keep out', floorWords(step.keep_out, data)));
    const { order } = step;
    if (order) {
      const all = data.steps.flatMap((one) => one.order || []);
      facts.push(fact('Face on the die', order.face_on_die), fact('Face up', order.face_up), fact('Turn', order.turn), fact('Set angle', angle(order.set_angle, data.set_angle_places)),
        fact('Mark', markWords(order.mark_tape || length(order.mark, data.unit), data.unit)), fact('Die', order.die ? name(order.die) : 'none of the shop’s'));
      const gauge = gauged(order, all, data.unit);
      if (gauge) facts.push(fact('Mark at the gauge', gauge.join(gauge[0].includes('"') ? ', ' : ' ')));
      if (order.turn_over) facts.push(fact('Over which way', `${order.turn_over}, ${data.seen}`));
    } else if (step.kind === 'load') {
      const first = data.steps.find((one) => one.order);
      if (first) facts.push(fact('Load', first.order.turn));
    }
    return [make('h3', {}, `Step ${i + 1} of ${data.steps.length}: ${step.name}`), make('dl', { class: 'facts' }, facts)];
  }
}

const floorWords = (area, { unit, unit_mm: mm }) => (area.kind === 'arc'
  ? `within ${withUnit(area.radius / mm, unit)} of the die, from ${angle(area.from, 0)} to ${angle(area.to, 0)}`
  : `${withUnit(area.radius / mm, unit)} either side of the tube`);

// the frames about a fraction, and how far it is from one to the other
function between(frames, fraction) {
  const k = frames.findIndex((frame) => frame.fraction >= fraction);
  if (k <= 0) return k === 0 ? [frames[0], frames[0], 0] : [frames[frames.length - 1], frames[frames.length - 1], 0];
  const [before, after] = [frames[k - 1], frames[k]];
  return [before, after, (fraction - before.fraction) / (after.fraction - before.fraction || 1)];
}
