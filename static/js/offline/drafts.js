// What is typed but not saved. Kept in memory for the screens and in the log's database for the next start, so that a
// killed app loses at most the digit being typed. A draft that cannot be kept is no error: nothing was called saved.
import { allDrafts, putDraft } from './db.js';

let drafts = new Map();

/** Once, before the first screen asks. */
export async function loadDrafts() {
  drafts = await allDrafts();
}

export function readDraft(key) {
  return drafts.has(key) ? drafts.get(key) : null;
}

/** @param {any} value null = nothing typed any more */
export function keepDraft(key, value) {
  if (value === null) drafts.delete(key);
  else drafts.set(key, value);
  putDraft(key, value).catch(() => {});
}
