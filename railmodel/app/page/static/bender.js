// What stands around the bender, as bodies for the view: drawn from sizes that the server gives. Bender axes, mm.

const BOX = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]];
const AROUND = 24;

// four-cornered or many-cornered flat faces as buffers, each with a normal of its own
function faces(id, title, all) {
  const [points, normals, triangles] = [[], [], []];
  for (const face of all) {
    const [a, b, c] = face;
    const u = b.map((value, i) => value - a[i]);
    const v = c.map((value, i) => value - a[i]);
    const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    const size = Math.hypot(...n) || 1;
    const start = points.length / 3;
    for (const corner of face) {
      points.push(...corner);
      normals.push(...n.map((value) => Math.round((127 * value) / size)));
    }
    for (let i = 1; i + 1 < face.length; i += 1) triangles.push(start, start + i, start + i + 1);
  }
  return {
    id, name: title, index: 'uint16', points: new Float32Array(points), normals: new Int8Array(normals), triangles: new Uint16Array(triangles),
    key: `${id} ${points.join(' ')}`,
  };
}

export function solid({ name, centre, turn, half, round }, i) {
  const place = (x, y, z) => [0, 1, 2].map((k) => centre[k] + turn[3 * k] * x + turn[3 * k + 1] * y + turn[3 * k + 2] * z);
  const id = `solid ${i}`;
  if (!round) {
    const corners = [0, 1, 2, 3, 4, 5, 6, 7].map((k) => place((k & 1 ? 1 : -1) * half[0], (k & 2 ? 1 : -1) * half[1], (k & 4 ? 1 : -1) * half[2]));
    return faces(id, name, BOX.map((face) => face.map((k) => corners[k]).reverse()));
  }
  const rim = (z) => Array.from({ length: AROUND }, (_, k) => place(half[0] * Math.cos((2 * Math.PI * k) / AROUND), half[0] * Math.sin((2 * Math.PI * k) / AROUND), z));
  const [low, high] = [rim(-half[2]), rim(half[2])];
  const sides = low.map((corner, k) => [corner, low[(k + 1) % AROUND], high[(k + 1) % AROUND], high[k]]);
  return faces(id, name, [...sides, high, low.slice().reverse()]);
}

// the floor that people keep out of; height is that of the floor
export function keepOut(area, height) {
  const at = (x, y) => [x, y, height];
  if (area.kind !== 'arc') {
    const [wide, back, front] = [area.radius, -Math.abs(area.behind), area.ahead];
    return faces('keep out', 'the floor that people keep out of', [[at(back, -wide), at(front, -wide), at(front, wide), at(back, wide)]]);
  }
  const [from, to] = [area.from, area.to].map((degrees) => (degrees * Math.PI) / 180);
  const count = Math.max(2, Math.ceil(Math.abs(to - from) / 0.1));
  const rim = Array.from({ length: count + 1 }, (_, k) => {
    const angle = from + ((to - from) * k) / count;
    return at(area.centre[0] + area.radius * Math.cos(angle), area.centre[1] + area.radius * Math.sin(angle));
  });
  return faces('keep out', 'the floor that people keep out of', rim.slice(1).map((corner, k) => [at(...area.centre), rim[k], corner]));
}

// a turn about an upright axis, as a matrix row by row
export function swung([x, y], degrees) {
  const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
  return [c, -s, 0, x - c * x + s * y, s, c, 0, y - s * x - c * y, 0, 0, 1, 0, 0, 0, 0, 1];
}
