// What forms make of what was typed: vehicle, codes, limits, pairing code, search.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { findCases } from '../../static/js/screens/cases.js';
import { conclusionBody } from '../../static/js/gate.js';
import { dialable } from '../../static/js/screens/injury.js';
import { limitGap, withOverride } from '../../static/js/screens/limit.js';
import { parseCodes, vehicleBody } from '../../static/js/screens/new-case.js';
import { tidyCode } from '../../static/js/screens/pair.js';

const CATALOGUE = { layouts: [{ id: 'metering-only' }, { id: 'regulator-and-metering', safe_default: true }], supplies: [{ id: 'electric' }, { id: 'suction' }] };
const FORM = { description: ' van ', registration: '', vin: 'abc ', layout: 'metering-only', supply: 'suction', cylinders: '6', complaints: [], codes: '' };

test('what was chosen is taken, nothing is assumed', () => {
  assert.deepEqual(vehicleBody(FORM, CATALOGUE), { description: 'van', registration: '', vin: 'ABC', assumed: [], layout: 'metering-only', supply: 'suction', cylinders: 6 });
});

test('"Don\u2019t know" becomes the safe choice and is named as assumed', () => {
  const body = vehicleBody({ ...FORM, layout: 'unknown', supply: '', cylinders: 'unknown' }, CATALOGUE);
  assert.deepEqual([body.layout, body.supply, body.cylinders], ['regulator-and-metering', 'electric', 4]);
  assert.deepEqual(body.assumed, ['layout', 'supply', 'cylinders']);
});

test('codes: any separator, capitals, once each', () => assert.deepEqual(parseCodes('p0087, P0190;p0087\n'), ['P0087', 'P0190']));

const GAPS = [
  { name: 'no side', form: { low: '', high: '', reason: 'sheet' }, gap: 'Enter at least one side' }, { name: 'no number', form: { low: 'x', high: '', reason: 'sheet' }, gap: 'Enter numbers only' },
  { name: 'no source', form: { low: '0', high: '', reason: ' ' }, gap: 'Say where it comes from' }, { name: 'whole', form: { low: '', high: '1,5', reason: 'sheet' }, gap: '' },
];
for (const row of GAPS) test(`limit: ${row.name}`, () => assert.equal(limitGap(row.form), row.gap));

test('one limit of the case is put in or taken out, the others stay', () => {
  const before = { a: { low: 1, reason: 'x' }, b: { low: 2, reason: 'y' } };
  assert.deepEqual(withOverride(before, 'b', null), { a: before.a });
  assert.deepEqual(withOverride(before, 'b', { low: 3, reason: 'z' }), { a: before.a, b: { low: 3, reason: 'z' } });
  assert.deepEqual(before.b.low, 2);
});

test('a pairing code is tidied however it was typed', () => {
  assert.equal(tidyCode('jmbc mzzd'), 'JMBC-MZZD');
  assert.equal(tidyCode('jm'), 'JM');
  assert.equal(tidyCode('JMBC-MZZDextra'), 'JMBC-MZZD');
});

test('an emergency number can always be dialled', () => {
  assert.equal(dialable('+44 999'), '+44999');
  assert.equal(dialable(''), '112');
  assert.equal(dialable('help'), '112');
});

test('cases are found by every word', () => {
  const rows = [{ id: 1, label: 'Blue van', registration: 'DEMO 1' }, { id: 2, label: 'Blue lorry', registration: '' }];
  assert.deepEqual(findCases(rows, 'blue demo').map((r) => r.id), [1]);
  assert.equal(findCases(rows, ' ').length, 2);
});

test('a conclusion carries what the engine said at that moment', () => {
  const assessment = { conclusion: { fault: 'pump_worn' }, engine: '1.0', limits: { profile: 'generic', version: 1 }, pump: { status: 'condemned' }, verdicts: [{ reading: 'r', verdict: 'fail', text: '…' }] };
  assert.deepEqual(conclusionBody('words', assessment).verdicts, [{ reading: 'r', verdict: 'fail' }]);
  assert.equal(conclusionBody('words', assessment).fault, 'pump_worn');
  assert.deepEqual(conclusionBody('words', null), { text: 'words', fault: null });
});
