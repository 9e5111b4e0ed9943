// The service worker's second part, joined to sw.js by the server: the signal is back, the app perhaps closed. Sends what
// waits and leaves all else to the page.
const A_FEW = 25;  // entries a message; the largest ones together stay below what the server takes

const asked = (request) => new Promise((done, failed) => {
  request.onsuccess = () => done(request.result);
  request.onerror = () => failed(request.error);
});

async function readAFew(log) {
  const read = log.transaction(['outbox', 'entries', 'meta']);
  const rows = (await asked(read.objectStore('outbox').getAll())).filter((row) => row.problems === null);
  const few = rows.sort((a, b) => a.seq - b.seq).slice(0, A_FEW);
  const entries = await Promise.all(few.map((row) => asked(read.objectStore('entries').get(row.id))));
  const [pairing, cursor = 0, told = {}] = await Promise.all(['pairing', 'cursor', 'told'].map((key) => asked(read.objectStore('meta').get(key))));
  return { token: pairing && pairing.token, told, message: { format: 'railcase-sync/1', app: 'background', cursor, entries } };
}

/** What the server took leaves the outbox. A server that has less than it had is noted: the page sends all of it again. */
async function takeAnswer(log, { results, device, workshop }, told) {
  const taken = results.filter(({ status }) => status === 'stored' || status === 'known');
  const write = log.transaction(['outbox', 'meta'], 'readwrite', { durability: 'strict' });
  const [outbox, meta] = [write.objectStore('outbox'), write.objectStore('meta')];
  const held = device.held + results.filter(({ status }) => status === 'stored').length;
  if (device.held < told[workshop.id]) meta.put(true, 'send_again');
  meta.put({ ...told, [workshop.id]: held }, 'told');
  await Promise.all(taken.map((result) => asked(outbox.delete(result.id))));
  return taken.length > 0;
}

/** True when something went: there may be more. What comes back, the page fetches itself. */
async function sendAFew(log) {
  const { token, told, message } = await readAFew(log);
  if (!token || message.entries.length === 0) return false;
  const headers = { 'Content-Type': 'application/json', Authorization: `Bearer ${token}` };
  const sent = { method: 'POST', headers, body: JSON.stringify(message), credentials: 'omit', signal: AbortSignal.timeout(FETCH_LIMIT_MS) };
  const response = await fetch('/api/v1/sync', sent);
  return response.ok && takeAnswer(log, await response.json(), told);
}

async function sendWaiting(lock) {
  if (!lock) return;  // a page is sending
  const request = indexedDB.open('railcase');
  request.onupgradeneeded = () => request.transaction.abort();  // no log yet, and making one is the page's work
  const log = await asked(request);
  try {
    while (await sendAFew(log));
  } finally {
    log.close();
  }
}

self.addEventListener('sync', (event) => event.waitUntil(navigator.locks.request('railcase-sync', { ifAvailable: true }, sendWaiting)));
