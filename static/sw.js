// The whole offline story in one file. The server puts the files of this very build, each with its sum, in place of
// __PRECACHE__, so any changed file changes this script, and the browser fetches the new build beside the old one.
//   install   fetch everything past the HTTP cache, check every answer by its sum, and only then write: all or nothing
//   waiting   the new build waits until the person accepts it ("take-over" message); a reload keeps the old one
//   activate  claim the pages, sweep every other cache of ours
//   fetch     "/" and the listed files from the cache; /api, /office and /account always from the network. A file that
//             the browser dropped is fetched again, and taken only if it is of this build: builds are never mixed
//   sync      the signal is back, the app perhaps closed: send what waits, leave all else to the page
const PRECACHE = __PRECACHE__;
const PREFIX = 'railcase-';
const CACHE = PREFIX + PRECACHE.version;
const FETCH_LIMIT_MS = 60000;
const A_FEW = 25;  // entries a message; the largest ones together stay below what the server takes

async function isOfThisBuild(url, bytes) {
  const sum = new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));
  return Array.from(sum, (byte) => byte.toString(16).padStart(2, '0')).join('').startsWith(PRECACHE.files[url]);
}

/** Body read to the end, so that a link that breaks half-way fails here and not in the middle of writing. */
async function fetchWhole(url) {
  // a promise that never settles would block activation for good: every fetch here has an end
  const signal = AbortSignal.timeout(FETCH_LIMIT_MS);
  const response = await fetch(new Request(url, { cache: 'reload', credentials: 'omit', redirect: 'error', signal }));
  const bytes = await response.arrayBuffer();
  if (!response.ok || !(await isOfThisBuild(url, bytes))) throw new Error(`cannot keep ${url}: status ${response.status}`);
  const headers = new Headers(response.headers);
  for (const name of ['Content-Encoding', 'Content-Length']) headers.delete(name);
  return [url, new Response(bytes, { status: 200, headers })];
}

async function install() {
  const answers = await Promise.all(Object.keys(PRECACHE.files).map(fetchWhole));
  try {
    const cache = await caches.open(CACHE);
    for (const [url, response] of answers) await cache.put(url, response);
  } catch (error) {
    await caches.delete(CACHE);
    throw error;
  }
}

async function activate() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith(PREFIX) && name !== CACHE).map((name) => caches.delete(name)));
  await self.clients.claim();
}

async function answer(url) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(url);
  if (kept) return kept;
  const [, response] = await fetchWhole(url).catch((error) => {
    if (self.registration.waiting) self.registration.waiting.postMessage('take-over');  // that one is whole, this one is not
    throw error;
  });
  await cache.put(url, response.clone());
  return response;
}

/** The cache key of a request that is ours to answer, or null for the network. */
function cacheKey(request) {
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== self.location.origin) return null;
  if (request.mode === 'navigate') return url.pathname === '/' ? '/' : null;
  return url.pathname in PRECACHE.files ? url.pathname : null;
}

const asked = (request) => new Promise((done, failed) => {
  request.onsuccess = () => done(request.result);
  request.onerror = () => failed(request.error);
});

async function readAFew(log) {
  const read = log.transaction(['outbox', 'entries', 'meta']);
  const rows = (await asked(read.objectStore('outbox').getAll())).filter((row) => row.problems === null);
  const few = rows.sort((a, b) => a.seq - b.seq).slice(0, A_FEW);
  const entries = await Promise.all(few.map((row) => asked(read.objectStore('entries').get(row.id))));
  const [pairing, cursor = 0] = await Promise.all(['pairing', 'cursor'].map((key) => asked(read.objectStore('meta').get(key))));
  return { token: pairing && pairing.token, message: { format: 'railcase-sync/1', app: 'background', cursor, entries } };
}

/** True when something went: there may be more. What comes back, the page fetches itself. */
async function sendAFew(log) {
  const { token, message } = await readAFew(log);
  if (!token || message.entries.length === 0) return false;
  const headers = { 'Content-Type': 'application/json', Authorization: `Bearer ${token}` };
  const sent = { method: 'POST', headers, body: JSON.stringify(message), credentials: 'omit', signal: AbortSignal.timeout(FETCH_LIMIT_MS) };
  const response = await fetch('/api/v1/sync', sent);
  const results = response.ok ? (await response.json()).results : [];
  const taken = results.filter(({ status }) => status === 'stored' || status === 'known');
  const outbox = log.transaction('outbox', 'readwrite', { durability: 'strict' }).objectStore('outbox');
  await Promise.all(taken.map((result) => asked(outbox.delete(result.id))));
  return taken.length > 0;
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

self.addEventListener('install', (event) => event.waitUntil(install()));
self.addEventListener('activate', (event) => event.waitUntil(activate()));
self.addEventListener('message', (event) => {
  if (event.data === 'take-over') self.skipWaiting();
  if (event.data === 'version' && event.ports[0]) event.ports[0].postMessage(PRECACHE.version);
});
self.addEventListener('fetch', (event) => {
  const key = cacheKey(event.request);
  if (key !== null) event.respondWith(answer(key).catch(() => Response.error()));
});
self.addEventListener('sync', (event) => event.waitUntil(navigator.locks.request('railcase-sync', { ifAvailable: true }, sendWaiting)));
