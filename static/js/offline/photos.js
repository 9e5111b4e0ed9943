// Photos go by their SHA-256: the same picture twice is one picture. They are sent after the entries that speak of them,
// in a row of their own with its own tries, so that nothing ever waits for a photo.
import * as log from './db.js';
import { ask } from './ask.js';
import { BUSY, createTurn } from './turn.js';
import { retryDelay } from './rows.js';
import { sendPhoto } from './uploads.js';

const HOPELESS = [413, 415, 422]; // the server looked at the photo and cannot take it
const NOT_HERE = 'This photo is no longer in the storage of this phone. Take it again if you can.';

export async function hashBlob(blob) {
  const digest = await crypto.subtle.digest('SHA-256', await blob.arrayBuffer());
  return Array.from(new Uint8Array(digest), (b) => b.toString(16).padStart(2, '0')).join('');
}

/** @returns {Promise<Blob|null>} from this phone, else from the server, else null */
export async function loadPhoto(sha256, token) {
  const kept = await log.getPhoto(sha256);
  if (kept) return kept.blob;
  if (!token) return null;
  try {
    const response = await ask(`/api/v1/photos/${sha256}`, { headers: { Authorization: `Bearer ${token}` } }, 120000);
    if (!response.ok) return null;
    const blob = await response.blob();
    if ((await hashBlob(blob)) !== sha256) return null;
    await log.keepPhoto({ sha256, blob, type: blob.type, size: blob.size, sent: true });
    return blob;
  } catch {
    return null;
  }
}

/**
 * @param {{token: () => Promise<string|null>, send: (event: object) => void, shut: (error: Error) => void}} app
 * @returns {{look: (wanted: string[]) => Promise<void>}} look: what the server still wants of this phone
 */
export function createPhotoSender(app, db = log, sendOne = sendPhoto) {
  const turn = createTurn('railcase-photos', db);
  let wanted = [];
  let failures = 0;
  let timer = 0;
  let running = false;

  async function tell(status, text = '') {
    const problems = (await db.getMeta('photo_problems')) || {};
    const waiting = wanted.filter((sha256) => !problems[sha256]).length;
    app.send({ type: 'photos_changed', photos: { waiting, problems, status, text } });
  }

  async function putAside(sha256, text) {
    await db.setMeta('photo_problems', { ...(await db.getMeta('photo_problems')), [sha256]: text });
  }

  async function sendIfHere(sha256) {
    const photo = await db.getPhoto(sha256);
    if (!photo || !photo.blob) return putAside(sha256, NOT_HERE);
    try {
      await sendOne(await app.token(), photo);
    } catch (error) {
      if (!HOPELESS.includes(error.status)) throw error;
      return putAside(sha256, error.message);
    }
    await db.keepPhoto({ ...photo, sent: true });
    wanted = wanted.filter((other) => other !== sha256);
    await db.setMeta('photos_wanted', wanted);
    return undefined;
  }

  /** One after the other. Where the server fails over one, the others are tried all the same; that one is tried again later. */
  async function sendAll() {
    const problems = (await db.getMeta('photo_problems')) || {};
    let trouble = null;
    for (const sha256 of wanted.filter((one) => !problems[one])) {
      await tell('running');
      await turn.beat();
      try {
        await sendIfHere(sha256);
      } catch (error) {
        if (error.kind !== 'server' || error.wait !== null) throw error;
        trouble = error;
      }
    }
    if (trouble) throw trouble;
  }

  function failed(error) {
    failures += 1;
    if (error.kind === 'unpaired') app.shut(error);
    else timer = setTimeout(pass, 1000 * (error.wait ?? retryDelay(failures)));
    return tell(error.kind === 'network' ? 'offline' : 'failed', error.message);
  }

  async function pass() {
    clearTimeout(timer);
    if (running) return;
    running = true;
    try {
      const given = await turn.take(sendAll);
      failures = 0;
      await tell(given === BUSY ? 'elsewhere' : 'idle');
    } catch (error) {
      await failed(error).catch(() => {});
    } finally {
      running = false;
    }
  }

  function look(now) {
    wanted = now;
    return wanted.length ? pass() : tell('idle').catch(() => {});
  }

  return { look };
}
