// What the measurements of a piece tell: what to change, how far off it is where, and its shape. All of it in the
// server's own words; nothing is computed here.

import { button, make, name } from './dom.js';
import { table } from './found.js';
import { LEVELS } from './words.js';

const cell = (inside, kind) => make('td', { class: kind }, inside);
const row = (head, ...cells) => make('tr', {}, make('th', { scope: 'row' }, head), cells);
const small = (text) => make('span', { class: 'quiet' }, text);
const br = () => make('br');

function findings(list) {
  if (!list.length) return null;
  return make('ul', { class: 'findings' }, list.map(({ level, says }) => make('li', {}, make('p', { class: 'finding' }, make('strong', { class: level }, `${LEVELS[level][0]} ${LEVELS[level][1]}: `), says))));
}

// a list of what to measure, each a way to its field
export function suggestions(list, { done, go, readonly }) {
  return make('ol', { class: 'telling' }, list.map((one) => {
    const made = done(one);
    const words = [one.what, small(` planned ${one.planned}, by usual tools sure to ${one.sure_to}`), made ? make('span', { class: 'good' }, ' ✓ entered') : null];
    return make('li', {}, readonly ? make('p', {}, words) : button(words.filter((word) => word), () => go(one), { class: 'finding' }));
  }));
}

function next({ rows, notes, title }) {
  const body = rows.map(([bend, out, chance, taken, was, now, markWas, mark, plane]) => row(bend, cell([`${out}°`, br(), small(`chance gives ${chance}°`)]),
    cell([make('strong', {}, `${now}°`), br(), small(`was ${was}°, taken off: ${taken}`)]), cell([make('strong', {}, mark), br(), small(`was ${markWas}`)]), cell(plane)));
  return [table(title, ['Bend', 'Came out', 'Set now', 'Mark now', 'Plane'], body), ...notes.map((note) => make('p', {}, note))];
}

function rest({ rows, notes, title }) {
  const body = rows.map(([bend, aim, planned, set, mark, markPlanned]) => row(bend, cell(make('strong', {}, `${set}°`)), cell([`${aim}°`, br(), small(`planned ${planned}°`)]),
    cell([make('strong', {}, mark), br(), small(`planned ${markPlanned}`)])));
  return [table(title, ['Bend', 'Set', 'Aim for', 'Mark'], body), ...notes.map((note) => make('p', {}, note))];
}

function corrections(given, half) {
  if (given.problem) return [make('h3', {}, 'What to change'), make('p', {}, given.problem)];
  return half ? rest(given) : next(given);
}

const verdict = (state) => (state === 'fits' ? make('span', { class: 'good' }, '✓ fits') : make('span', { class: 'bad' }, '✗ missed'));

function laying({ name: on, rms, rows }) {
  const body = rows.map(([place, weight, back, right, up, sure, gap, wanted, state]) => row([name(place), weight === '1' ? null : small(` counts ${weight}`)].filter((one) => one), cell(back, 'n'), cell(right, 'n'), cell(up, 'n'), cell(sure, 'n'),
    cell(gap ? [gap, ' ', verdict(state), br(), small(`wanted ${wanted}`)] : '')));
  return table(`${on === 'best fit' ? 'Laid as well as it fits' : `Laid on ${on}`}: ${rms} off (weighted root mean square)`, ['Place', 'Back', 'Right', 'Up', 'Sure to', 'Gap'], body);
}

const KNOWN = { '': ['good', '✓ well'], partly: ['', '~ partly'], 'NOT MEASURED': ['bad', '✗ not measured'] };

function shape(rows) {
  const body = rows.map(([what, planned, found, off, sure, known]) => row(what, cell(planned, 'n'), cell(found, 'n'), cell(off, 'n'), cell(sure, 'n'), cell(make('span', { class: KNOWN[known][0] }, KNOWN[known][1]))));
  return table('The most likely shape', ['What', 'Planned', 'As bent', 'Off', 'Sure to', 'Known'], body);
}

export function told(look, ways) {
  const { said, correct, measured } = look;
  const half = correct ? correct.this_piece !== null : false;
  const made = [findings(said.findings)];
  if (said.next.length && said.shape.length) made.push(make('h3', {}, 'What would tell the most now'), suggestions(said.next, ways));
  if (!said.shape.length) return made;
  made.push(...corrections(said.corrections, half));
  if (said.layings.length) made.push(make('h3', {}, 'How far off it is'), ...said.layings.map(laying));
  made.push(shape(said.shape), make('p', { class: 'quiet' }, `The spread a tube comes out with: ${said.spread.join('; ')}.`));
  made.push(make('p', { class: 'quiet' }, `${measured.readings.filter(({ counts }) => counts).length} of ${measured.readings.length} readings count. Sizes only: whether a piece may be used is for the shop and a licensed review of the design to say.`));
  return made;
}
