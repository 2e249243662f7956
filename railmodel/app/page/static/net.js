// Asking the server; what it refuses comes back as a Refused with its sentence and, where it knows, the place.

export class Refused extends Error {
  constructor(status, body) {
    super((body && body.error) || `the server answered ${status}`);
    this.status = status;
    this.body = body || {};
  }

  // what is said about a place (keys and indexes), else about anything
  about(at) {
    const problems = this.body.problems || [];
    const near = problems.find((one) => one.at && starts(one.at, at)) || problems.find((one) => one.at && starts(at, one.at));
    return (near || problems[0] || { says: this.message }).says;
  }
}

const starts = (long, short) => short.length <= long.length && short.every((step, i) => String(step) === String(long[i]));

const PACKED = 'application/octet-stream';

// a JSON header, and buffers that it tells the places of: {rev, meshes, state}
export function unpacked(data) {
  const size = new DataView(data).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, size)));
  const base = 4 + size;
  const meshes = header.meshes.map(({ key, points: [p, n], normals: [m], triangles: [t, count], index }) => {
    const Whole = index === 'uint32' ? Uint32Array : Uint16Array;
    return { key, index, points: new Float32Array(data, base + p, 3 * n), normals: new Int8Array(data, base + m, 3 * n), triangles: new Whole(data, base + t, 3 * count) };
  });
  return { ...header, meshes };
}

async function answer(reply) {
  if (reply.status === 204) return null;
  const kind = reply.headers.get('content-type') || '';
  if (reply.ok && kind === PACKED) return unpacked(await reply.arrayBuffer());
  const body = kind.startsWith('application/json') ? await reply.json() : null;
  if (!reply.ok) throw new Refused(reply.status, body);
  return body;
}

export const get = async (path) => answer(await fetch(path));

export const post = async (path, body = {}) => answer(await fetch(path, {
  method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body),
}));
