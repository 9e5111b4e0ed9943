// The phone's own log, written: entries are added once and never changed. Every write that a screen confirms is strict.
import { STRICT, withDb } from './db.js';
import { addToRow, emptyRow, uuid7 } from './rows.js';
import { isEntry, isRow } from './soundness.js';

const LOST = [{ code: 'lost_here', field: '', text: 'This entry was damaged in the storage of this phone and cannot be sent. Record it again.' }];

async function nextSeq(tx) {
  const seq = ((await tx.objectStore('meta').get('seq')) || 0) + 1;
  await tx.objectStore('meta').put(seq, 'seq');
  return seq;
}

/** The row of a case; made again from its entries when it is missing or damaged, since its clock orders what comes next. */
async function getRow(tx, caseId) {
  const row = await tx.objectStore('cases').get(caseId);
  if (isRow(row)) return row;
  const entries = await tx.objectStore('entries').index('case').getAll(caseId);
  return entries.filter(isEntry).reduce(addToRow, emptyRow(caseId));
}

async function addOne(tx, entry) {
  const row = addToRow(await getRow(tx, entry.case), entry);
  await tx.objectStore('entries').add(entry);
  await tx.objectStore('cases').put(row);
}

/** Run a write and wait until it is on disk; whatever fails takes the whole write back. */
async function inOne(db, stores, work) {
  const tx = db.transaction(stores, 'readwrite', STRICT);
  let result;
  try {
    result = await work(tx);
  } catch (error) {
    tx.done.catch(() => {});
    try { tx.abort(); } catch { /* already aborted by the failed write */ }
    throw error;
  }
  await tx.done;
  return result;
}

/**
 * Write new entries of this phone, all or none, together with the photo they speak of. Resolves when they are on disk.
 * @param {{case: string, kind: string, body: object}[]} drafts
 * @param {{device: string, by: string, nowMs: number}} maker
 */
export function record(drafts, maker, photo = null) {
  return withDb((db) => inOne(db, ['entries', 'cases', 'outbox', 'meta', 'photos'], async (tx) => {
    const written = [];
    for (const draft of drafts) {
      const { clock } = await getRow(tx, draft.case);
      const entry = { id: uuid7(maker.nowMs), case: draft.case, device: maker.device, seq: await nextSeq(tx),
        clock: clock + 1, at: new Date(maker.nowMs).toISOString(), by: maker.by, kind: draft.kind, body: draft.body };
      await addOne(tx, entry);
      await tx.objectStore('outbox').put({ id: entry.id, case: entry.case, seq: entry.seq, problems: null });
      written.push(entry);
    }
    if (photo) await tx.objectStore('photos').put(photo);
    return written;
  }));
}

async function markRefused(tx, refuse) {
  for (const { id, problems } of refuse) {
    const row = await tx.objectStore('outbox').get(id);
    if (row) await tx.objectStore('outbox').put({ ...row, problems });
  }
}

/** What is remembered of a sync, unless the phone was paired anew meanwhile: an old office's cursor is nothing to the new one. */
async function remember(tx, meta, used, renew) {
  const pairing = await tx.objectStore('meta').get('pairing');
  if (!pairing || pairing.token !== used) return;
  for (const [key, value] of Object.entries({ ...meta, pairing: { ...pairing, ...renew } })) await tx.objectStore('meta').put(value, key);
}

/** The office erased whom a job was for: all of it that the office has leaves this phone. */
async function dropCase(tx, caseId) {
  const unsent = await tx.objectStore('outbox').getAllKeys();
  for (const { id, body } of await tx.objectStore('entries').index('case').getAll(caseId)) {
    if (unsent.includes(id)) continue;
    await tx.objectStore('entries').delete(id);
    if (body.sha256) await tx.objectStore('photos').delete(body.sha256);
  }
  await tx.objectStore('cases').delete(caseId);
}

/** The server lost some of what it had: every entry of this phone waits anew, but for those that it has just taken. */
async function sendAgain(tx, device, taken) {
  const waiting = await tx.objectStore('outbox').getAllKeys();
  for (const entry of (await tx.objectStore('entries').getAll()).filter(isEntry)) {
    if (entry.device !== device || waiting.includes(entry.id) || taken.includes(entry.id)) continue;
    await tx.objectStore('outbox').put({ id: entry.id, case: entry.case, seq: entry.seq, problems: null });
  }
}

/**
 * Take in what the server answered, in one transaction: others' entries, the outbox, and what is remembered of the sync
 * (the cursor among it) move together. Kinds of entries that this app does not know are kept like all others.
 * @param {{entries: object[], drop: string[], refuse: object[], meta: object, used: string, renew: object}} answer used: the token
 *   it was asked with; renew: what changes in the pairing (whose phone this is, a new token); again: this phone's name, when all
 *   of its own entries are to be sent once more
 */
export function applySync({ entries, drop, refuse, meta, used, renew, again }) {
  return withDb((db) => inOne(db, ['entries', 'cases', 'outbox', 'meta', 'photos'], async (tx) => {
    const touched = new Set();
    const erased = new Set(entries.filter((e) => e.kind === 'personal_data_erased').map((e) => e.case));
    for (const entry of entries) {
      if (await tx.objectStore('entries').getKey(entry.id)) continue;
      await addOne(tx, entry);
      touched.add(entry.case);
    }
    for (const id of drop) await tx.objectStore('outbox').delete(id);
    for (const id of erased) await dropCase(tx, id);
    await markRefused(tx, refuse);
    if (again) await sendAgain(tx, again, drop);
    await remember(tx, meta, used, renew);
    return [...touched];
  }));
}

/** A new pairing, and with it the start of the feed: another office may answer now, what is known is skipped. All or nothing. */
export function adopt(pairing) {
  const meta = { pairing, cursor: 0, pair_again: null, asking: null };
  return withDb((db) => inOne(db, ['meta'], async (tx) => {
    for (const [key, value] of Object.entries(meta)) await tx.objectStore('meta').put(value, key);
  }));
}

/** Entries that wait but cannot be sent, with the reason: they stay, counted and named. */
export function refuseHere(ids, problems = LOST) {
  return withDb((db) => inOne(db, ['outbox'], (tx) => markRefused(tx, ids.map((id) => ({ id, problems })))));
}

/** Put refused entries back in the queue, to be sent once more. */
export function retryRefused() {
  return withDb((db) => inOne(db, ['outbox', 'meta'], async (tx) => {
    const rows = await tx.objectStore('outbox').getAll();
    for (const row of rows) if (row.problems !== null) await tx.objectStore('outbox').put({ ...row, problems: null });
    await tx.objectStore('meta').delete('photo_problems');
  }));
}

/**
 * The browser cleared the store while the app ran: put back what the app still holds in its memory.
 * @param {{meta: object, entries: object[], outbox: object[]}} memory
 */
export function refill(db, { meta, entries, outbox }) {
  return inOne(db, ['entries', 'cases', 'outbox', 'meta'], async (tx) => {
    const here = new Set(entries.map((entry) => entry.id));
    for (const entry of entries) if (!(await tx.objectStore('entries').getKey(entry.id))) await addOne(tx, entry);
    for (const row of outbox) if (here.has(row.id)) await tx.objectStore('outbox').put(row);
    for (const [key, value] of Object.entries(meta)) if (value !== undefined) await tx.objectStore('meta').put(value, key);
  });
}
