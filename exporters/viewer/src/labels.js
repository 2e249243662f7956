// Short badges on stems over the picture, kept off each other: the first of two that would overlap stays. Lines from
// one place to another lie over the picture too, so that nothing hides them.

import { Vector3 } from 'three';

const HALF = 10; // half the height of a badge, pixels
const STEM = 14; // from a place to the foot of its badge
const SVG = 'http://www.w3.org/2000/svg';

export class Labels {
  constructor(layer) {
    this.layer = layer;
    this.on = true;
    this.found = [];
    this.gaps = [];
    this.line = document.createElementNS(SVG, 'svg');
    this.line.classList.add('rv-line');
    this.measure = this.stroke('rv-measured');
    layer.append(this.line);
  }

  stroke(name) {
    const line = document.createElementNS(SVG, 'line');
    line.setAttribute('class', name);
    this.line.append(line);
    return line;
  }

  // points: {badge, at: [x, y, z], words, kind}; the first ones matter most
  set(points) {
    this.found.forEach(({ element }) => element.remove());
    this.found = points.map((point) => {
      const element = document.createElement('span');
      element.className = `rv-badge rv-${point.kind || 'point'}`;
      element.textContent = point.badge;
      this.layer.append(element);
      return { ...point, place: new Vector3(...point.at), element, box: null };
    });
  }

  // gaps: {from: [x, y, z], to: [x, y, z], kind}
  setLines(gaps) {
    this.gaps.forEach(({ line }) => line.remove());
    this.gaps = gaps.map(({ from, to, kind }) => (
      { line: this.stroke(`rv-gap rv-gap-${kind}`), ends: [new Vector3(...from), new Vector3(...to)] }
    ));
  }

  // measured: up to two places; drawn whether badges are shown or not
  draw(orbit, width, height, measured) {
    const taken = [];
    const spot = (place) => {
      const [x, y] = orbit.seen(place);
      return [width / 2 + (x * height) / 2, height / 2 - (y * height) / 2];
    };
    for (const one of this.found) {
      const [x, y] = spot(one.place);
      const size = 9 + 3.5 * one.badge.length;
      const box = [x - size, y - STEM - 2 * HALF, x + size, y - STEM];
      const inside = box[0] > 0 && box[1] > 0 && box[2] < width && box[3] < height;
      const free = !taken.some((other) => box[0] < other[2] && other[0] < box[2] && box[1] < other[3] && other[1] < box[3]);
      const shown = (this.on || one.always) && inside && free;
      one.box = shown ? box : null;
      one.element.hidden = !shown;
      if (shown) {
        taken.push(box);
        one.element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(-50%, calc(-100% - ${STEM}px))`;
      }
    }
    const drawn = (line, [[x1, y1], [x2, y2]]) => {
      Object.entries({ x1, y1, x2, y2 }).forEach(([name, value]) => line.setAttribute(name, value));
    };
    this.measure.toggleAttribute('hidden', !measured.length);
    if (measured.length) drawn(this.measure, [measured[0], measured[measured.length - 1]].map(spot));
    this.gaps.forEach(({ line, ends }) => {
      line.toggleAttribute('hidden', !this.on);
      drawn(line, ends.map(spot));
    });
    this.line.toggleAttribute('hidden', !measured.length && !(this.on && this.gaps.length));
  }

  // the point whose badge is under (x, y), pixels
  under(x, y) {
    return this.found.find(({ box }) => box && x >= box[0] - 6 && x <= box[2] + 6 && y >= box[1] - 6 && y <= box[3] + 6);
  }
}
