// What was found, in lists and tables: the verdict, findings that can be picked, bend tables, fit, gaps and joints.

import { by, make, name, once } from './dom.js';
import { findings, fresh, gapWords, letters, tightest } from './shown.js';
import { angle, labelOf, length, LEVELS, plural, travel } from './words.js';

const cell = (inside, kind) => make('td', { class: kind }, inside);
const state = (ok, good, bad) => make('span', { class: ok ? 'good' : 'bad' }, ok ? `✓ ${good}` : `✗ ${bad}`);

export function table(caption, heads, rows) {
  return make('div', { class: 'sheet' }, make('table', {}, make('caption', {}, caption),
    make('thead', {}, make('tr', {}, heads.map((head) => make('th', { scope: 'col' }, head)))), make('tbody', {}, rows)));
}

export class Found {
  constructor({ pick }) {
    this.pick = pick;
    this.picked = null;
  }

  update(now) {
    this.state = now;
    const all = findings(now);
    this.verdict(now, all);
    once(by('finding-list'), JSON.stringify([all, this.picked]), () => this.list(all));
    once(by('bend-tables'), JSON.stringify(now.parts.map(({ id, table: rows, hand }) => [id, hand, rows])), () => this.bends(now));
    this.measured = { fit: now.quick.fit || (now.checks.answer && now.checks.answer.fit), joints: now.quick.joints || (now.checks.answer && now.checks.answer.joints) };
    once(by('fit-table'), JSON.stringify([this.measured.fit, now.fit_points]), () => this.fit(now));
    once(by('gap-table'), JSON.stringify([fresh(now), now.checks.answer && now.checks.answer.gaps]), () => this.gaps(now));
    once(by('joint-table'), JSON.stringify(this.measured.joints), () => this.joints(now));
  }

  verdict(now, all) {
    const stops = all.filter(({ level }) => level === 'stop').length;
    const looks = all.filter(({ level }) => level === 'warn').length;
    const wait = fresh(now) ? '' : now.checks.stage === 'failed' ? ` Gaps and bending could not be worked out: ${now.checks.says}` : ' Gaps and bending are being worked out …';
    const verdict = by('verdict');
    verdict.className = stops ? 'bad' : 'good';
    verdict.textContent = `${stops ? `✗ ${plural(stops, 'finding stops', 'findings stop')} this job.` : fresh(now) ? '✓ Nothing found stops this job.' : '✓ Nothing stops it so far.'}${looks ? ` ${plural(looks, 'thing', 'things')} to look at.` : ''}`;
    by('waiting').textContent = wait;
    document.documentElement.dataset.checked = fresh(now) ? String(now.rev) : '';
  }

  list(all) {
    if (!all.length) return [make('li', { class: 'none' }, 'None.')];
    return all.map((one) => {
      const [mark, word] = LEVELS[one.level];
      const hands = one.hands.length ? ` (${one.hands.join(' and ')} hand)` : '';
      const inside = [make('strong', { class: one.level }, `${mark} ${word}, ${one.rule}: `), one.says, make('span', { class: 'quiet' }, hands)];
      const pressed = this.picked === one.key;
      return make('li', {}, one.where
        ? make('button', { type: 'button', class: 'finding', 'aria-pressed': String(pressed), onclick: () => this.choose(one) }, inside, make('span', { class: 'show' }, pressed ? ' shown' : ' show'))
        : make('p', { class: 'finding' }, inside));
    });
  }

  choose(one) {
    const off = this.picked === one.key;
    this.picked = off ? null : one.key;
    this.pick(off ? null : { at: one.where, badge: LEVELS[one.level][1], level: one.level, words: `${LEVELS[one.level][1]}: ${one.says}` });
    const at = [...by('finding-list').querySelectorAll('button')].indexOf(document.activeElement);
    this.update(this.state);
    by('finding-list').querySelectorAll('button')[at]?.focus({ preventScroll: true });
  }

  bends(now) {
    const named = letters(now);
    const shown = now.parts.filter(({ hand, bends }) => hand !== 'left' && bends.length);
    if (!shown.length) return [make('p', { class: 'quiet' }, 'No part has bends.')];
    return shown.map((part) => {
      const { rows, tail, developed_length: whole, leading_end: end } = part.table;
      const letter = named.get(part.name);
      const body = rows.map((row) => make('tr', {}, make('th', { scope: 'row' }, `${letter}${row.bend}`), cell(length(row.distance, now.unit), 'n'), cell(angle(row.rotation), 'n'),
        cell(angle(row.angle), 'n'), cell(length(row.radius, now.unit), 'n'), cell([`${row.toward || ''}${row.way ? `, ${row.way} way` : ''}`, row.die ? make('span', { class: 'quiet' }, ' ', name(row.die)) : null])));
      body.push(make('tr', {}, make('th', { scope: 'row' }, 'Tail'), cell(length(tail, now.unit), 'n'), make('td', { colspan: 4 }, `in all ${length(whole, now.unit)} ${now.unit}`)));
      return table([`${letter} `, name(part.name), `${part.hand === 'right' ? ', right hand' : ''}, read from its ${end || part.leading_end} end, ${now.unit}`], ['Bend', 'Straight', 'Rotation', 'Angle', 'Radius', 'Toward'], body);
    });
  }

  fit(now) {
    const { fit } = this.measured;
    if (!fit) return [make('p', { class: 'quiet' }, 'Being worked out …')];
    if (!fit.length) return [make('p', { class: 'quiet' }, 'The job names no fit points.')];
    const badge = new Map((now.written.fit_points || []).map((one, i) => [one.name, `F${i + 1}`]));
    const rows = fit.map((one) => make('tr', {}, make('th', { scope: 'row' }, badge.get(one.name) || ''), cell([name(one.name), make('br'), make('span', { class: 'quiet' }, name(labelOf(one)), `, ${one.face}`)]),
      cell(length(one.gap, now.unit), 'n'), cell(`${length(one.want, now.unit)} ± ${Number(one.within.toPrecision(4))}`, 'n'), cell(state(one.ok, 'fits', 'does not fit'))));
    return [table(`Gap from each place to the face it belongs to, ${now.unit}`, ['Label', 'Place', 'Gap', 'Wanted', 'State'], rows)];
  }

  gaps(now) {
    if (!now.shapes.length) return [make('p', { class: 'quiet' }, 'The job names nothing to keep clear of.')];
    if (!now.checks.answer || !now.checks.answer.gaps) return [make('p', { class: 'quiet' }, 'Being worked out …')];
    const rows = tightest(now).map((one) => {
      const at = travel(one.at, now.unit);
      const pick = make('button', { type: 'button', class: 'finding', onclick: () => this.pick({ at: one.where, badge: length(one.gap, now.unit), level: one.ok ? 'note' : 'stop', words: gapWords(one, now.unit) }) }, name(one.shape), make('span', { class: 'show' }, ' show'));
      return make('tr', {}, make('th', { scope: 'row' }, pick, at ? make('span', { class: 'quiet' }, at) : null), cell(name(labelOf(one))), cell(length(one.gap, now.unit), 'n'),
        cell(length(one.needs, now.unit), 'n'), cell(state(one.ok, 'clear', one.gap < 0 ? 'runs into it' : 'too near')));
    });
    const old = fresh(now) ? '' : ' (before the last change; being worked out anew)';
    return [table(`Least gap over the whole travel, to the part that comes nearest, ${now.unit}${old}`, ['Shape', 'Nearest part', 'Least gap', 'Wanted', 'State'], rows)];
  }

  joints(now) {
    const { joints } = this.measured;
    if (!joints) return [make('p', { class: 'quiet' }, 'Being worked out …')];
    if (!joints.length) return [make('p', { class: 'quiet' }, 'The job names no joints.')];
    const rows = joints.map((one, i) => make('tr', {}, make('th', { scope: 'row' }, `J${i + 1}`), cell([].concat(one.between).flatMap((end, k) => [k ? make('br') : null, name(end)])),
      cell(length(one.gap, now.unit), 'n'), cell(length(one.offset, now.unit), 'n'), cell(angle(one.angle), 'n'), cell(angle(one.roll), 'n'), cell(state(one.ok, 'meets', 'does not meet'))));
    return [table(`How the ends meet, ${now.unit}`, ['Label', 'Ends', 'Gap', 'Aside', 'Angle', 'Roll', 'State'], rows)];
  }
}
