// Sends what waits and takes in what others wrote. Only one tab at a time (turn.js). A failed round is tried again by
// timer, on coming online, on coming back to the app, at start and after every save; photos follow by themselves.
//   whole batch not taken (our own refusal, or the server broke over it): if it takes an empty one, the fault is in the
//   batch, and halving it finds the entry; that one is set apart with the reason and the rest goes on
import * as database from './db.js';
import { applySync, refuseHere } from './log.js';
import { fitMessage, planBatch, readResults, retryDelay } from './rows.js';
import { postJson } from './ask.js';
import { createPhotoSender } from './photos.js';
import { BUSY, createTurn } from './turn.js';
import { askBackground } from './background.js';

const QUIET_S = 120;
const BUSY_S = 10;
const OVER_THE_BATCH = [400, 413, 422, 500];
const APP_VERSION = '0.1.0';
const log = { ...database, applySync, refuseHere };

/** What waits, with its entries; a row whose entry is gone or damaged is set apart by name. */
async function readWaiting(db, limit) {
  const rows = planBatch(await db.listOutbox(), limit);
  const entries = await Promise.all(rows.map((row) => db.getEntry(row.id)));
  const lost = rows.filter((_, index) => !entries[index]).map((row) => row.id);
  if (lost.length) await db.refuseHere(lost);
  return fitMessage(entries.filter(Boolean));
}

/**
 * What the server has of this phone, against what the phone knows. More than it ever counted: its storage was cleared or put
 * back from a copy. Less than it was told is stored: the server was, and all own entries are to be sent again. What was told
 * is kept by workshop: another office's count means nothing to this one.
 */
async function compareLogs(db, { device, workshop }, stored) {
  if (!device) return { lost: null };
  const [seq = 0, told = {}, again] = await Promise.all(['seq', 'told', 'send_again'].map((key) => db.getMeta(key)));
  const count = { told: { ...told, [workshop.id]: device.held + stored }, send_again: false };
  if (again || device.held < told[workshop.id]) return { count, lost: { cursor: 0, cleared: { server: true } }, again: device.id };
  return { count, lost: device.last_seq > seq ? { seq: device.last_seq, cursor: 0, recover: true, cleared: { back: 0 } } : null };
}

async function readToken(db) {
  const pairing = await db.getMeta('pairing');
  return pairing ? pairing.token : null;
}

/** @returns {Promise<{touched: string[], sent: number, more: boolean, answer: any, lost: any, again?: string}>} one message and what it changed here */
async function oneRound(db, entries) {
  const used = await readToken(db);
  const [cursor, own] = [(await db.getMeta('cursor')) || 0, Boolean(await db.getMeta('recover'))];
  const { mark: limits = '' } = (await db.getMeta('limits')) || {};
  const answer = await postJson('/api/v1/sync', used, { format: 'railcase-sync/1', app: APP_VERSION, cursor, entries,
    sent_at: new Date().toISOString(), limits, ...(own ? { own } : {}) });
  const { drop, refuse, stored } = readResults(answer.results);
  const { count, lost, again } = await compareLogs(db, answer, stored);
  const meta = { cursor: answer.cursor, recover: own && answer.more, people: { people: answer.people, workshop: answer.workshop },
    clock_warning: answer.clock_warning || null, photos_wanted: answer.photos_wanted || [], pair_again: null,
    ...(answer.limits ? { limits: answer.limits } : {}), ...count, ...lost };
  const renew = { ...(answer.person ? { person: answer.person } : {}), ...(answer.token ? { token: answer.token } : {}) };
  const touched = await db.applySync({ entries: answer.entries, drop, refuse, meta, used, renew, again });
  return { touched, sent: drop.length + refuse.length, more: answer.more || lost !== null, answer, lost, again };
}

async function drain(db, turn, report) {
  let limit;
  let waiting = await readWaiting(db, limit);
  for (let more = true; more;) {
    await turn.beat();
    try {
      const round = await oneRound(db, waiting);
      report(round);
      const moved = (waiting.length > 0 && round.sent > 0) || Boolean(round.again);
      waiting = moved ? await readWaiting(db, limit) : [];
      more = round.more || (moved && waiting.length > 0);
    } catch (error) {
      if (!OVER_THE_BATCH.includes(error.status) || waiting.length === 0) throw error;
      report(await oneRound(db, [])); // throws as well when the trouble is not in the batch
      if (waiting.length === 1) await db.refuseHere([waiting[0].id], [{ code: error.code || 'refused', field: '', text: error.message }]);
      limit = Math.max(1, Math.floor(waiting.length / 2));
      waiting = await readWaiting(db, limit);
    }
  }
}

/**
 * @param {{send: (event: object) => void, changed: (cases: string[]) => Promise<void>,
 *   renewed: () => void, limited: () => void}} app renewed: the pairing in the log has a new token; limited: the log has
 *   other limits of the workshop
 * @param {typeof log} db the phone's log; another one in tests
 * @param {() => number} clock milliseconds that only ever grow: no wall clock decides when something is sent
 * @returns {{now: () => Promise<void>, start: () => void}}
 */
export function createSync(app, db = log, clock = () => performance.now()) {
  const turn = createTurn('railcase-sync', db, clock);
  const photos = createPhotoSender({ token: () => readToken(db), send: app.send, shut }, db);
  let failures = 0;
  let timer = 0;
  let pausedUntil = 0;
  let running = null;
  let again = false;

  const tell = (sync) => app.send({ type: 'sync_changed', sync });

  function later(seconds) {
    clearTimeout(timer);
    timer = setTimeout(now, seconds * 1000);
  }

  function took({ touched, answer, lost }) {
    app.changed(touched);
    app.send({ type: 'people_known', people: answer.people || [], workshop: answer.workshop, person: answer.person });
    if (answer.token) app.renewed();
    if (answer.limits) app.limited();
    app.send({ type: 'clock_warned', warning: answer.clock_warning || null });
    if (lost) app.send({ type: 'cleared', cleared: lost.cleared });
    photos.look(answer.photos_wanted || []);
  }

  async function round() {
    tell({ status: 'running', text: '' });
    const given = await turn.take(() => drain(db, turn, took));
    failures = 0;
    tell(given === BUSY ? { status: 'elsewhere', text: '' } : { status: 'done', text: '', at: new Date().toISOString() });
    later(given === BUSY ? BUSY_S : QUIET_S);
    if (given !== BUSY) app.send({ type: 'pairing_works' });
  }

  function shut(error) {
    readToken(db).then((token) => db.setMeta('pair_again', { token, code: error.code })).catch(() => {}); // said at the next start too
    app.send({ type: 'pairing_lost', code: error.code });
  }

  function failed(error) {
    failures += 1;
    const status = { network: 'offline', unpaired: 'shut' }[error.kind] || 'failed';
    tell({ status, text: error.message });
    if (status === 'shut') {
      shut(error);
      return;
    }
    if (error.kind === 'network') askBackground();
    pausedUntil = error.wait ? clock() + error.wait * 1000 : 0;
    later(error.wait ?? retryDelay(failures));
  }

  async function attempt() {
    if (clock() < pausedUntil) return;
    try {
      if (!(await readToken(db))) return;
      await round();
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
    addEventListener('pageshow', now);
    document.addEventListener('visibilitychange', () => { if (document.visibilityState === 'visible') now(); });
    now();
  }

  return { now, start };
}
