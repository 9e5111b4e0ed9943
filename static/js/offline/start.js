// What the app finds in its storage when it starts, and what it puts back when the storage is cleared under its feet.
// Only what nothing works without may fail here; a damaged setting or draft is left out.
import * as db from './db.js';
import { refill } from './log.js';
import { loadDrafts } from './drafts.js';
import { readMark, writeMark } from './persist.js';
import { sortRows } from './rows.js';

const orNull = (promise) => promise.catch(() => null);
const objectOr = (value, other) => (typeof value === 'object' && value !== null ? value : other);

/** This phone's pairing, or null. */
export async function readPairing() {
  const pairing = objectOr(await db.getMeta('pairing'), null);
  return pairing && typeof pairing.token === 'string' && pairing.person ? pairing : null;
}

/** A log that was not there although this phone had one: its old identity is taken up again, so that the office knows it. */
async function readInstall() {
  const [known, mark] = [await db.getMeta('install'), readMark()];
  const install = await db.ensureInstall(Date.now(), mark);
  writeMark(install);
  if (!known && mark) await db.setMeta('cleared', { back: 0 });
  return install;
}

async function readMeta(...keys) {
  return Promise.all(keys.map((key) => orNull(db.getMeta(key))));
}

/** @param {object} settings the defaults @returns {Promise<{found: object, pairing: object|null}>} for the state, and the pairing with its token */
export async function readStart(settings) {
  const install = await readInstall();
  const [cases, outbox, pairing] = await Promise.all([db.listCases(), db.listOutbox(), readPairing(), orNull(loadDrafts())]);
  const aside = await orNull(db.listAside()); // after the lists: reading them sets damaged records aside
  const [kept, known, cleared, clockWarning, wanted, problems, shut] = await readMeta(
    'settings', 'people', 'cleared', 'clock_warning', 'photos_wanted', 'photo_problems', 'pair_again');
  const photos = { waiting: (wanted || []).filter((sha256) => !(problems || {})[sha256]).length, problems: problems || {}, status: 'idle', text: '' };
  const found = { install, cases: sortRows(cases), outbox, aside: aside || [], settings: { ...settings, ...objectOr(kept, {}) },
    paired: Boolean(pairing), pairAgain: pairing && shut && shut.token === pairing.token ? shut.code : false, cleared, clockWarning, photos };
  if (pairing) Object.assign(found, { person: pairing.person, workshop: pairing.workshop });
  if (known) found.people = known.people || [];
  return { found, pairing };
}

/** The greatest running number that is remembered; the office tells a greater one with the next contact. */
function lastSeq(state, entries) {
  const own = entries.filter((entry) => entry.device === state.install);
  return Math.max(0, ...state.outbox.map((row) => row.seq), ...own.map((entry) => entry.seq));
}

/**
 * @param {boolean} app the app's own files are gone as well
 * @returns {Promise<{back: number, app: boolean}>} how many entries are saved again, to be told to the person
 */
export async function putBack(fresh, state, pairing, app) {
  const entries = state.open ? state.open.entries : [];
  const cleared = { back: entries.length, app };
  const meta = { install: state.install, settings: state.settings, seq: lastSeq(state, entries), cursor: 0, recover: true, cleared,
    ...(pairing ? { pairing } : {}) };
  await refill(fresh, { meta, entries, outbox: state.outbox });
  return cleared;
}
