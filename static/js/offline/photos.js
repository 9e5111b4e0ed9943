// Photos go by their SHA-256: the same picture twice is one picture, and a broken upload is simply sent again.
import * as db from './db.js';

const UPLOAD_MS = 120000;

export async function hashBlob(blob) {
  const digest = await crypto.subtle.digest('SHA-256', await blob.arrayBuffer());
  return Array.from(new Uint8Array(digest), (b) => b.toString(16).padStart(2, '0')).join('');
}

function headers(token, type) {
  return { Authorization: `Bearer ${token}`, ...(type ? { 'Content-Type': type } : {}) };
}

async function fetchBounded(path, options) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), UPLOAD_MS);
  try {
    return await fetch(path, { ...options, signal: stop.signal, credentials: 'omit', cache: 'no-store' });
  } finally {
    clearTimeout(timer);
  }
}

/** Send the pictures that the server asked for, one after the other. A failure waits for the next round. */
export async function uploadPhotos(token, wanted) {
  for (const sha256 of wanted) {
    const photo = await db.getPhoto(sha256);
    if (!photo) continue;
    const body = await photo.blob.arrayBuffer();
    const response = await fetchBounded(`/api/v1/photos/${sha256}`, { method: 'PUT', headers: headers(token, photo.type), body });
    if (response.ok) await db.keepPhoto({ ...photo, sent: true });
  }
}

/** @returns {Promise<Blob|null>} from this phone, else from the server, else null */
export async function loadPhoto(sha256, token) {
  const kept = await db.getPhoto(sha256);
  if (kept) return kept.blob;
  if (!token) return null;
  try {
    const response = await fetchBounded(`/api/v1/photos/${sha256}`, { headers: headers(token) });
    if (!response.ok) return null;
    const blob = await response.blob();
    if ((await hashBlob(blob)) !== sha256) return null;
    await db.keepPhoto({ sha256, blob, type: blob.type, size: blob.size, sent: true });
    return blob;
  } catch {
    return null;
  }
}
