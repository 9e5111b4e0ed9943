// Ask the browser to keep our storage, and notice when it did not.
const MARK = 'railcase.install';

/** @returns {Promise<boolean|null>} null = the browser cannot say */
export async function askPersistence() {
  if (!navigator.storage || !navigator.storage.persist) return null;
  try {
    return (await navigator.storage.persisted()) || (await navigator.storage.persist());
  } catch {
    return null;
  }
}

export async function readPersistence() {
  try {
    return navigator.storage && navigator.storage.persisted ? await navigator.storage.persisted() : null;
  } catch {
    return null;
  }
}

/** Compare the mark in the small storage with the log's own: a difference means the log was cleared behind our back. */
export function wasCleared(install) {
  try {
    const mark = localStorage.getItem(MARK);
    localStorage.setItem(MARK, install);
    return mark !== null && mark !== install;
  } catch {
    return false;
  }
}

/** Plain words for a failed write, with what to do. */
export function explainStorageError(error) {
  const name = error && error.name;
  if (name === 'QuotaExceededError') return 'This phone is full. Nothing saved before is lost, but this was NOT saved. Free some space, then try again.';
  if (name === 'InvalidStateError' || name === 'AbortError') return 'The browser closed the storage of this app. This was NOT saved. Try again; if it fails again, close and open the app.';
  if (name === 'SecurityError' || name === 'NotFoundError') return 'This browser does not let the app keep anything. Leave private browsing, then open the app again.';
  return `This was NOT saved: ${(error && error.message) || 'unknown storage error'}. Try again.`;
}
