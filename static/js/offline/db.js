// The phone's store. The only file that opens IndexedDB; log.js writes the log through it. What is read comes back whole:
// a damaged record is set aside under its name and can be exported, and never takes the rest with it.
import { openDB } from '../../vendor/idb.mjs';
import { isEntry, isOutboxRow, isRow, part } from './soundness.js';
import { addToRow, emptyRow, uuid7 } from './rows.js';

const NAME = 'railcase';
const VERSION = 2;
export const STRICT = { durability: 'strict' }; // on disk before a screen confirms it

function upgrade(db, before) {
  if (before < 1) {
    db.createObjectStore('entries', { keyPath: 'id' }).createIndex('case', 'case');
    for (const name of ['cases', 'outbox']) db.createObjectStore(name, { keyPath: 'id' });
    db.createObjectStore('photos', { keyPath: 'sha256' });
    for (const name of ['meta', 'catalogue', 'drafts']) db.createObjectStore(name);
  }
  if (before < 2) db.createObjectStore('aside'); // damaged records, under "store:key"
}

let opening = null;
let install = null; // whose store this is, once known: another one in its place means that the browser cleared ours
let listeners = { blocked() {}, replaced() {}, refill: null };

/**
 * @param {{blocked: () => void, replaced: () => void, refill: (db: any, install: string) => Promise<void>}} told
 *   refill: the store was cleared while the app ran; put back what the app still has in its memory
 */
export function listen(told) {
  listeners = { ...listeners, ...told };
}

async function connect() {
  const db = await openDB(NAME, VERSION, {
    upgrade,
    blocked: () => listeners.blocked(),
    blocking(_current, _wanted, event) {
      event.target.close();
      opening = null;
      listeners.replaced();
    },
    terminated() { opening = null; },
  });
  if (install && (await db.get('meta', 'install')) !== install && listeners.refill) await listeners.refill(db, install);
  return db;
}

function open() {
  opening ??= connect().catch((error) => {
    opening = null;
    throw error;
  });
  return opening;
}

/** One more try with a fresh connection: a phone that slept may hand back a dead one. */
export async function withDb(work) {
  try {
    return await work(await open());
  } catch (error) {
    if (!error || error.name !== 'InvalidStateError') throw error;
    opening = null;
    return work(await open());
  }
}

export const getMeta = (key) => withDb((db) => db.get('meta', key));
export const setMeta = (key, value) => withDb((db) => db.put('meta', value, key));
export const getPhoto = (sha256) => withDb((db) => db.get('photos', sha256));
export const keepPhoto = (photo) => withDb((db) => db.put('photos', photo));
export const getCatalogueCopy = () => withDb((db) => db.get('catalogue', 'text'));
export const keepCatalogueCopy = (text) => withDb((db) => db.put('catalogue', text, 'text'));
export const putDraft = (key, value) => withDb((db) => (value === null ? db.delete('drafts', key) : db.put('drafts', value, key)));

/** Records one by one, where reading them all at once failed: one that the browser cannot read must not hide the others. */
async function readOneByOne(db, store, keys) {
  const records = [];
  for (const key of keys) {
    try {
      records.push(await db.get(store, key));
    } catch (error) {
      await db.put('aside', { store, key, record: null, why: error.message, at: new Date().toISOString() }, `${store}:${key}`);
    }
  }
  return records;
}

async function setAside(db, store, bad) {
  const tx = db.transaction([store, 'aside'], 'readwrite', STRICT);
  for (const record of bad) {
    const at = new Date().toISOString();
    await tx.objectStore('aside').put({ store, key: record.id, record, why: 'It is not whole.', at }, `${store}:${record.id}`);
    await tx.objectStore(store).delete(record.id);
  }
  await tx.done;
}

/** @returns {Promise<{sound: any[], bad: any[]}>} bad ones have been set aside */
async function readWhole(db, store, isSound, caseId = null) {
  const from = () => (caseId === null ? db.transaction(store).store : db.transaction(store).store.index('case'));
  const records = await from().getAll(caseId).catch(async () => readOneByOne(db, store, await from().getAllKeys(caseId)));
  const found = part(records, isSound);
  if (found.bad.length) await setAside(db, store, found.bad);
  return found;
}

export const listEntries = (caseId) => withDb(async (db) => (await readWhole(db, 'entries', isEntry, caseId)).sound);
export const allEntries = () => withDb(async (db) => (await readWhole(db, 'entries', isEntry)).sound);
export const listOutbox = () => withDb(async (db) => (await readWhole(db, 'outbox', isOutboxRow)).sound);
export const listAside = () => withDb((db) => db.getAll('aside'));

/** An entry, or undefined when it is not there or not whole. */
export const getEntry = (id) => withDb(async (db) => {
  const entry = await db.get('entries', id).catch(() => undefined);
  return isEntry(entry) ? entry : undefined;
});

/** Rows of the list of cases. A row only repeats what the entries say, so a damaged one is made again from them. */
export function listCases() {
  return withDb(async (db) => {
    const { sound, bad } = await readWhole(db, 'cases', isRow);
    for (const { id } of bad) {
      const row = (await readWhole(db, 'entries', isEntry, id)).sound.reduce(addToRow, emptyRow(id));
      if (row.entries === 0) continue;
      await db.put('cases', row);
      sound.push(row);
    }
    return sound;
  });
}

export function allDrafts() {
  return withDb(async (db) => {
    const tx = db.transaction('drafts');
    const [keys, values] = await Promise.all([tx.store.getAllKeys(), tx.store.getAll()]);
    return new Map(keys.map((key, index) => [key, values[index]]));
  });
}

/** Photos the office has, kept here only for a quick look. @returns {Promise<{sha256: string, size: number}[]>} */
export const listSentPhotos = () => withDb(async (db) => {
  const wanted = (await db.get('meta', 'photos_wanted')) || []; // one that was sent may be wanted anew
  return (await db.getAll('photos')).filter(({ sent, sha256 }) => sent && !wanted.includes(sha256))
    .map(({ sha256, size }) => ({ sha256, size: size || 0 }));
});

export const forgetPhotos = (sums) => withDb(async (db) => {
  const tx = db.transaction('photos', 'readwrite', STRICT);
  for (const sha256 of sums) await tx.store.delete(sha256);
  await tx.done;
});

/** This phone's identity, made once; `marked` is what a small mark outside this store remembers of an earlier one. */
export async function ensureInstall(nowMs, marked = null) {
  const known = await getMeta('install');
  install = known || marked || uuid7(nowMs);
  if (known) return known;
  await withDb(async (db) => {
    const tx = db.transaction('meta', 'readwrite', STRICT);
    await tx.store.put(install, 'install');
    await tx.done;
  });
  return install;
}
