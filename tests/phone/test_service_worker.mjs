// sw.js in a stand-in browser: all or nothing, no take-over unasked, and never an answer for the API or the office.
import assert from 'node:assert/strict';
import { createHash, webcrypto } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import vm from 'node:vm';

const SOURCE = readFileSync(new URL('../../static/sw.js', import.meta.url), 'utf-8');
const FILES = ['/', '/engine.json', '/static/js/app.js'];
const MANY = [...FILES, '/static/a.wasm', ...Array.from({ length: 20 }, (_, number) => `/static/js/${number}.js`)];
const sumOf = (text) => createHash('sha256').update(text).digest('hex').slice(0, 16);
const sumsOf = (urls) => Object.fromEntries(urls.map((url) => [url, sumOf(url)]));

function reply(url, change = {}) {
  const type = url === '/' ? 'text/html' : url.endsWith('.json') ? 'application/json' : 'text/javascript';
  const headers = new Headers({ 'Content-Type': type, 'Content-Length': '3' });
  return { ok: true, status: 200, headers, json: async () => JSON.parse(change.text), arrayBuffer: async () => new TextEncoder().encode(change.text || url).buffer, ...change };
}

/** A browser with caches as maps; `wrong` names answers that are not as they should be. */
function browser(version, stores = new Map(), wrong = {}, files = sumsOf(FILES)) {
  const handlers = {};
  const asked = [];
  const self = { location: { origin: 'https://app.test' }, skipped: 0, claimed: 0, skipWaiting() { this.skipped += 1; },
    registration: { waiting: null }, clients: { claim: async () => { self.claimed += 1; } }, addEventListener: (name, handler) => { handlers[name] = handler; } };
  const open = async (name) => {
    if (!stores.has(name)) stores.set(name, new Map());
    const store = stores.get(name);
    return { put: async (key, value) => { store.set(key, value); }, match: async (key) => store.get(key) };
  };
  const match = async (url) => {
    const held = [...stores.values()].map((store) => store.get(url)).find(Boolean);
    return held && new Response(typeof held === 'string' ? held : await held.clone().arrayBuffer(), { headers: held.headers });
  };
  const caches = { open, match, keys: async () => [...stores.keys()], delete: async (name) => stores.delete(name) };
  class Request { constructor(url, options) { Object.assign(this, { url, ...options }); } }
  const fetch = async (request) => {
    asked.push(request);
    if (wrong[request.url] === 'cut') throw new TypeError('network');
    return reply(request.url, wrong[request.url]);
  };
  const source = SOURCE.replace('= __PRECACHE__;', `= ${JSON.stringify({ version, files, lost: 'not here' })};`);
  vm.runInNewContext(source, { self, caches, fetch, Request, Response, Headers, URL, AbortSignal, Uint8Array, TextEncoder, Map, crypto: webcrypto, Promise, Error });
  const run = async (name, event = {}) => {
    let waited;
    handlers[name]({ waitUntil: (promise) => { waited = promise; }, ...event });
    await waited;
  };
  return { run, handlers, stores, asked, self };
}

test('keeps every file, fetched past the HTTP cache', async () => {
  const sw = browser('v1');
  await sw.run('install');
  assert.deepEqual([...sw.stores.get('railcase-v1').keys()], FILES);
  assert.ok(sw.asked.every((request) => request.cache === 'reload'));
  assert.equal(sw.stores.get('railcase-v1').get('/').headers.get('Content-Length'), null);
});

const WRONG = [
  { name: 'a missing file', answer: { ok: false, status: 404 } }, { name: 'a broken link', answer: 'cut' },
  { name: 'a page instead of a script', answer: { text: '<!doctype html>sign in' } },
  { name: 'a file of the next build', answer: { text: '/static/js/app.js, changed meanwhile' } },
];
for (const row of WRONG) {
  test(`${row.name} keeps the old build and writes nothing`, async () => {
    const stores = new Map([['railcase-v1', new Map([['/', 'old']])]]);
    const sw = browser('v2', stores, { '/static/js/app.js': row.answer });
    await assert.rejects(sw.run('install'));
    assert.deepEqual([...stores.keys()], ['railcase-v1']);
    assert.equal(stores.get('railcase-v1').get('/'), 'old');
  });
}

const names = (sw) => sw.asked.map((request) => request.url);
const packOf = (urls, changed = {}) => ({ '/pack.json': { text: JSON.stringify(Object.fromEntries(urls.map((url) => [url, ['text/javascript', changed[url] || url]]))) } });
const TEXTS = MANY.filter((url) => url !== '/' && !url.endsWith('.wasm'));

test('a phone with nothing fetches all texts in one file, and each still by its sum and with its type', async () => {
  const sw = browser('v1', new Map(), packOf(TEXTS, { '/static/js/7.js': 'of the next build' }), sumsOf(MANY));
  await sw.run('install');
  assert.deepEqual(names(sw), ['/', '/pack.json', '/static/a.wasm', '/static/js/7.js']);
  const kept = sw.stores.get('railcase-v1');
  assert.deepEqual([...kept.keys()].sort(), [...MANY].sort());
  assert.equal(await kept.get('/static/js/7.js').text(), '/static/js/7.js');
  assert.equal(kept.get('/static/js/8.js').headers.get('Content-Type'), 'text/javascript');
});

test('what has not changed since the older build is not fetched again; it gets the new headers', async () => {
  const stores = new Map();
  await browser('v1', stores, packOf(TEXTS), sumsOf(MANY)).run('install');
  stores.get('railcase-v1').get('/static/js/8.js').headers.set('X-Old', 'yes');
  const sw = browser('v2', stores, { '/static/js/8.js': { text: 'new' } }, { ...sumsOf(MANY), '/static/js/8.js': sumOf('new') });
  await sw.run('install');
  assert.deepEqual(names(sw), ['/', '/static/js/8.js']);
  assert.equal(await stores.get('railcase-v2').get('/static/js/8.js').text(), 'new');
  assert.equal(await stores.get('railcase-v2').get('/static/js/9.js').text(), '/static/js/9.js');
  assert.equal(stores.get('railcase-v2').get('/static/js/9.js').headers.get('X-Old'), null);
});

test('a pack that is a page of something between leaves every file to be fetched by itself', async () => {
  const sw = browser('v1', new Map(), { '/pack.json': { text: '{"error": [{"code": "away"}]}' } }, sumsOf(MANY));
  await sw.run('install');
  assert.equal(sw.stores.get('railcase-v1').size, MANY.length);
});

test('with everything cleared and no signal the page says so', async () => {
  const sw = browser('v1', new Map(), { '/': 'cut' });
  let answered;
  sw.handlers.fetch({ request: { url: 'https://app.test/', mode: 'navigate', method: 'GET' }, respondWith: (a) => { answered = a; } });
  assert.equal(await (await answered).text(), 'not here');
});

test('takes over only when asked to', async () => {
  const sw = browser('v1');
  await sw.run('install');
  assert.equal(sw.self.skipped, 0);
  await sw.run('message', { data: 'something else', ports: [] });
  assert.equal(sw.self.skipped, 0);
  await sw.run('message', { data: 'take-over', ports: [] });
  assert.equal(sw.self.skipped, 1);
});

test('activation sweeps our old caches and nobody else\u2019s', async () => {
  const sw = browser('v2', new Map([['railcase-v1', new Map()], ['other', new Map()]]));
  await sw.run('install');
  await sw.run('activate');
  assert.deepEqual([...sw.stores.keys()].sort(), ['other', 'railcase-v2']);
});

const ASKED = [
  { name: 'the app', url: '/', mode: 'navigate', ours: true }, { name: 'a listed file', url: '/static/js/app.js', mode: 'cors', ours: true },
  { name: 'the API', url: '/api/v1/sync', mode: 'cors', ours: false }, { name: 'the office', url: '/office/', mode: 'navigate', ours: false },
  { name: 'the account', url: '/account/sign-in', mode: 'navigate', ours: false }, { name: 'a file that is not listed', url: '/static/css/office.css', mode: 'no-cors', ours: false },
  { name: 'a post', url: '/', mode: 'navigate', method: 'POST', ours: false },
];
for (const row of ASKED) {
  test(`${row.name} is ${row.ours ? '' : 'not '}answered from the cache`, async () => {
    const sw = browser('v1');
    await sw.run('install');
    let answered = null;
    sw.handlers.fetch({ request: { url: `https://app.test${row.url}`, mode: row.mode, method: row.method || 'GET' }, respondWith: (a) => { answered = a; } });
    assert.equal(answered !== null, row.ours);
  });
}

async function askFor(sw, url) {
  let answered;
  sw.handlers.fetch({ request: { url: `https://app.test${url}`, mode: 'cors', method: 'GET' }, respondWith: (a) => { answered = a; } });
  return answered;
}

test('a file that the browser dropped comes back, of this build', async () => {
  const sw = browser('v1');
  await sw.run('install');
  sw.stores.get('railcase-v1').delete('/static/js/app.js');
  assert.equal(await (await askFor(sw, '/static/js/app.js')).text(), '/static/js/app.js');
  assert.ok(sw.stores.get('railcase-v1').has('/static/js/app.js'));
});

test('a file of another build is never mixed in', async () => {
  const wrong = {};
  const sw = browser('v1', new Map(), wrong);
  await sw.run('install');
  sw.stores.get('railcase-v1').delete('/static/js/app.js');
  wrong['/static/js/app.js'] = { text: 'the next build' };
  assert.equal((await askFor(sw, '/static/js/app.js')).type, 'error');
  assert.ok(!sw.stores.get('railcase-v1').has('/static/js/app.js'));
});

test('a build past mending gives way to the whole one that waits', async () => {
  const sw = browser('v1', new Map(), { '/static/js/app.js': { text: 'the next build' } });
  const told = [];
  sw.self.registration.waiting = { postMessage: (message) => told.push(message) };
  await askFor(sw, '/static/js/app.js');
  assert.deepEqual(told, ['take-over']);
});
