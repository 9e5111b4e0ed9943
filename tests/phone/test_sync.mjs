// Sending, with a log in memory and a server made of answers: what waits, what leaves, what is tried again.
import assert from 'node:assert/strict';
import { beforeEach, mock, test } from 'node:test';
import { createSync } from '../../static/js/offline/sync.js';

Math.random = () => 0.999;

let asked = [];
let answers = [];
let clockMs = 0;

function pass(ms) {
  clockMs += ms;
  mock.timers.tick(ms);
}

/** @param {object|'cut'} answer body of a 200, or {status, body}, or a broken link */
function reply(answer) {
  if (answer === 'cut') throw new TypeError('fetch failed');
  const body = typeof answer === 'string' ? answer : JSON.stringify(answer.body || answer);
  return new Response(body, { status: answer.status || 200, headers: answer.headers || {} });
}

async function unpack(body) {
  if (typeof body === 'string') return JSON.parse(body);
  return new Response(new Blob([body]).stream().pipeThrough(new DecompressionStream('gzip'))).json();
}

globalThis.fetch = async (path, options) => {
  asked.push({ path, token: options.headers.Authorization, ...(await unpack(options.body)), packed: options.headers['Content-Encoding'] === 'gzip' });
  const answer = answers.shift();
  return reply(typeof answer === 'function' ? answer(asked.at(-1)) : answer);
};

beforeEach(() => {
  asked = [];
  answers = [];
  mock.timers.reset(); // timers of the test before must not send into this one
  mock.timers.enable({ apis: ['setTimeout'] });
});

function memoryLog(ids) {
  const log = { outbox: ids.map((id, seq) => ({ id, seq, case: 'c', problems: null })), meta: { seq: ids.length, pairing: { token: 'dev_1.secret' } }, taken: [] };
  return Object.assign(log, {
    listOutbox: async () => log.outbox,
    getEntry: async (id) => ({ id }),
    getMeta: async (key) => log.meta[key],
    setMeta: async (key, value) => { log.meta[key] = value; },
    refuseHere: async (ids, problems = ['lost']) => {
      for (const id of ids) log.outbox.find((row) => row.id === id).problems = problems;
    },
    applySync: async ({ entries, drop, refuse, meta, used, renew }) => {
      log.taken.push(...entries);
      log.outbox = log.outbox.filter((row) => !drop.includes(row.id));
      for (const { id, problems } of refuse) log.outbox.find((row) => row.id === id).problems = problems;
      if (log.meta.pairing.token === used) Object.assign(log.meta, meta, { pairing: { ...log.meta.pairing, ...renew } });
      return entries.map((e) => e.case);
    },
  });
}

function answer(results, change = {}) {
  return { results, entries: [], cursor: 1, more: false, photos_wanted: [], people: [], workshop: { id: 'w', name: 'W' }, ...change };
}

const stored = (...ids) => ids.map((id) => ({ id, status: 'stored', problems: [] }));

function start(log) {
  const [events, renewed, limited] = [[], [], []];
  const app = { send: (event) => events.push(event), changed: async () => {}, renewed: () => renewed.push(1), limited: () => limited.push(1) };
  const sync = createSync(app, log, () => clockMs);
  return { sync, events, renewed, limited, status: () => events.filter((e) => e.type === 'sync_changed').at(-1).sync.status };
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
  pass(4001);
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
  const log = memoryLog(['a']);
  log.meta.pairing = undefined;
  const { sync } = start(log);
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
  await sync.now(); // a save meanwhile keeps to the pause as well
  pass(49000);
  await settle();
  assert.equal(asked.length, 1);
  pass(2000);
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

const problems = (code) => ({ error: [{ code, field: '', text: `because ${code}` }] });

test('a batch that the server breaks over is halved until the entry is found; it is set apart and the rest goes', async () => {
  const log = memoryLog(Array.from({ length: 9 }, (_, i) => `e${i}`));
  const server = (body) => (body.entries.some((e) => e.id === 'e5') ? { status: 500, body: problems('broken') } : answer(stored(...body.entries.map((e) => e.id))));
  answers = Array(30).fill(server);
  const { sync, status } = start(log);
  await sync.now();
  assert.deepEqual(log.outbox.map((row) => [row.id, row.problems[0].text]), [['e5', 'because broken']]);
  assert.equal(status(), 'done');
});

test('a server that is down as a whole blames no entry', async () => {
  const log = memoryLog(['a', 'b']);
  answers = [{ status: 500, body: problems('down') }, { status: 500, body: problems('down') }];
  const { sync, status } = start(log);
  await sync.now();
  assert.ok(log.outbox.every((row) => row.problems === null));
  assert.equal(asked.length, 2);
  assert.equal(status(), 'failed');
});

test('a portal that answers in the server\u2019s place shuts nobody out and takes nothing', async () => {
  for (const page of [{ status: 401, body: '<html>sign in</html>' }, { body: '<html>sign in</html>' }]) {
    const log = memoryLog(['a']);
    answers = [page];
    const { sync, events } = start(log);
    await sync.now();
    assert.ok(!events.some((e) => e.type === 'pairing_lost'));
    assert.deepEqual(log.outbox.map((row) => row.problems), [null]);
  }
});

test('an entry that is damaged here is named, and the others go', async () => {
  const log = memoryLog(['a', 'b']);
  log.getEntry = async (id) => (id === 'a' ? undefined : { id });
  answers = [answer(stored('b'))];
  await start(log).sync.now();
  assert.deepEqual(log.outbox.map((row) => [row.id, row.problems !== null]), [['a', true]]);
});

test('large batches go packed, and plain to a server that does not take them so', async () => {
  const log = memoryLog(Array.from({ length: 60 }, (_, i) => `a long enough name for entry number ${i}`));
  const ids = log.outbox.map((row) => row.id);
  answers = [{ status: 415, body: problems('wrong_encoding') }, answer(stored(...ids))];
  await start(log).sync.now();
  assert.deepEqual(asked.map((body) => body.packed), [true, false]);
  assert.deepEqual(log.outbox, []);
});

test('a server that knows more of this phone than the phone: all is fetched again, and it is said', async () => {
  const log = memoryLog([]);
  Object.assign(log.meta, { seq: 3, cursor: 70 });
  const device = { id: 'd', last_seq: 40 };
  answers = [answer([], { device, cursor: 80 }), answer([], { device, cursor: 60, entries: [{ id: 'own', case: 'c' }], more: true }), answer([], { device, cursor: 80 })];
  const { sync, events } = start(log);
  await sync.now();
  assert.deepEqual(asked.map((body) => [body.cursor, Boolean(body.own)]), [[70, false], [0, true], [60, true]]);
  assert.deepEqual(log.taken.map((e) => e.id), ['own']);
  assert.equal(log.meta.seq, 40);
  assert.equal(log.meta.recover, false);
  assert.equal(events.filter((e) => e.type === 'cleared').length, 1);
});

test('a server that has as much as the phone counted is no news', async () => {
  const log = memoryLog(['a']);
  answers = [answer(stored('a'), { device: { id: 'd', last_seq: 1 } })];
  const { sync, events } = start(log);
  await sync.now();
  assert.ok(!events.some((e) => e.type === 'cleared'));
});

/** A memory log of this phone's own entries, all of them stored, which can be put back into the outbox. */
function sentLog(ids) {
  const log = memoryLog([]);
  const apply = log.applySync;
  log.meta.seq = ids.length;
  log.applySync = async (change) => {
    const touched = await apply(change);
    if (change.again) log.outbox = ids.filter((id) => !change.drop.includes(id)).map((id, seq) => ({ id, seq, case: 'c', problems: null }));
    return touched;
  };
  return log;
}

const device = (held) => ({ id: 'd', last_seq: held, held });

test('a server that has less of this phone than it was told is stored gets everything again', async () => {
  const log = sentLog(['a', 'b', 'c']);
  answers = [answer([], { device: device(3), cursor: 70 }), answer([], { device: device(1), cursor: 9 }),
    answer([{ id: 'a', status: 'known', problems: [] }, ...stored('b', 'c')], { device: device(1), cursor: 12 })];
  const { sync, events } = start(log);
  await sync.now();
  assert.ok(!events.some((e) => e.type === 'cleared'));
  await sync.now();
  assert.deepEqual(asked.map((body) => [body.cursor, body.entries.map((e) => e.id)]), [[0, []], [70, []], [0, ['a', 'b', 'c']]]);
  assert.deepEqual(events.filter((e) => e.type === 'cleared').map((e) => e.cleared), [{ server: true }]);
  assert.deepEqual([log.outbox, log.meta.told, log.meta.cursor], [[], { w: 3 }, 12]);
});

test('that is seen although the same message brings as many new entries as were lost', async () => {
  const log = sentLog(['a', 'b', 'new']);
  Object.assign(log.meta, { told: { w: 2 } });
  log.outbox = [{ id: 'new', seq: 3, case: 'c', problems: null }];
  answers = [answer(stored('new'), { device: device(1) }), answer([{ id: 'a', status: 'known', problems: [] }, ...stored('b')], { device: device(2) })];
  await start(log).sync.now();
  assert.deepEqual(asked.map((body) => body.entries.map((e) => e.id)), [['new'], ['a', 'b']]);
  assert.deepEqual(log.meta.told, { w: 3 });
});

test('what the background sender saw is followed up, and another office\u2019s count is no news', async () => {
  const log = sentLog(['a']);
  Object.assign(log.meta, { told: { w: 1, other: 40 }, send_again: true });
  answers = [answer([], { device: device(1) }), answer([{ id: 'a', status: 'known', problems: [] }], { device: device(1) }), answer([], { device: device(1) })];
  const { sync } = start(log);
  await sync.now();
  await sync.now();
  assert.deepEqual(asked.map((body) => body.entries.length), [0, 1, 0]);
  assert.deepEqual([log.meta.told, log.meta.send_again], [{ w: 1, other: 40 }, false]);
});

test('what the server says of the phone\u2019s clock is passed on and kept', async () => {
  const log = memoryLog([]);
  const warning = { off_s: 86400, text: 'The clock of this phone is 24 hours ahead.' };
  answers = [answer([], { clock_warning: warning })];
  const { sync, events } = start(log);
  await sync.now();
  assert.deepEqual(events.find((e) => e.type === 'clock_warned').warning, warning);
  assert.deepEqual(log.meta.clock_warning, warning);
  assert.ok(!Number.isNaN(Date.parse(asked[0].sent_at)));
});

test('a new token and a new role are kept with the rest of the answer', async () => {
  const log = memoryLog([]);
  log.meta.pairing = { token: 'dev_1.old', workshop: { id: 'w' } };
  const person = { id: 'p', name: 'Tarek', role: 'apprentice' };
  answers = [answer([], { token: 'dev_2.new', person, more: true }), answer([])];
  const { sync, events, renewed } = start(log);
  await sync.now();
  assert.deepEqual(log.meta.pairing, { token: 'dev_2.new', person, workshop: { id: 'w' } });
  assert.deepEqual(asked.map((body) => body.token), ['Bearer dev_1.old', 'Bearer dev_2.new']);
  assert.equal(renewed.length, 1);
  assert.deepEqual(events.find((e) => e.type === 'people_known').person, person);
});

function withLocks(request) {
  Object.defineProperty(globalThis.navigator, 'locks', { configurable: true, value: { request } });
  return () => delete globalThis.navigator.locks;
}

test('another tab that is sending leaves this one in peace, and one that is stuck loses its turn', async () => {
  const undo = withLocks(async (_name, options, work) => work(options.steal ? {} : null));
  const log = memoryLog(['a']);
  answers = [answer(stored('a'))];
  const { sync, status } = start(log);
  await sync.now();
  assert.deepEqual(asked, []);
  assert.equal(status(), 'elsewhere');
  for (let s = 0; s < 8; s += 1) {
    log.meta['beat.railcase-sync'] = s; // the other tab gets on
    pass(20000);
    await settle();
  }
  assert.deepEqual(asked, []);
  for (let s = 0; s < 10; s += 1) {
    pass(10001);
    await settle();
  }
  assert.equal(asked.length, 1);
  assert.deepEqual(log.outbox, []);
  undo();
});

test('a tab whose turn was taken while it slept is not told that sending failed', async () => {
  const undo = withLocks(async () => { throw Object.assign(new Error('stolen'), { name: 'AbortError' }); });
  const { sync, status } = start(memoryLog(['a']));
  await sync.now();
  assert.equal(status(), 'elsewhere');
  undo();
});

test('the workshop’s limits are kept with the log, and asked for only when the office has others', async () => {
  const log = memoryLog([]);
  const { sync, limited } = start(log);
  const limits = { mark: 'm1', profiles: [{ id: 'vans.1' }] };
  answers = [answer([], { limits }), answer([], { limits: null })];
  await sync.now();
  await settle();
  assert.deepEqual([asked[0].limits, log.meta.limits, limited.length], ['', limits, 1]);
  await sync.now();
  await settle();
  assert.deepEqual([asked[1].limits, log.meta.limits, limited.length], ['m1', limits, 1]);
});
