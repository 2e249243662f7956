// A body that changes its shape from moment to moment: the same triangles over places that are given anew. mm.

import { BufferAttribute, BufferGeometry, LineSegments, Mesh } from 'three';

export class Skin {
  constructor(material, edge) {
    this.material = material;
    this.edge = edge;
    this.mesh = null;
    this.triangles = null;
  }

  // points: [x, y, z, x, ...]; triangles: indexes of points, an array that stays the same while the body is the same
  set({ name, points, triangles }) {
    if (this.triangles !== triangles) this.make(name, points.length, triangles);
    const position = this.mesh.geometry.attributes.position;
    position.array.set(points);
    position.needsUpdate = true;
    this.mesh.geometry.boundingSphere = null;
  }

  make(name, count, triangles) {
    this.drop();
    const position = new BufferAttribute(new Float32Array(count), 3);
    const skin = new BufferGeometry();
    skin.setAttribute('position', position);
    skin.setIndex(new BufferAttribute(new Uint32Array(triangles), 1));
    const rims = new BufferGeometry();
    rims.setAttribute('position', position);
    rims.setIndex(new BufferAttribute(new Uint32Array(alone(triangles)), 1));
    this.mesh = new Mesh(skin, this.material);
    this.mesh.name = name;
    this.mesh.userData = { name };
    this.mesh.add(new LineSegments(rims, this.edge));
    this.mesh.frustumCulled = false;
    this.mesh.children[0].frustumCulled = false;
    this.triangles = triangles;
  }

  drop() {
    if (!this.mesh) return;
    this.mesh.removeFromParent();
    this.mesh.children[0].geometry.dispose();
    this.mesh.geometry.dispose();
    this.mesh = null;
    this.triangles = null;
  }
}

// sides of triangles that no other triangle shares: where the surface has an edge
function alone(triangles) {
  const found = new Map();
  for (let i = 0; i < triangles.length; i += 3) {
    for (const [a, b] of [[0, 1], [1, 2], [2, 0]]) {
      const [from, to] = [triangles[i + a], triangles[i + b]];
      const key = from < to ? from * 1048576 + to : to * 1048576 + from;
      if (found.has(key)) found.set(key, null);
      else found.set(key, [from, to]);
    }
  }
  return [...found.values()].filter((side) => side).flat();
}
