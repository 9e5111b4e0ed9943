// Sends what waits and takes in what others wrote. Only one tab at a time (Web Lock), never longer than HOLD_MS, and a
// failed round is tried again by timer, on coming online, on coming back to the app, at start and after every save.
import * as log from './db.js';
import { planBatch, readResults, retryAfter, retryDelay } from './rows.js';
import { uploadPhotos } from './photos.js';

const HOLD_MS = 90000;
const ANSWER_MS = 30000;
const QUIET_S = 120;
const APP_VERSION = '0.1.0';

/** fetch with an end. Throws {kind: 'network'} when there was no answer at all. */
export async function ask(path, options, limitMs = ANSWER_MS) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), limitMs);
  try {
    return await fetch(path, { ...options, signal: stop.signal, credentials: 'omit', cache: 'no-store', redirect: 'error' });
  } catch {
    throw Object.assign(new Error('The server could not be reached.'), { kind: 'network' });
  } finally {
    clearTimeout(timer);
  }
}

export async function readProblem(response, fallback) {
  try {
    const body = await response.json();
    return body.error.map((problem) => problem.text).join(' ') || fallback;
  } catch {
    return fallback;
  }
}

async function post(token, body) {
  const response = await ask('/api/v1/sync', {
    method: 'POST', headers: { 'Content-Type': 'application/json', Authorization: `Bearer ${token}` }, body: JSON.stringify(body),
  });
  if (response.status === 401) throw Object.assign(new Error('This phone is no longer paired.'), { kind: 'unpaired' });
  if (!response.ok) {
    const text = await readProblem(response, `The server answered ${response.status}.`);
    throw Object.assign(new Error(text), { kind: 'server', status: response.status, wait: retryAfter(response.headers.get('Retry-After')) });
  }
  return response.json();
}

/** @returns {Promise<{touched: string[], more: boolean}>} one request and what it changed here */
async function oneRound(token, db) {
  const batch = planBatch(await db.listOutbox());
  const entries = (await Promise.all(batch.map((row) => db.getEntry(row.id)))).filter(Boolean);
  const cursor = (await db.getMeta('cursor')) || 0;
  const answer = await post(token, { format: 'railcase-sync/1', app: APP_VERSION, cursor, entries });
  const { drop, refuse } = readResults(answer.results);
  const touched = await db.applySync({ entries: answer.entries, drop, refuse, cursor: answer.cursor });
  await db.setMeta('people', { people: answer.people, workshop: answer.workshop });
  await uploadPhotos(token, answer.photos_wanted || []);
  const moved = drop.length + refuse.length > 0;
  return { touched, more: answer.more || (batch.length === 200 && moved), people: answer.people, workshop: answer.workshop };
}

async function drain(token, db, report) {
  for (let more = true; more;) {
    const round = await oneRound(token, db);
    more = round.more;
    report(round);
  }
}

function withLock(work) {
  if (!navigator.locks) return work();
  return navigator.locks.request('railcase-sync', { ifAvailable: true }, async (lock) => {
    if (!lock) return 'busy';
    // A tab that is frozen or stuck must not keep the others from sending.
    return Promise.race([work(), new Promise((done) => { setTimeout(() => done('busy'), HOLD_MS); })]);
  });
}

/**
 * @param {{token: () => string|null, send: (event: object) => void, changed: (cases: string[]) => Promise<void>}} app
 * @param {typeof log} db the phone's log; another one in tests
 * @returns {{now: () => Promise<void>, start: () => void}}
 */
export function createSync(app, db = log) {
  let failures = 0;
  let timer = 0;
  let running = null;
  let again = false;

  function later(seconds) {
    clearTimeout(timer);
    timer = setTimeout(now, seconds * 1000);
  }

  async function round(token) {
    app.send({ type: 'sync_changed', sync: { status: 'running', text: '' } });
    const result = await withLock(() => drain(token, db, (done) => {
      app.changed(done.touched);
      app.send({ type: 'people_known', people: done.people || [], workshop: done.workshop });
    }));
    failures = 0;
    const status = result === 'busy' ? { status: 'idle', text: '' } : { status: 'done', text: '', at: new Date().toISOString() };
    app.send({ type: 'sync_changed', sync: status });
    later(result === 'busy' ? 10 : QUIET_S);
  }

  function failed(error) {
    failures += 1;
    if (error.kind === 'unpaired') app.send({ type: 'pairing_lost' });
    const status = error.kind === 'network' ? 'offline' : 'failed';
    app.send({ type: 'sync_changed', sync: { status, text: error.message } });
    if (error.kind !== 'unpaired') later(error.wait ?? retryDelay(failures));
  }

  async function attempt() {
    const token = app.token();
    if (!token) return;
    try {
      await round(token);
    } catch (error) {
      failed(error);
    }
    await app.changed([]);
  }

  /** Asked while a round runs, another one follows it: a reading saved meanwhile is not left behind. */
  function now() {
    if (running) {
      again = true;
      return running;
    }
    running = attempt().finally(() => {
      running = null;
      if (!again) return undefined;
      again = false;
      return failures === 0 ? now() : undefined;
    });
    return running;
  }

  function start() {
    addEventListener('online', now);
    document.addEventListener('visibilitychange', () => { if (document.visibilityState === 'visible') now(); });
    now();
  }

  return { now, start };
}
