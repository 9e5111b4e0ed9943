// Photos go in pieces, by themselves and after the entries: a bad link costs one piece, and no entry waits for a picture.
// The server tells which pieces it has, so phone and server may both stop and start at any moment.
import { ask, refusal } from './ask.js';

const PIECE_MS = 60000;

async function question(token, method, path, body, type) {
  const headers = { Authorization: `Bearer ${token}`, ...(type ? { 'Content-Type': type } : {}) };
  const response = await ask(`/api/v1/uploads/${path}`, { method, headers, body }, PIECE_MS);
  if (!response.ok) throw await refusal(response);
  return response.json();
}

/** The numbers of the pieces that have not arrived. */
export function missingPieces(size, pieceBytes, arrived) {
  return Array.from({ length: Math.ceil(size / pieceBytes) }, (_, number) => number).filter((number) => !arrived.includes(number));
}

/** Send what is missing of one photo and have it put together. Throws what went wrong; then simply call again. */
export async function sendPhoto(token, photo) {
  const state = await question(token, 'GET', photo.sha256);
  if (state.stored) return;
  for (const number of missingPieces(photo.blob.size, state.piece_bytes, state.pieces)) {
    const from = number * state.piece_bytes;
    const piece = await photo.blob.slice(from, from + state.piece_bytes).arrayBuffer();
    await question(token, 'PUT', `${photo.sha256}/${number}`, piece, 'application/octet-stream');
  }
  await question(token, 'POST', `${photo.sha256}/finish`, JSON.stringify({ type: photo.type, size: photo.blob.size }), 'application/json');
}
