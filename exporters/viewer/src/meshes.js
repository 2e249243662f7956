// Meshes in vehicle axes (mm), lit from the eye, and how they are painted.

import {
  BufferAttribute, BufferGeometry, Color, DoubleSide, EdgesGeometry, LineSegments, Mesh, ShaderMaterial, SRGBColorSpace,
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
    uniform float cover;
    varying vec3 look;
    void main() {
      vec3 n = normalize(look);
      float lit = 0.52 + 0.40 * max(dot(n, normalize(vec3(-0.4, 0.7, 0.6))), 0.0) + 0.20 * max(n.z, 0.0);
      gl_FragColor = vec4(min(tint * lit, 1.0), 1.0) * cover;
    }`,
};
const FACETS = { // as above, each triangle flat, where no normals are given
  vertexShader: `
    varying vec3 place;
    void main() {
      vec4 seen = modelViewMatrix * vec4(position, 1.0);
      place = seen.xyz;
      gl_Position = projectionMatrix * seen;
    }`,
  fragmentShader: `
    uniform vec3 tint;
    uniform float cover;
    varying vec3 place;
    void main() {
      vec3 n = normalize(cross(dFdx(place), dFdy(place)));
      float lit = 0.52 + 0.40 * max(dot(n, normalize(vec3(-0.4, 0.7, 0.6))), 0.0) + 0.20 * max(n.z, 0.0);
      gl_FragColor = vec4(min(tint * lit, 1.0), 1.0) * cover;
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
    uniform float cover;
    void main() {
      gl_FragColor = vec4(tint, 1.0) * cover;
    }`,
};

// cover: how much of what lies behind is hidden, 0 to 1
const painted = (shader, cover) => new ShaderMaterial({
  ...shader,
  uniforms: { tint: { value: new Color() }, cover: { value: cover } },
  ...(cover < 1 ? { transparent: true, premultipliedAlpha: true, depthWrite: false, side: DoubleSide, forceSinglePass: true } : {}),
});
export const surface = (cover = 1) => painted(SHADER, cover);
export const facets = () => painted(FACETS, 1);
export const stroke = (cover = 1) => painted(FLAT, cover);

export function tint(material, text) {
  const shown = {};
  new Color(text).getRGB(shown, SRGBColorSpace); // as written: the shader puts it on the screen unchanged
  material.uniforms.tint.value = [shown.r, shown.g, shown.b];
}

const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
const list = (given, Kind) => (typeof given === 'string' ? new Kind(bytes(given)) : given);

function geometry({ points, normals, triangles, index }) {
  const made = new BufferGeometry();
  made.setAttribute('position', new BufferAttribute(list(points, Float32Array), 3));
  made.setAttribute('normal', new BufferAttribute(list(normals, Int8Array), 3, true));
  made.setIndex(new BufferAttribute(list(triangles, index === 'uint32' ? Uint32Array : Uint16Array), 1));
  return made;
}

// one body with its edges drawn; given: {id, name, tone, points, normals, triangles, index}, buffers as base64 or arrays
export function body(given, material, edge) {
  const mesh = new Mesh(geometry(given), material);
  mesh.name = given.id;
  mesh.userData = { name: given.name, tone: given.tone || 0, given };
  mesh.add(new LineSegments(new EdgesGeometry(mesh.geometry, EDGE), edge));
  return mesh;
}

// whether what is given is what a mesh was made of
export const same = (mesh, given) => (given.key ? ['key'] : ['points', 'normals', 'triangles', 'index']).every(
  (key) => mesh.userData.given[key] === given[key],
);

export function drop(mesh) {
  mesh.removeFromParent();
  mesh.children.forEach((child) => child.geometry.dispose());
  mesh.geometry.dispose();
}
