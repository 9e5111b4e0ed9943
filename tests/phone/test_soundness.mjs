// A damaged record is told from a whole one, and whole ones are never set aside.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { addToRow, emptyRow } from '../../static/js/offline/rows.js';
import { isEntry, isOutboxRow, isRow, part } from '../../static/js/offline/soundness.js';

const ENTRY = { id: 'e', case: 'c', device: 'd', seq: 1, clock: 1, at: '2026-11-25T00:00:00Z', by: 'me', kind: 'note_added', body: { text: 'x' } };
const ROW = addToRow(emptyRow('c'), ENTRY);
const WAITING = { id: 'e', case: 'c', seq: 1, problems: null };

test('what the app writes is whole, and so is a kind of entry that it does not know', () => {
  assert.ok(isEntry(ENTRY));
  assert.ok(isEntry({ ...ENTRY, kind: 'torque_noted', body: { anything: [1] }, extra: true }));
  assert.ok(isRow(ROW) && isRow(emptyRow('c')));
  assert.ok(isOutboxRow(WAITING) && isOutboxRow({ ...WAITING, problems: [{ code: 'x', field: '', text: 'no' }] }));
});

const BAD = [undefined, null, 7, 'text', [], {}];
const broken = (whole) => [...BAD, ...Object.keys(whole).map((key) => ({ ...whole, [key]: key === 'problems' ? 'no' : null })).filter((one) => one.problems !== undefined || !('problems' in whole))];

test('every missing or senseless field of an entry is noticed', () => {
  for (const record of broken(ENTRY)) assert.ok(!isEntry(record), JSON.stringify(record));
  assert.ok(!isEntry({ ...ENTRY, clock: NaN }));
});

test('every senseless field of a row is noticed', () => {
  for (const record of broken(ROW)) assert.ok(!isRow(record), JSON.stringify(record));
});

test('every senseless field of what waits is noticed', () => {
  for (const key of ['id', 'case', 'seq']) assert.ok(!isOutboxRow({ ...WAITING, [key]: null }), key);
  for (const problems of [undefined, 'no', [null]]) assert.ok(!isOutboxRow({ ...WAITING, problems }));
  for (const record of BAD) assert.ok(!isOutboxRow(record));
});

test('bad ones are parted from sound ones, none is lost', () => {
  const found = part([ENTRY, null, { ...ENTRY, id: 'f' }, 3], isEntry);
  assert.deepEqual(found.sound.map((e) => e.id), ['e', 'f']);
  assert.deepEqual(found.bad, [null, 3]);
});
