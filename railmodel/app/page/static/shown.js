// What of a state is pointed at in the pictures: badges of bends and fit points, gaps, findings. Nothing is computed here.

import { labelOf, length, LEVELS } from './words.js';

const LETTERS = 'ABCDEGHKLMNPQRSTUVWXYZ'; // without F, which stands for fit points, and without I and O

export function letters(state) {
  const found = new Map();
  for (const part of state.parts) {
    if (found.has(part.name)) continue;
    const i = found.size;
    found.set(part.name, (i >= LETTERS.length ? LETTERS[Math.floor(i / LETTERS.length) - 1] : '') + LETTERS[i % LETTERS.length]);
  }
  return found;
}

export function points(state) {
  const named = letters(state);
  const fits = (state.fit_points || []).map(({ badge, at, name, hand }) => (
    { badge, at, words: hand ? `${name}, ${hand}` : name, kind: 'fit' }
  ));
  const bends = state.parts.flatMap((part) => part.bends.map((bend) => ({
    badge: `${named.get(part.name)}${bend.bend}`, at: bend.at, kind: 'point',
    words: `${part.id}, bend ${bend.bend}: ${bend.angle.toFixed(2)} degrees toward ${bend.toward}`,
  })));
  return [...fits, ...bends];
}

// whether gaps, and all that takes longer, are of this very state
export const fresh = (state) => state.checks.answer !== null && state.checks.rev === state.rev && state.checks.stage === 'done';

// findings of this state; where the slower checks are not done, those of the quick ones
export function findings(state) {
  const order = { stop: 0, warn: 1, note: 2 };
  const all = fresh(state) ? state.checks.answer.findings : state.quick.findings;
  return merged(all).sort((a, b) => order[a.level] - order[b.level]);
}

// what is said of both hands of a pair in the same words is said once
function merged(all) {
  const found = new Map();
  for (const one of all) {
    const paired = one.part && (one.hand === 'left' || one.hand === 'right');
    const says = paired ? one.says.replace(`${one.part} ${one.hand}: `, `${one.part}: `) : one.says;
    const key = JSON.stringify([one.level, one.rule, says]);
    const seen = found.get(key);
    if (seen && paired) seen.hands.push(one.hand);
    if (!seen) found.set(key, { ...one, says, key, hands: paired ? [one.hand] : [] });
  }
  return [...found.values()];
}

// the part that comes nearest to each shape, measured against the gap wanted; the tightest first
export function tightest(state) {
  const best = new Map();
  for (const one of (state.checks.answer && state.checks.answer.gaps) || []) { // none yet while they are worked out
    const seen = best.get(one.shape);
    if (!seen || one.gap - one.needs < seen.gap - seen.needs) best.set(one.shape, one);
  }
  return [...best.values()].sort((a, b) => (a.gap - a.needs) - (b.gap - b.needs));
}

export const gapWords = (gap, unit) => `${labelOf(gap)} to ${gap.shape}: ${length(gap.gap, unit)} ${unit}, ${length(gap.needs, unit)} wanted, ${gap.ok ? 'clear' : gap.gap < 0 ? 'runs into it' : 'too near'}`;

export function gaps(state) {
  return (fresh(state) ? tightest(state) : []).map((gap) => ({
    from: gap.where, to: gap.where_on_shape, badge: `${gap.ok ? '' : '✗ '}${length(gap.gap, state.unit)}`, words: gapWords(gap, state.unit),
    kind: gap.ok ? 'good' : 'bad', shape: gap.shape,
  }));
}

// findings that can be pointed at; notes are left to the list
export const highlights = (state) => findings(state).filter(({ level, where }) => level !== 'note' && where).map((one) => ({
  part: labelOf(one), level: one.level, badge: LEVELS[one.level][1], at: one.where, words: `${LEVELS[one.level][1]}: ${one.says}`,
}));
