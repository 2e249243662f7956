// Making elements. Text is put in as text.

export function make(tag, given = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === 'class') made.className = value;
    else if (name.startsWith('on')) made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? '' : value);
  }
  made.append(...inside.flat().filter((one) => one !== null && one !== undefined && one !== false));
  return made;
}

export const button = (label, act, given = {}) => make('button', { type: 'button', onclick: act, ...given }, label);

export const by = (id) => document.getElementById(id);

// a name that a person gave, in an isolate of its own
export const name = (text) => make('bdi', {}, String(text));

const SVG = 'http://www.w3.org/2000/svg';

export function svg(tag, given = {}, ...inside) {
  const made = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(given)) {
    if (value !== null && value !== undefined && value !== false) made.setAttribute(key, value);
  }
  made.append(...inside.flat());
  return made;
}

// an element's children, replaced only where they differ: a list is drawn anew only for a new signature
export function once(host, signature, draw) {
  if (host.dataset.drawn === signature) return;
  host.dataset.drawn = signature;
  host.replaceChildren(...draw());
}
