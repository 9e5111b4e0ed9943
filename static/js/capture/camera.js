// A picture from the camera, made small enough for a bad link before it is kept.
import { hashBlob } from '../offline/photos.js';

const LONGEST_EDGE_PX = 1600;
const QUALITY = 0.82;

function fitSize(width, height) {
  const scale = Math.min(1, LONGEST_EDGE_PX / Math.max(width, height));
  return { width: Math.max(1, Math.round(width * scale)), height: Math.max(1, Math.round(height * scale)) };
}

async function toJpeg(bitmap) {
  const { width, height } = fitSize(bitmap.width, bitmap.height);
  const canvas = globalThis.OffscreenCanvas ? new OffscreenCanvas(width, height) : Object.assign(document.createElement('canvas'), { width, height });
  const paper = canvas.getContext('2d');
  paper.fillStyle = '#fff'; // a picture with see-through parts would turn black as JPEG
  paper.fillRect(0, 0, width, height);
  paper.drawImage(bitmap, 0, 0, width, height);
  if (canvas.convertToBlob) return canvas.convertToBlob({ type: 'image/jpeg', quality: QUALITY });
  return new Promise((resolve) => { canvas.toBlob(resolve, 'image/jpeg', QUALITY); });
}

/** @param {File} file @returns {Promise<{sha256: string, blob: Blob, type: string, size: number, sent: boolean}>} */
export async function shrinkPhoto(file) {
  let bitmap;
  try {
    bitmap = await createImageBitmap(file, { imageOrientation: 'from-image' });
  } catch {
    throw new Error(`"${file.name}" is not a picture this phone can read. Take a new one, or choose a JPEG or PNG.`);
  }
  const blob = await toJpeg(bitmap);
  bitmap.close();
  return { sha256: await hashBlob(blob), blob, type: 'image/jpeg', size: blob.size, sent: false };
}

/** Keep the screen awake while `running`; silently does nothing where the browser does not let us. */
export function holdAwake() {
  let lock = null;
  let released = false;
  async function take() {
    try {
      if (!released && document.visibilityState === 'visible') lock = await navigator.wakeLock.request('screen');
    } catch { /* no wake lock here: the phone may dim, nothing else changes */ }
  }
  take();
  document.addEventListener('visibilitychange', take);
  return () => {
    released = true;
    document.removeEventListener('visibilitychange', take);
    if (lock) lock.release().catch(() => {});
  };
}
