// Sending, with a log in memory and a server made of answers: what waits, what leaves, what is tried again.
import assert from 'node:assert/strict';
import { beforeEach, mock, test } from 'node:test';
import { createSync } from '../../static/js/offline/sync.js';

mock.timers.enable({ apis: ['setTimeout'] });
Math.random = () => 0.999;

let asked = [];
let answers = [];

/** @param {object|'cut'} answer body of a 200, or {status, body}, or a broken link */
function reply(answer) {
  if (answer === 'cut') throw new TypeError('fetch failed');
  const status = answer.status || 200;
  return { ok: status === 200, status, json: async () => answer.body || answer, headers: new Headers(answer.headers || {}) };
}

globalThis.fetch = async (path, options) => {
  asked.push(JSON.parse(options.body));
  return reply(answers.shift());
};

beforeEach(() => { asked = []; answers = []; });

function memoryLog(ids) {
  const log = { outbox: ids.map((id, seq) => ({ id, seq, case: 'c', problems: null })), meta: {}, taken: [] };
  return Object.assign(log, {
    listOutbox: async () => log.outbox,
    getEntry: async (id) => ({ id }),
    getMeta: async (key) => log.meta[key],
    setMeta: async (key, value) => { log.meta[key] = value; },
    applySync: async ({ entries, drop, refuse, cursor }) => {
      log.taken.push(...entries);
      log.outbox = log.outbox.filter((row) => !drop.includes(row.id));
      for (const { id, problems } of refuse) log.outbox.find((row) => row.id === id).problems = problems;
      log.meta.cursor = cursor;
      return entries.map((e) => e.case);
    },
  });
}

function answer(results, change = {}) {
  return { results, entries: [], cursor: 1, more: false, photos_wanted: [], people: [], workshop: { id: 'w', name: 'W' }, ...change };
}

const stored = (...ids) => ids.map((id) => ({ id, status: 'stored', problems: [] }));

function start(log, token = 'dev_1.secret') {
  const events = [];
  const sync = createSync({ token: () => token, send: (event) => events.push(event), changed: async () => {} }, log);
  return { sync, events, status: () => events.filter((e) => e.type === 'sync_changed').at(-1).sync.status };
}

async function settle() {
  for (let i = 0; i < 50; i += 1) await Promise.resolve();
  await new Promise((done) => { setImmediate(done); });
}

test('what the server stored leaves the outbox, in the order of making', async () => {
  const log = memoryLog(['a', 'b']);
  answers = [answer(stored('a', 'b'))];
  const { sync, status } = start(log);
  await sync.now();
  assert.deepEqual(asked[0].entries.map((e) => e.id), ['a', 'b']);
  assert.deepEqual(log.outbox, []);
  assert.equal(status(), 'done');
});

test('a failed round is tried again by itself, with no new reading and no press', async () => {
  const log = memoryLog(['a']);
  answers = ['cut', answer(stored('a'))];
  const { sync, status } = start(log);
  await sync.now();
  assert.equal(status(), 'offline');
  assert.equal(log.outbox.length, 1);
  mock.timers.tick(4001);
  await settle();
  assert.deepEqual(log.outbox, []);
});

test('a lost answer only means sending again', async () => {
  const log = memoryLog(['a']);
  answers = ['cut', answer([{ id: 'a', status: 'known', problems: [] }])];
  const { sync } = start(log);
  await sync.now();
  await sync.now();
  assert.deepEqual(asked.map((body) => body.entries[0].id), ['a', 'a']);
  assert.deepEqual(log.outbox, []);
});

test('one refused entry stays with its reason, and the rest goes on', async () => {
  const log = memoryLog(['a', 'bad', 'c']);
  const problems = [{ code: 'impossible_value', field: 'body.value', text: 'no' }];
  answers = [answer([...stored('a'), { id: 'bad', status: 'refused', problems }, ...stored('c')]), answer([])];
  const { sync } = start(log);
  await sync.now();
  assert.deepEqual(log.outbox.map((row) => [row.id, row.problems]), [['bad', problems]]);
  await sync.now();
  assert.deepEqual(asked[1].entries, []);
});

test('an unpaired phone keeps everything and says so', async () => {
  const log = memoryLog(['a']);
  answers = [{ status: 401, body: { error: [{ code: 'revoked', field: '', text: 'x' }] } }];
  const { sync, events } = start(log);
  await sync.now();
  assert.ok(events.some((e) => e.type === 'pairing_lost'));
  assert.equal(log.outbox.length, 1);
  assert.equal(log.outbox[0].problems, null);
});

test('without a token nothing is asked', async () => {
  const { sync } = start(memoryLog(['a']), null);
  await sync.now();
  assert.deepEqual(asked, []);
});

test('the server\u2019s words for a failure are shown, and its pause is kept', async () => {
  const log = memoryLog(['a']);
  answers = [{ status: 429, body: { error: [{ code: 'slow', field: '', text: 'Too many at once.' }] }, headers: { 'Retry-After': '50' } }, answer(stored('a'))];
  const { sync, events, status } = start(log);
  await sync.now();
  assert.equal(status(), 'failed');
  assert.equal(events.at(-1).sync.text, 'Too many at once.');
  mock.timers.tick(49000);
  await settle();
  assert.equal(asked.length, 1);
  mock.timers.tick(2000);
  await settle();
  assert.equal(asked.length, 2);
});

test('a feed of several pages is read to its end, from where it stood', async () => {
  const log = memoryLog([]);
  answers = [answer([], { entries: [{ id: 'x', case: 'c' }], cursor: 5, more: true }), answer([], { entries: [{ id: 'y', case: 'c' }], cursor: 9 })];
  const { sync } = start(log);
  await sync.now();
  assert.deepEqual(asked.map((body) => body.cursor), [0, 5]);
  assert.deepEqual(log.taken.map((e) => e.id), ['x', 'y']);
  assert.equal(log.meta.cursor, 9);
});

test('a reading saved while sending goes out in a round of its own', async () => {
  const log = memoryLog(['a']);
  answers = [answer(stored('a')), answer(stored('b'))];
  const { sync } = start(log);
  const first = sync.now();
  log.outbox = [...log.outbox, { id: 'b', seq: 9, case: 'c', problems: null }];
  sync.now();
  await first;
  await settle();
  assert.deepEqual(log.outbox, []);
});

test('an answer that names nobody changes nothing, and does not turn in circles', async () => {
  const log = memoryLog(Array.from({ length: 250 }, (_, i) => `e${i}`));
  answers = [answer([])];
  const { sync } = start(log);
  await sync.now();
  assert.equal(asked.length, 1);
  assert.equal(log.outbox.length, 250);
});

test('another tab that is sending leaves this one in peace', async () => {
  Object.defineProperty(globalThis.navigator, 'locks', { configurable: true, value: { request: async (_name, _options, work) => work(null) } });
  const { sync, status } = start(memoryLog(['a']));
  await sync.now();
  assert.deepEqual(asked, []);
  assert.equal(status(), 'idle');
  delete globalThis.navigator.locks;
});
