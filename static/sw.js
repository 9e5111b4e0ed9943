// The whole offline story in one file. The server puts the file list of this very build in place of __PRECACHE__,
// so any changed file changes this script, and the browser fetches the new build beside the old one.
//   install   fetch everything past the HTTP cache, check every answer, and only then write: all or nothing
//   waiting   the new build waits until the person accepts it ("take-over" message); a reload keeps the old one
//   activate  claim the pages, sweep every other cache of ours
//   fetch     "/" and the listed files from the cache; /api, /office and /account always from the network
const PRECACHE = __PRECACHE__;
const PREFIX = 'railcase-';
const CACHE = PREFIX + PRECACHE.version;
const FETCH_LIMIT_MS = 60000;

/** A promise that never settles would block activation for good: every fetch here has an end. */
function fetchFresh(url) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), FETCH_LIMIT_MS);
  const request = new Request(url, { cache: 'reload', credentials: 'omit', redirect: 'error', signal: stop.signal });
  return fetch(request).finally(() => clearTimeout(timer));
}

function isWhatWeAskedFor(url, response) {
  if (!response.ok || response.type !== 'basic' || response.redirected) return false;
  const isPage = (response.headers.get('Content-Type') || '').includes('html');
  return isPage === (url === '/');  // an error page dressed as a script must never be kept
}

/** Body read to the end, so that a link that breaks half-way fails here and not in the middle of writing. */
async function fetchWhole(url) {
  const response = await fetchFresh(url);
  if (!isWhatWeAskedFor(url, response)) throw new Error(`cannot precache ${url}: status ${response.status}`);
  const headers = new Headers(response.headers);
  for (const name of ['Content-Encoding', 'Content-Length']) headers.delete(name);
  return [url, new Response(await response.blob(), { status: 200, headers })];
}

async function install() {
  const answers = await Promise.all(PRECACHE.files.map(fetchWhole));
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

async function answer(key, request) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(key);
  return kept || fetch(request);
}

/** The cache key of a request that is ours to answer, or null for the network. */
function cacheKey(request) {
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== self.location.origin) return null;
  if (request.mode === 'navigate') return url.pathname === '/' ? '/' : null;
  return PRECACHE.files.includes(url.pathname) ? url.pathname : null;
}

self.addEventListener('install', (event) => event.waitUntil(install()));
self.addEventListener('activate', (event) => event.waitUntil(activate()));
self.addEventListener('message', (event) => {
  if (event.data === 'take-over') self.skipWaiting();
  if (event.data === 'version' && event.ports[0]) event.ports[0].postMessage(PRECACHE.version);
});
self.addEventListener('fetch', (event) => {
  const key = cacheKey(event.request);
  if (key !== null) event.respondWith(answer(key, event.request));
});
