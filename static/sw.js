// The whole offline story in one file. The server puts the files of this very build, each with its sum, in place of
// __PRECACHE__, so any changed file changes this script, and the browser fetches the new build beside the old one.
//   install   take what has not changed from the older build, fetch the rest past the HTTP cache, check every file by its
//             sum, and only then write: all or nothing
//   waiting   the new build waits until the person accepts it ("take-over" message); a reload keeps the old one
//   activate  claim the pages, sweep every other cache of ours
//   fetch     "/" and the listed files from the cache; /api, /office and /account always from the network. A file that
//             the browser dropped is fetched again, and taken only if it is of this build: builds are never mixed.
//             With all of it cleared and no signal, a page that this script carries says so
// The server adds sw-send.js, which sends what waits, at the end.
const PRECACHE = __PRECACHE__;
const PREFIX = 'railcase-';
const CACHE = PREFIX + PRECACHE.version;
const FETCH_LIMIT_MS = 60000;
const PACK = '/pack.json';
const A_FEW_FILES = 12;  // judgement: so many are fetched by themselves, more of them all together
const LOST = { status: 503, headers: { 'Content-Type': 'text/html; charset=utf-8', 'Content-Security-Policy': "default-src 'none'; style-src data:" } };

async function isOfThisBuild(url, bytes) {
  const sum = new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));
  return Array.from(sum, (byte) => byte.toString(16).padStart(2, '0')).join('').startsWith(PRECACHE.files[url]);
}

/** Past the HTTP cache. A promise that never settles would block activation for good: every fetch here has an end. */
function ask(url) {
  const signal = AbortSignal.timeout(FETCH_LIMIT_MS);
  return fetch(new Request(url, { cache: 'reload', credentials: 'omit', redirect: 'error', signal }));
}

/** Body read to the end, so that a link that breaks half-way fails here and not in the middle of writing. */
async function fetchWhole(url) {
  const response = await ask(url);
  const bytes = await response.arrayBuffer();
  if (!response.ok || !(await isOfThisBuild(url, bytes))) throw new Error(`cannot keep ${url}: status ${response.status}`);
  const headers = new Headers(response.headers);
  for (const name of ['Content-Encoding', 'Content-Length']) headers.delete(name);
  return [url, new Response(bytes, { status: 200, headers })];
}

/** A file as this build serves it: the headers are those of the shell, which always comes from the server. */
function dress(bytes, type, shell) {
  const headers = new Headers(shell.headers);
  headers.delete('ETag');
  headers.set('Content-Type', type);
  return new Response(bytes, { status: 200, headers });
}

/** A file that an older build left here and that has not changed. */
async function findKept(url) {
  const response = await caches.match(url);
  const bytes = response && (await response.arrayBuffer());
  return bytes && (await isOfThisBuild(url, bytes)) ? [url, bytes, response.headers.get('Content-Type')] : null;
}

/** All texts of the app in one file, a third smaller than one by one. What is not of this build counts as not there. */
async function fetchPack() {
  const files = Object.entries(await (await ask(PACK)).json());
  return Promise.all(files.map(async ([url, [type, text]]) => {
    const bytes = new TextEncoder().encode(text);
    return (await isOfThisBuild(url, bytes)) ? [url, bytes, type] : null;
  }));
}

async function fetchAll() {
  const [first, shell] = await fetchWhole('/');
  const urls = Object.keys(PRECACHE.files).filter((url) => url !== first);
  const answers = new Map([[first, shell]]);
  const take = (found) => found.filter(Boolean).forEach(([url, bytes, type]) => answers.set(url, dress(bytes, type, shell)));
  take(await Promise.all(urls.map(findKept)));
  if (urls.length - answers.size > A_FEW_FILES) take(await fetchPack());
  return [...answers, ...(await Promise.all(urls.filter((url) => !answers.has(url)).map(fetchWhole)))];
}

async function install() {
  const answers = await fetchAll();
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

self.addEventListener('install', (event) => event.waitUntil(install()));
self.addEventListener('activate', (event) => event.waitUntil(activate()));
self.addEventListener('message', (event) => {
  if (event.data === 'take-over') self.skipWaiting();
  if (event.data === 'version' && event.ports[0]) event.ports[0].postMessage(PRECACHE.version);
});
self.addEventListener('fetch', (event) => {
  const key = cacheKey(event.request);
  if (key !== null) event.respondWith(answer(key).catch(() => (key === '/' ? new Response(PRECACHE.lost, LOST) : Response.error())));
});
