// All that stands in a view: parts, what they must keep clear of, and what they were before a change.

import { Group, Matrix4, Raycaster, Scene, Vector2 } from 'three';

import { body, drop, facets, same, stroke, surface, tint } from './meshes.js';
import { Skin } from './skin.js';

const SHAPE = 0.34; // how much a shape hides of what lies behind it
const GHOST = 0.16;

export class Parts {
  constructor() {
    this.scene = new Scene();
    this.group = new Group();
    this.shapes = new Group();
    this.ghosts = new Group();
    this.scene.add(this.group, this.shapes, this.ghosts);
    this.edge = stroke();
    this.thin = stroke(0.55);
    this.veil = surface(SHAPE);
    this.alarm = surface(0.55);
    this.before = surface(GHOST);
    this.trace = stroke(0.8);
    this.skin = new Skin(facets(), this.edge);
    this.marked = new Map();
    this.near = new Set();
  }

  // parts: {id, name, tone, points, normals, triangles, index}; what is not named any more goes, what is alike stays
  set(parts) {
    fill(this.group, parts, surface, this.edge);
  }

  // a body that changes its shape: {name, points, triangles}; null for none
  setSkin(given) {
    if (!given) {
      this.skin.drop();
      return;
    }
    this.skin.set(given);
    this.scene.add(this.skin.mesh);
  }

  // shapes: as parts, but seen through; near: ids of those to be marked
  setShapes(shapes, near) {
    this.near = near;
    fill(this.shapes, shapes, () => this.veil, this.thin);
    this.shapes.children.forEach((mesh) => { mesh.matrixAutoUpdate = false; });
  }

  // places: from a shape's id to the 16 numbers of its matrix, row by row
  place(places) {
    for (const mesh of this.shapes.children) {
      if (!places[mesh.name]) continue;
      mesh.matrix.copy(new Matrix4().set(...places[mesh.name]));
      mesh.matrixWorldNeedsUpdate = true;
    }
  }

  // parts as they were before
  setGhosts(parts) {
    fill(this.ghosts, parts, () => this.before, this.trace);
  }

  // levels: a map from part id to the worst level found on it
  mark(levels) {
    this.marked = levels;
  }

  // colour: a function from a name to a colour as text
  paint(colour) {
    tint(this.edge, colour('edge'));
    tint(this.thin, colour('shape-edge'));
    tint(this.veil, colour('shape'));
    tint(this.alarm, colour('stop'));
    tint(this.before, colour('before'));
    tint(this.trace, colour('before'));
    tint(this.skin.material, colour('skin'));
    for (const mesh of this.group.children) {
      const level = this.marked.get(mesh.name);
      tint(mesh.material, colour(level === 'stop' ? 'stop' : `part-${mesh.userData.tone % 4}`));
    }
    for (const mesh of this.shapes.children) {
      mesh.material = this.near.has(mesh.name) ? this.alarm : this.veil;
    }
  }

  get bodies() {
    return this.skin.mesh ? [...this.group.children, this.skin.mesh] : this.group.children;
  }

  get points() {
    const found = [];
    for (const mesh of this.bodies) {
      for (const value of mesh.geometry.attributes.position.array) found.push(value);
    }
    return found;
  }

  // the nearest surface under (x, y), each from -1 to 1: {place, name, id} or nothing; of the parts, else of the shapes
  under(x, y, camera, withShapes = true) {
    const ray = new Raycaster();
    ray.setFromCamera(new Vector2(x, y), camera);
    const found = ray.intersectObjects(this.bodies, false);
    const [hit] = found.length || !withShapes ? found : ray.intersectObjects(this.shapes.children, false);
    return hit ? { place: hit.point, name: hit.object.userData.name, id: hit.object.name } : null;
  }

  dispose() {
    this.set([]);
    this.setShapes([], new Set());
    this.setGhosts([]);
    this.setSkin(null);
    [this.skin.material, this.edge, this.thin, this.veil, this.alarm, this.before, this.trace].forEach((material) => material.dispose());
  }
}

// makes a group hold what is given, in that order; a mesh whose buffers are the same stays
function fill(group, given, material, edge) {
  const old = new Map(group.children.map((mesh) => [mesh.name, mesh]));
  const now = given.map((one) => {
    const mesh = old.get(one.id);
    if (!mesh || !same(mesh, one)) return body(one, material(), edge);
    old.delete(one.id);
    Object.assign(mesh.userData, { name: one.name, tone: one.tone || 0 });
    return mesh;
  });
  for (const mesh of old.values()) {
    drop(mesh);
    if (mesh.material.uniforms.cover.value === 1) mesh.material.dispose(); // a part's is its own
  }
  group.children.slice().forEach((mesh) => mesh.removeFromParent());
  if (now.length) group.add(...now);
}
