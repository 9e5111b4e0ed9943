// Ask the browser to keep our storage, and remember whose it was in case it does not.
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

/** The identity that the small storage remembers. It often outlives the log when a browser clears one of them. */
export function readMark() {
  try {
    return localStorage.getItem(MARK);
  } catch {
    return null;
  }
}

export function writeMark(install) {
  try {
    localStorage.setItem(MARK, install);
  } catch { /* no small storage here: a cleared log is then noticed by the server alone */ }
}

/** @returns {Promise<{used: number, quota: number}|null>} bytes, as far as the browser tells */
export async function readSpace() {
  try {
    const { usage, quota } = await navigator.storage.estimate();
    return { used: usage, quota };
  } catch {
    return null;
  }
}

/** Plain words for a failed write, with what to do. */
export function explainStorageError(error) {
  const name = error && error.name;
  if (name === 'QuotaExceededError') return 'This phone is full. Nothing saved before is lost, but this was NOT saved. Put it in a file, free some space (Settings, Storage), then save again.';
  if (name === 'InvalidStateError' || name === 'AbortError') return 'The browser closed the storage of this app. This was NOT saved. Try again; if it fails again, close and open the app.';
  if (name === 'VersionError') return 'A newer version of this app is open in another tab. This was NOT saved. Put it in a file, or open the app again here.';
  if (name === 'SecurityError' || name === 'NotFoundError') return 'This browser does not let the app keep anything. Leave private browsing, then open the app again.';
  return `This was NOT saved: ${(error && error.message) || 'unknown storage error'}. Try again.`;
}

/** Why the app cannot start: the browser's own words with what helps. */
export function explainStart(error) {
  const said = (error && error.message) || 'the storage of this browser cannot be used';
  if (error && error.name === 'VersionError') return 'a newer version of this app has been here before, and this one cannot read what it stored. Connect to the office’s server and open the app again';
  return said.replace(/\.$/, '');
}
