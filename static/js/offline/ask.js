// One question to the server, with an end: the answer's body is read within the same limit, so that a link which dies
// half-way through an answer never leaves anything waiting for good.
const ANSWER_MS = 30000;
const SMALLEST_TO_PACK = 1000;
let packs = 'CompressionStream' in globalThis;

/** @returns {Promise<Response>} a whole answer. Throws {kind: 'network'} when there was none. */
export async function ask(path, options, limitMs = ANSWER_MS) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), limitMs);
  try {
    const response = await fetch(path, { ...options, signal: stop.signal, credentials: 'omit', cache: 'no-store', redirect: 'error' });
    const { status, headers } = response;
    return new Response(await response.arrayBuffer(), { status, headers });
  } catch {
    throw Object.assign(new Error('The server could not be reached.'), { kind: 'network' });
  } finally {
    clearTimeout(timer);
  }
}

/** The problems a refusal names; none when the answer is not one of ours (a portal's page, a proxy's error). */
async function readProblems(response) {
  try {
    return (await response.json()).error.map(({ code, text }) => ({ code, text }));
  } catch {
    return [];
  }
}

export async function readProblem(response, fallback) {
  return (await readProblems(response)).map((problem) => problem.text).join(' ') || fallback;
}

/** What a refusal means for whoever asked. kind: 'unpaired', or 'server' with the status and the pause it asks for. */
export async function refusal(response) {
  const problems = await readProblems(response);
  const text = problems.map((problem) => problem.text).join(' ') || `The server answered ${response.status}.`;
  const code = problems.length ? problems[0].code : '';
  const kind = response.status === 401 && code ? 'unpaired' : 'server';
  return Object.assign(new Error(text), { kind, code, status: response.status, wait: retryAfter(response.headers.get('Retry-After')) });
}

/** Seconds the server asks to wait, or null. */
export function retryAfter(header) {
  const seconds = Number(header);
  return header && Number.isFinite(seconds) && seconds >= 0 ? Math.min(seconds, 3600) : null;
}

async function pack(text) {
  const stream = new Blob([text]).stream().pipeThrough(new CompressionStream('gzip'));
  return new Response(stream).arrayBuffer();
}

/** POST JSON, packed where the browser can and the server has not said no. @returns {Promise<any>} the answer's JSON */
export async function postJson(path, token, value) {
  const text = JSON.stringify(value);
  const packed = packs && text.length >= SMALLEST_TO_PACK;
  const headers = { 'Content-Type': 'application/json', Authorization: `Bearer ${token}`, ...(packed ? { 'Content-Encoding': 'gzip' } : {}) };
  const response = await ask(path, { method: 'POST', headers, body: packed ? await pack(text) : text });
  if (response.ok) return readAnswer(response);
  if (packed && response.status === 415) {
    packs = false; // an older server, or something between that does not pass packed bodies on
    return postJson(path, token, value);
  }
  throw await refusal(response);
}

/** A page where JSON should be is a portal's sign-in, not our server. */
async function readAnswer(response) {
  try {
    return await response.json();
  } catch {
    throw Object.assign(new Error('Something between this phone and the server answered in its place. Sign in to that network, or use another one.'), { kind: 'network' });
  }
}
