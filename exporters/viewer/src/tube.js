// A tube on the bender at one moment: its outline set up along a centreline that is given. Bender axes, mm.

import { BufferAttribute, BufferGeometry, EdgesGeometry, LineSegments, Mesh, Vector3 } from 'three';

const FLAT_EDGE = 40;

// outline: [[across, up], ...] counter-clockwise seen against the way of the tube; points and tops: [[x, y, z], ...]
export function tubeMesh({ outline, points, tops }, material, edge) {
  const around = outline.length;
  const rings = rungs(points, tops);
  const spots = rings.map(({ at, up, side }) => outline.map(([s, u]) => at.clone().addScaledVector(side, s).addScaledVector(up, u)));
  const position = [];
  const normal = [];
  const quad = (a, b, c, d) => {
    const across = new Vector3().subVectors(b, a).cross(new Vector3().subVectors(d, a)).normalize();
    for (const corner of [a, b, c, a, c, d]) {
      position.push(corner.x, corner.y, corner.z);
      normal.push(across.x, across.y, across.z);
    }
  };
  for (let i = 0; i + 1 < spots.length; i += 1) {
    for (let k = 0; k < around; k += 1) {
      const next = (k + 1) % around;
      quad(spots[i][k], spots[i][next], spots[i + 1][next], spots[i + 1][k]);
    }
  }
  for (const [ring, turned] of [[spots[0], true], [spots[spots.length - 1], false]]) {
    for (let k = 1; k + 1 < around; k += 1) {
      const [a, b, c] = turned ? [ring[0], ring[k + 1], ring[k]] : [ring[0], ring[k], ring[k + 1]];
      quad(a, b, c, c);
    }
  }
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(new Float32Array(position), 3));
  geometry.setAttribute('normal', new BufferAttribute(new Float32Array(normal), 3));
  const mesh = new Mesh(geometry, material);
  mesh.name = 'tube';
  mesh.userData = { name: 'tube', tone: 0 };
  mesh.add(new LineSegments(new EdgesGeometry(geometry, FLAT_EDGE), edge));
  return mesh;
}

// places along the line, doubled ones left out, with the way the top looks and the way to the right
function rungs(points, tops) {
  const kept = [];
  points.forEach((point, i) => {
    const at = new Vector3(...point);
    if (!kept.length || kept[kept.length - 1].at.distanceTo(at) > 1e-3) kept.push({ at, up: new Vector3(...tops[i]) });
  });
  return kept.map(({ at, up }, i) => {
    const ahead = kept[Math.min(i + 1, kept.length - 1)].at;
    const behind = kept[Math.max(i - 1, 0)].at;
    const way = new Vector3().subVectors(ahead, behind).normalize();
    const side = new Vector3().crossVectors(way, up).normalize();
    return { at, up: new Vector3().crossVectors(side, way).normalize(), side };
  });
}
