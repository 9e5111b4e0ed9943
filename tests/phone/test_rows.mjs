// The phone's log: ids, the row of a case, what is sent and what an answer does.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { retryAfter } from '../../static/js/offline/ask.js';
import { addToRow, countQuestions, emptyRow, fitMessage, planBatch, readResults, retryDelay, sortRows, uuid7 } from '../../static/js/offline/rows.js';

const CASE = '01900000-0000-7000-8000-000000000000';
let made = 0;

function entry(kind, clock, body = {}) {
  made += 1;
  return { id: `id-${String(made).padStart(4, '0')}`, case: CASE, clock, kind, body, at: `2026-11-24T10:${String(clock).padStart(2, '0')}:00Z` };
}

function fold(entries) {
  return entries.reduce(addToRow, emptyRow(CASE));
}

function shuffles(list, count) {
  let seed = 7;
  const random = () => { seed = (seed * 16807) % 2147483647; return seed / 2147483647; };
  return Array.from({ length: count }, () => [...list].map((x) => [random(), x]).sort((a, b) => a[0] - b[0]).map(([, x]) => x));
}

test('an id is a version 7 UUID in lower case, and sorts by time', () => {
  const first = uuid7(1_700_000_000_000);
  assert.match(first, /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  assert.ok(first < uuid7(1_700_000_000_001));
  assert.equal(parseInt(first.replace('-', '').slice(0, 12), 16), 1_700_000_000_000);
});

test('a thousand ids of one millisecond differ', () => {
  assert.equal(new Set(Array.from({ length: 1000 }, () => uuid7(5))).size, 1000);
});

test('the row of a case does not depend on the order of arrival', () => {
  const entries = [entry('case_opened', 1), entry('vehicle_set', 2, { description: 'grey van' }), entry('vehicle_set', 4, { description: 'blue van', registration: 'DEMO 1' }),
    entry('concluded', 5), entry('reopened', 7), entry('vehicle_set', 3, { description: 'red van' }), entry('note_added', 8)];
  const wanted = fold(entries);
  assert.equal(wanted.label, 'blue van');
  assert.equal(wanted.state, 'open');
  assert.equal(wanted.clock, 8);
  assert.equal(wanted.entries, 7);
  for (const order of shuffles(entries, 50)) assert.deepEqual(fold(order), wanted);
});

test('at an equal clock the greater id wins, whichever comes first', () => {
  const a = entry('vehicle_set', 2, { description: 'a' });
  const b = entry('vehicle_set', 2, { description: 'b' });
  assert.equal(fold([a, b]).label, 'b');
  assert.equal(fold([b, a]).label, 'b');
});

test('a wrong phone date decides nothing', () => {
  const early = { ...entry('vehicle_set', 2, { description: 'first' }), at: '2099-01-01T00:00:00Z' };
  const late = { ...entry('vehicle_set', 3, { description: 'second' }), at: '1970-01-01T00:00:00Z' };
  assert.equal(fold([late, early]).label, 'second');
});

test('a question is open until its answer is here, whichever came first', () => {
  const question = entry('comment_added', 2, { text: 'Which?', question: true });
  const answers = [entry('comment_added', 3, { text: 'the grey one', answers: question.id }), entry('comment_added', 4, { text: 'yes', answers: question.id })];
  const remark = entry('comment_added', 5, { text: 'thanks' });
  assert.equal(countQuestions(emptyRow(CASE)), 0);
  assert.equal(countQuestions(fold([remark, question])), 1);
  for (const order of shuffles([question, ...answers, remark], 20)) assert.equal(countQuestions(fold(order)), 0);
});

test('a job is new until it was seen, and again for the next one it is given to', () => {
  const log = [entry('job_assigned', 1, { to: 'tarek' }), entry('job_seen', 2), entry('job_assigned', 3, { to: 'ada' })];
  assert.equal(fold(log.slice(0, 1)).job, 'tarek');
  for (const order of shuffles(log.slice(0, 2), 5)) assert.equal(fold(order).job, '');
  for (const order of shuffles(log, 20)) assert.equal(fold(order).job, 'ada');
});

test('a duplicate goes last, until the office separates it', () => {
  const joined = [entry('merged_into', 2, { target: 'x' }), entry('concluded', 3)];
  const rows = [fold(joined), { ...emptyRow('b'), state: 'confirmed' }];
  assert.equal(sortRows(rows)[1].duplicate, true);
  assert.equal(fold([...joined, entry('merged_into', 4, {})]).duplicate, false);
});

test('open cases come first, then the one touched last', () => {
  const rows = [{ id: 'a', state: 'confirmed', updated_at: '9' }, { id: 'b', state: 'open', updated_at: '1' }, { id: 'c', state: 'open', updated_at: '2' }];
  assert.deepEqual(sortRows(rows).map((r) => r.id), ['c', 'b', 'a']);
});

test('a batch goes in the order of making, without the refused, and is bounded', () => {
  const outbox = [{ id: 'c', seq: 3, problems: null }, { id: 'a', seq: 1, problems: null }, { id: 'b', seq: 2, problems: [{}] }];
  assert.deepEqual(planBatch(outbox).map((r) => r.id), ['a', 'c']);
  assert.equal(planBatch(Array.from({ length: 500 }, (_, i) => ({ id: String(i), seq: i, problems: null }))).length, 200);
});

test('a message is bounded in size, and never empty for one large entry', () => {
  const entries = Array.from({ length: 10 }, (_, i) => ({ id: String(i), body: { text: 'x'.repeat(1000) } }));
  assert.deepEqual(fitMessage(entries, 3500).map((e) => e.id), ['0', '1', '2']);
  assert.deepEqual(fitMessage(entries, 10).map((e) => e.id), ['0']);
  assert.equal(fitMessage(entries).length, 10);
  assert.deepEqual(fitMessage([], 10), []);
});

test('an entry leaves the outbox only when the server named it stored or known', () => {
  const problems = [{ code: 'bad', field: 'body', text: 'no' }];
  const { drop, refuse } = readResults([{ id: 'a', status: 'stored' }, { id: 'b', status: 'known' }, { id: 'c', status: 'refused', problems },
    { id: 'd', status: 'something new' }]);
  assert.deepEqual(drop, ['a', 'b']);
  assert.deepEqual(refuse, [{ id: 'c', problems }]);
});

test('a refusal without a reason still counts as refused', () => {
  const { refuse } = readResults([{ id: 'c', status: 'refused', problems: [] }]);
  assert.equal(refuse[0].problems.length, 1);
});

test('waiting doubles, is capped, and is never nought', () => {
  assert.equal(retryDelay(1, 1), 4);
  assert.equal(retryDelay(3, 1), 16);
  assert.equal(retryDelay(60, 1), 300);
  assert.equal(retryDelay(1, 0), 2);
  for (let failures = 1; failures < 40; failures += 1) assert.ok(retryDelay(failures) >= 2 && retryDelay(failures) <= 300);
});

test('the server may ask for a pause', () => {
  assert.equal(retryAfter('30'), 30);
  assert.equal(retryAfter(null), null);
  assert.equal(retryAfter('soon'), null);
  assert.equal(retryAfter('999999'), 3600);
});
