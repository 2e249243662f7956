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

async function answer(reply) {
  if (reply.status === 204) return null;
  const kind = reply.headers.get('content-type') || '';
  const body = kind.startsWith('application/json') ? await reply.json() : null;
  if (!reply.ok) throw new Refused(reply.status, body);
  return body;
}

export const get = async (path) => answer(await fetch(path));

export const post = async (path, body = {}) => answer(await fetch(path, {
  method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body),
}));

export async function buffer(path) {
  const reply = await fetch(path);
  if (!reply.ok) return answer(reply);
  return reply.arrayBuffer();
}
