// Parts as meshes in vehicle axes (mm), lit from the eye.

import {
  BufferAttribute, BufferGeometry, Color, EdgesGeometry, Group, LineSegments, Mesh, Raycaster, Scene, ShaderMaterial,
  SRGBColorSpace, Vector2,
} from 'three';

const EDGE = 40; // degrees; a rounded corner turns less at every facet

// One lamp over the eye's left shoulder; a plain shader starts sooner than a lit material of the library.
const SHADER = {
  vertexShader: `
    varying vec3 look;
    void main() {
      look = normalMatrix * normal;
      gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
    }`,
  fragmentShader: `
    uniform vec3 tint;
    varying vec3 look;
    void main() {
      vec3 n = normalize(look);
      float lit = 0.52 + 0.40 * max(dot(n, normalize(vec3(-0.4, 0.7, 0.6))), 0.0) + 0.20 * max(n.z, 0.0);
      gl_FragColor = vec4(min(tint * lit, 1.0), 1.0);
    }`,
};
const FLAT = {
  vertexShader: `
    void main() {
      gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
      gl_Position.z -= 0.0002 * gl_Position.w;
    }`,
  fragmentShader: `
    uniform vec3 tint;
    void main() {
      gl_FragColor = vec4(tint, 1.0);
    }`,
};

const painted = (shader) => new ShaderMaterial({ ...shader, uniforms: { tint: { value: new Color() } } });
const tint = (material, text) => {
  const shown = {};
  new Color(text).getRGB(shown, SRGBColorSpace); // as written: the shader puts it on the screen unchanged
  material.uniforms.tint.value = [shown.r, shown.g, shown.b];
};
const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;

function geometry({ points, normals, triangles, index }) {
  const made = new BufferGeometry();
  made.setAttribute('position', new BufferAttribute(new Float32Array(bytes(points)), 3));
  made.setAttribute('normal', new BufferAttribute(new Int8Array(bytes(normals)), 3, true));
  const Whole = index === 'uint32' ? Uint32Array : Uint16Array;
  made.setIndex(new BufferAttribute(new Whole(bytes(triangles)), 1));
  return made;
}

export class Parts {
  constructor() {
    this.scene = new Scene();
    this.group = new Group();
    this.scene.add(this.group);
    this.edge = painted(FLAT);
    this.marked = new Map();
  }

  // parts: {id, name, tone, points, normals, triangles, index}; what is not named any more goes
  set(parts) {
    this.group.children.slice().forEach((mesh) => {
      this.group.remove(mesh);
      mesh.children.forEach((child) => child.geometry.dispose());
      mesh.geometry.dispose();
      mesh.material.dispose();
    });
    for (const part of parts) {
      const mesh = new Mesh(geometry(part), painted(SHADER));
      mesh.name = part.id;
      mesh.userData = { name: part.name, tone: part.tone || 0 };
      mesh.add(new LineSegments(new EdgesGeometry(mesh.geometry, EDGE), this.edge));
      this.group.add(mesh);
    }
  }

  // levels: a map from part id to the worst level found on it
  mark(levels) {
    this.marked = levels;
  }

  // colour: a function from a name to a colour as text
  paint(colour) {
    tint(this.edge, colour('edge'));
    for (const mesh of this.group.children) {
      const level = this.marked.get(mesh.name);
      tint(mesh.material, colour(level === 'stop' ? 'stop' : `part-${mesh.userData.tone % 4}`));
    }
  }

  get points() {
    return this.group.children.flatMap((mesh) => Array.from(mesh.geometry.attributes.position.array));
  }

  // the nearest surface under (x, y), each from -1 to 1: {place, name} or nothing
  under(x, y, camera) {
    const ray = new Raycaster();
    ray.setFromCamera(new Vector2(x, y), camera);
    const [hit] = ray.intersectObjects(this.group.children, false);
    return hit ? { place: hit.point, name: hit.object.userData.name } : null;
  }

  dispose() {
    this.set([]);
    this.edge.dispose();
  }
}
