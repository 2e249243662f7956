// Numbers and states in words, as the command line says them.

export const LEVELS = { stop: ['✗', 'Stop'], warn: ['!', 'Look'], note: ['·', 'Note'] };

// half a last digit goes up, whatever noise sums left in it
const fixed = (value, places) => (value + Math.sign(value) * 1e-9).toFixed(places);

// a length in the job's unit: three places for inches, one for millimetres
export function length(value, unit) {
  if (value === null || value === undefined) return 'not found';
  const text = fixed(value, unit === 'in' ? 3 : 1);
  return Number(text) === 0 ? text.replace('-', '') : text;
}

export const withUnit = (value, unit) => (value === null || value === undefined ? 'not found' : `${length(value, unit)} ${unit}`);

export function angle(value, places = 2) {
  if (value === null || value === undefined) return 'not found';
  const text = value.toFixed(places);
  return `${Number(text) === 0 ? text.replace('-', '') : text}°`;
}

export const labelOf = ({ part, hand }) => (hand === null || hand === undefined || hand === 'single' ? part : `${part} ${hand}`);

export const plural = (count, one, many) => `${count} ${count === 1 ? one : many}`;

// where in its travel a shape is
export function travel(at, unit) {
  if (!at) return '';
  const found = [];
  if (at.up) found.push(`${withUnit(Math.abs(at.up), unit)} ${at.up > 0 ? 'up' : 'down'}`);
  if (at.roll) found.push(`rolled ${angle(at.roll)}`);
  if (at.turn) found.push(`turned ${angle(at.turn)}`);
  if (at.slide) found.push(`slid ${withUnit(at.slide, unit)}`);
  return found.join(', ');
}

// a mark as the papers say it, such as 37.046 (37 1/16") or 786.4 mm: what to read off the tape, and what stands beside it
export function marked(text, unit) {
  const [number, tape] = text.split(' (');
  return tape ? [tape.replace(')', ''), `${number} ${unit}`] : [number.replace(` ${unit}`, ''), unit];
}

export const markWords = (text, unit) => (text.includes(' (') ? marked(text, unit).join(', ') : marked(text, unit).join(' '));

// where the mark of a bend is set at the gauge; nothing for a part whose dies all have it at the mark itself
export function gauged(order, all, unit) {
  if (all.every((one) => Math.abs(one.mark_at_gauge - one.mark) < 1e-6)) return null;
  return marked(order.mark_at_gauge_tape || length(order.mark_at_gauge, unit), unit);
}
