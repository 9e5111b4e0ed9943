// The phone's own log. The only file that touches IndexedDB. Every write that a screen confirms is strict: on disk first.
import { openDB } from '../../vendor/idb.mjs';
import { addToRow, emptyRow, uuid7 } from './rows.js';

const NAME = 'railcase';
const VERSION = 1;
const STRICT = { durability: 'strict' };

function upgrade(db) {
  db.createObjectStore('entries', { keyPath: 'id' }).createIndex('case', 'case');
  db.createObjectStore('cases', { keyPath: 'id' });
  db.createObjectStore('outbox', { keyPath: 'id' });
  db.createObjectStore('photos', { keyPath: 'sha256' });
  db.createObjectStore('meta');
  db.createObjectStore('catalogue');
  db.createObjectStore('drafts');
}

let opening = null;
let listeners = { blocked() {}, replaced() {}, lost() {} };

/** @param {{blocked: () => void, replaced: () => void, lost: () => void}} told what to do about other tabs and evictions */
export function listen(told) {
  listeners = { ...listeners, ...told };
}

function open() {
  opening ??= openDB(NAME, VERSION, {
    upgrade,
    blocked: () => listeners.blocked(),
    blocking(_current, _wanted, event) {
      event.target.close();
      opening = null;
      listeners.replaced();
    },
    terminated() {
      opening = null;
      listeners.lost();
    },
  }).catch((error) => {
    opening = null;
    throw error;
  });
  return opening;
}

/** One more try with a fresh connection: a phone that slept may hand back a dead one. */
async function withDb(work) {
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
export const listCases = () => withDb((db) => db.getAll('cases'));
export const listOutbox = () => withDb((db) => db.getAll('outbox'));
export const listEntries = (caseId) => withDb((db) => db.getAllFromIndex('entries', 'case', caseId));
export const getEntry = (id) => withDb((db) => db.get('entries', id));
export const allEntries = () => withDb((db) => db.getAll('entries'));
export const getPhoto = (sha256) => withDb((db) => db.get('photos', sha256));
export const keepPhoto = (photo) => withDb((db) => db.put('photos', photo));
export const getCatalogueCopy = () => withDb((db) => db.get('catalogue', 'text'));
export const keepCatalogueCopy = (text) => withDb((db) => db.put('catalogue', text, 'text'));

export const putDraft = (key, value) => withDb((db) => (value === null ? db.delete('drafts', key) : db.put('drafts', value, key)));

export function allDrafts() {
  return withDb(async (db) => {
    const tx = db.transaction('drafts');
    const [keys, values] = await Promise.all([tx.store.getAllKeys(), tx.store.getAll()]);
    return new Map(keys.map((key, index) => [key, values[index]]));
  });
}

async function nextSeq(tx) {
  const seq = ((await tx.objectStore('meta').get('seq')) || 0) + 1;
  await tx.objectStore('meta').put(seq, 'seq');
  return seq;
}

async function addOne(tx, entry) {
  const row = (await tx.objectStore('cases').get(entry.case)) || emptyRow(entry.case);
  await tx.objectStore('entries').add(entry);
  await tx.objectStore('cases').put(addToRow(row, entry));
}

/**
 * Write new entries of this phone, all or none, together with the photo they speak of. Resolves when they are on disk.
 * @param {{case: string, kind: string, body: object}[]} drafts
 * @param {{device: string, by: string, nowMs: number}} maker
 */
export function record(drafts, maker, photo = null) {
  return withDb(async (db) => {
    const tx = db.transaction(['entries', 'cases', 'outbox', 'meta', 'photos'], 'readwrite', STRICT);
    const written = [];
    try {
      for (const draft of drafts) {
        const row = await tx.objectStore('cases').get(draft.case);
        const entry = { id: uuid7(maker.nowMs), case: draft.case, device: maker.device, seq: await nextSeq(tx),
          clock: (row ? row.clock : 0) + 1, at: new Date(maker.nowMs).toISOString(), by: maker.by, kind: draft.kind, body: draft.body };
        await addOne(tx, entry);
        await tx.objectStore('outbox').put({ id: entry.id, case: entry.case, seq: entry.seq, problems: null });
        written.push(entry);
      }
      if (photo) await tx.objectStore('photos').put(photo);
    } catch (error) {
      tx.done.catch(() => {});
      try { tx.abort(); } catch { /* already aborted by the failed write */ }
      throw error;
    }
    await tx.done;
    return written;
  });
}

/** Take in what the server answered, in one transaction: others' entries, the outbox and the cursor move together. */
export function applySync({ entries, drop, refuse, cursor }) {
  return withDb(async (db) => {
    const tx = db.transaction(['entries', 'cases', 'outbox', 'meta'], 'readwrite', STRICT);
    const touched = new Set();
    for (const entry of entries) {
      if (await tx.objectStore('entries').getKey(entry.id)) continue;
      await addOne(tx, entry);
      touched.add(entry.case);
    }
    for (const id of drop) await tx.objectStore('outbox').delete(id);
    for (const { id, problems } of refuse) {
      const row = await tx.objectStore('outbox').get(id);
      if (row) await tx.objectStore('outbox').put({ ...row, problems });
    }
    await tx.objectStore('meta').put(cursor, 'cursor');
    await tx.done;
    return [...touched];
  });
}

/** Put refused entries back in the queue, to be sent once more. */
export function retryRefused() {
  return withDb(async (db) => {
    const tx = db.transaction('outbox', 'readwrite', STRICT);
    for (const row of await tx.store.getAll()) if (row.problems !== null) await tx.store.put({ ...row, problems: null });
    await tx.done;
  });
}

/** This phone's identity, made once. */
export async function ensureInstall(nowMs) {
  const known = await getMeta('install');
  if (known) return known;
  const made = uuid7(nowMs);
  await withDb(async (db) => {
    const tx = db.transaction('meta', 'readwrite', STRICT);
    await tx.store.put(made, 'install');
    await tx.done;
  });
  return made;
}
