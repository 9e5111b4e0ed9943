// The page's side of the engine, with a stand-in worker: numbers, restarts, and a plain word in the end.
import assert from 'node:assert/strict';
import { test } from 'node:test';

const made = [];

class StandIn {
  constructor(url, options) {
    Object.assign(this, { url, options, sent: [], handlers: {}, ended: false });
    made.push(this);
  }
  addEventListener(name, handler) { this.handlers[name] = handler; }
  postMessage(message) { this.sent.push(message); }
  terminate() { this.ended = true; }
  answer(index, data) { this.handlers.message({ data: { id: this.sent[index].id, ...data } }); }
  crash(message) { this.handlers.error({ message, preventDefault() {} }); }
}

globalThis.Worker = StandIn;
const { createEngine } = await import('../../static/js/engine/client.js');

function fresh() {
  made.length = 0;
  const told = [];
  const engine = createEngine((change) => told.push(change));
  return { engine, told };
}

const turn = () => new Promise((done) => { setImmediate(done); });

test('starts a module worker with the catalogue and says when it is ready', async () => {
  const { engine, told } = fresh();
  const started = engine.start('{"checks": []}');
  assert.equal(made[0].url, '/static/js/engine/worker.js');
  assert.equal(made[0].options.type, 'module');
  assert.deepEqual([made[0].sent[0].name, made[0].sent[0].text], ['start', '{"checks": []}']);
  made[0].answer(0, { version: 'v1' });
  await started;
  assert.deepEqual(told.map((t) => t.status), ['starting', 'ready']);
});

test('answers find their question, in whatever order they come', async () => {
  const { engine } = fresh();
  const started = engine.start('{}');
  made[0].answer(0, { version: 'v1' });
  await started;
  const first = engine.call('fold', { a: 1 });
  const second = engine.call('judge', { b: 2 });
  await turn();
  made[0].answer(2, { text: '{"ok": "second"}' });
  made[0].answer(1, { text: '{"error": [{"code": "x", "field": "y", "text": "z"}]}' });
  assert.deepEqual(await second, { ok: 'second' });
  assert.equal((await first).error[0].code, 'x');
});

test('a call before the engine is ready waits for it', async () => {
  const { engine } = fresh();
  engine.start('{}');
  const call = engine.call('version', {});
  await turn();
  assert.equal(made[0].sent.length, 1);
  made[0].answer(0, { version: 'v1' });
  await turn();
  made[0].answer(1, { text: '{"ok": 1}' });
  assert.deepEqual(await call, { ok: 1 });
});

test('a crash refuses what was asked, starts again, and gives up after the second restart', async () => {
  const { engine, told } = fresh();
  const started = engine.start('{}');
  made[0].answer(0, { version: 'v1' });
  await started;
  const lost = engine.call('judge', {});
  await turn();
  made[0].crash('out of memory');
  await assert.rejects(lost, /out of memory/);
  assert.equal(made[0].ended, true);
  assert.equal(made.length, 2);
  made[1].crash('again');
  made[2].crash('and again');
  await turn();
  assert.equal(made.length, 3);
  assert.equal(told.at(-1).status, 'failed');
  await assert.rejects(engine.call('judge', {}));
});

test('after it gave up a person can start it again', async () => {
  const { engine, told } = fresh();
  const started = engine.start('{}');
  made[0].answer(0, { failure: 'no memory' });
  await assert.rejects(started, /no memory/);
  assert.equal(told.at(-1).status, 'failed');
  const again = engine.retry();
  made[1].answer(0, { version: 'v2' });
  await again;
  assert.equal(told.at(-1).status, 'ready');
});
