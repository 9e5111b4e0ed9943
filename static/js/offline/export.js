// Everything this phone holds, as one file a person can keep: the way out when storage or pairing fails.
import * as db from './db.js';

async function toBase64(blob) {
  const bytes = new Uint8Array(await blob.arrayBuffer());
  let text = '';
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}

async function exportPhotos(entries) {
  const wanted = new Set(entries.filter((e) => e.kind === 'photo_added').map((e) => e.body.sha256));
  const photos = [];
  for (const sha256 of wanted) {
    const photo = await db.getPhoto(sha256);
    if (photo) photos.push({ sha256, type: photo.type, base64: await toBase64(photo.blob) });
  }
  return photos;
}

/** Photos of entries that could not be written: they are only in memory. */
async function exportUnsaved(photos) {
  return Promise.all(photos.map(async ({ sha256, type, blob }) => ({ sha256, type, base64: await toBase64(blob) })));
}

/**
 * Every part is read by itself: whatever cannot be read any more does not keep the rest from getting out.
 * @param {object[]} extra entries that could not be written, so that they are not lost with the page
 * @param {{sha256: string, type: string, blob: Blob}[]} extraPhotos
 */
export async function buildExport(extra = [], extraPhotos = []) {
  const entries = (await db.allEntries().catch(() => [])).concat(extra);
  const photos = (await exportPhotos(entries).catch(() => [])).concat(await exportUnsaved(extraPhotos).catch(() => []));
  const outbox = await db.listOutbox().catch(() => []);
  const aside = await db.listAside().catch(() => []);
  const unsent = outbox.map((row) => row.id);
  return JSON.stringify({ format: 'railcase-export/1', made_at: new Date().toISOString(), entries, unsent, photos, aside }, null, 1);
}

/** Hand a text to the person: a download works in every browser. */
export function saveFile(name, text, type = 'application/json') {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([text], { type }));
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}
