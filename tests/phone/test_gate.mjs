// Naming the pump short of proof: to whom it is offered, what must be written, what is signed; and the retest compared.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { LEAST_REASON, conclusionBody, mayDecide, mayNamePump, namedPumpText, reasonLacks } from '../../static/js/gate.js';
import { compareReadings } from '../../static/js/plan.js';
import { resultText } from '../../static/js/result-text.js';

function assessment(change = {}, pump = {}) {
  return { engine: '1', limits: {}, verdicts: [{ reading: 'r', verdict: 'fail', text: 'x' }], suspects: [{ fault: 'pump_worn', probability: 0.6 }, { fault: 'air_in_supply', probability: 0.4 }],
    pump: { status: 'open', missing: ['fuel_present'], override: null, warning: null, ...pump }, conclusion: null, ledger: [], notes: [], retest: { status: 'not_due', text: 'No retest is due.' }, ...change };
}

const OFFERS = [
  ['technician', { role: 'technician' }, assessment(), true],
  ['office', { role: 'office' }, assessment(), true],
  ['phone without a pairing', { role: '' }, assessment(), true],
  ['apprentice', { role: 'apprentice' }, assessment(), false],
  ['another suspect first', { role: 'technician' }, assessment({ suspects: [{ fault: 'air_in_supply', probability: 1 }] }), false],
  ['condemned', { role: 'technician' }, assessment({}, { status: 'condemned' }), false],
  ['concluded by the engine', { role: 'technician' }, assessment({ conclusion: { fault: 'air_in_supply' } }), false],
  ['answered for already', { role: 'technician' }, assessment({}, { override: { reason: 'x' } }), false],
  ['not judged', { role: 'technician' }, null, false],
  ['no suspects', { role: 'technician' }, assessment({ suspects: [] }), false],
];

for (const [name, person, found, offered] of OFFERS) {
  test(`naming the pump all the same: ${name}`, () => assert.equal(mayNamePump(person, found), offered));
}

test('what the server refuses from an apprentice is not offered to one, and to a phone without a pairing it is', () => {
  assert.deepEqual(['apprentice', 'technician', 'office', ''].map((role) => mayDecide({ role })), [false, true, true, true]);
});

test('a reason has its least length, and spaces do not lengthen it', () => {
  assert.equal(reasonLacks(''), LEAST_REASON);
  assert.equal(reasonLacks('x'.repeat(19)), 1);
  assert.equal(reasonLacks('x'.repeat(20)), 0);
  assert.equal(reasonLacks(`  a${' '.repeat(30)}b  `), 17);
});

test('the engine goes before what a person names', () => {
  assert.equal(conclusionBody('t', assessment(), 'pump_worn').fault, 'pump_worn');
  assert.equal(conclusionBody('t', assessment()).fault, null);
  assert.equal(conclusionBody('t', assessment({ conclusion: { fault: 'air_in_supply' } }), 'pump_worn').fault, 'air_in_supply');
  assert.deepEqual(conclusionBody('t', assessment()).verdicts, [{ reading: 'r', verdict: 'fail' }]);
  assert.deepEqual(conclusionBody('t', null), { text: 't', fault: null });
});

test('the words for the customer say what was not measured', () => {
  assert.match(namedPumpText(['fuel present', 'cranking speed']), /own judgement\. Not measured: fuel present, cranking speed\.$/);
  assert.doesNotMatch(namedPumpText([]), /Not measured/);
});

const QUANTITIES = [{ id: 'crank_pressure', name: 'Pressure', unit: 'bar' }, { id: 'crank_rise_time', name: 'Rise', unit: 's' }];
const KASE = { vehicle: {}, state: 'repaired', not_measured: [], repairs: [], readings: [
  { id: 'b', quantity: 'crank_pressure', value: 165 }, { id: 'a', quantity: 'crank_pressure', value: 150, phase: 'after_repair' },
  { id: 'c', quantity: 'crank_rise_time', value: 0.8, phase: 'after_repair' }] };

test('before and after stand side by side, and an earlier repair does not count', () => {
  const rows = compareReadings(KASE, { quantities: QUANTITIES });
  assert.deepEqual(rows.map((r) => [r.quantity.id, r.before && r.before.id, r.after.id]), [['crank_pressure', 'b', 'a'], ['crank_rise_time', null, 'c']]);
  assert.deepEqual(compareReadings({ ...KASE, earlier_retests: ['a', 'c'] }, { quantities: QUANTITIES }), []);
});

test('the shared text names who answers, and compares', () => {
  const found = assessment({ retest: { status: 'failed', text: 'The retest has failed.' } }, { override: { reason: 'metal in the tank', by: 'me', at: '2026-11-24T10:00:00Z' } });
  const text = resultText(KASE, found, { quantities: QUANTITIES });
  assert.match(text, /named all the same by the technician, .*: metal in the tank\nThe retest has failed\./);
  assert.match(text, /- Pressure: 165\u00a0bar before, 150\u00a0bar after\n- Rise: not measured before, 0\.8\u00a0s after/);
  assert.match(resultText(KASE, assessment({}, { warning: 'The pump was named although.' }), { quantities: QUANTITIES }), /although\./);
});
