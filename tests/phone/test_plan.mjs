// Look-ups for the screens: what fits the vehicle, what is done, what is next inside a check; and what a form makes.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { checkProgress, latestReading, listChecks, limitFor, listProfiles, nextCheck, nextInCheck, roughCase, safeDefault, unaskedQuantities, unreadCautions, usualProfile, withLimits } from '../../static/js/plan.js';
import { activeText, emptyForm, nextPlace, readingBody, typeText, whatIsMissing } from '../../static/js/parts/entry-form.js';
import { DOES_NOT_SAY, resultText } from '../../static/js/result-text.js';

const NUMBER = { id: 'crank_pressure', name: 'Cranking pressure', kind: 'number', unit: 'bar', units: ['bar', 'psi'], states: [], needs_duration: false, instruments: ['rail_sensor', 'scan'], layouts: [], supplies: [] };
const LIST = { id: 'injector_return', name: 'Injector return', kind: 'list', unit: 'mL', units: ['mL'], states: ['cranking', 'idling'], needs_duration: true, instruments: ['graduated_tubes'], layouts: [], supplies: [] };
const CHOICE = { id: 'external_leak', name: 'Leak', kind: 'choice', unit: null, units: [], states: [], needs_duration: false, instruments: ['eye'], choices: [{ id: 'none', name: 'None' }], layouts: [], supplies: [] };
const CHECK = { id: 'crank', order: 8, name: 'Crank', quantities: ['crank_pressure', 'spring_pressure'], cautions: ['jets', 'cranking'], layouts: [], supplies: [],
  steps: [{ id: 'show', quantity: null }, { id: 'read', quantity: 'crank_pressure' }, { id: 'spring', quantity: 'spring_pressure' }] };
const CATALOGUE = {
  quantities: [NUMBER, LIST, CHOICE, { ...NUMBER, id: 'spring_pressure', layouts: ['regulator-only'] }], instruments: [], faults: [],
  checks: [CHECK, { ...CHECK, id: 'intake', order: 1, quantities: [], steps: [{ id: 'ask', quantity: null }] }, { ...CHECK, id: 'relief', order: 3, layouts: ['metering-only'] }],
  cautions: [{ id: 'jets', acknowledge: true }, { id: 'cranking', acknowledge: false }],
  profiles: [{ id: 'generic', limits: [{ id: 'l', quantity: 'crank_pressure', unit: 'bar', low: 285, high: null, basis: 'common practice' }] }],
  layouts: [{ id: 'metering-only' }, { id: 'regulator-and-metering', safe_default: true }],
};
const SETTINGS = { units: {}, instruments: {}, pressure_unit: 'bar' };

function kase(change = {}) {
  return { vehicle: { layout: 'metering-only', supply: 'electric', cylinders: 4 }, readings: [], steps: {}, not_measured: [], cautions: [], limits: {}, state: 'open', ...change };
}

test('checks and quantities that do not fit the vehicle do not appear', () => {
  assert.deepEqual(listChecks(CATALOGUE, kase().vehicle).map((c) => c.id), ['intake', 'relief', 'crank']);
  assert.deepEqual(listChecks(CATALOGUE, { layout: 'regulator-only' }).map((c) => c.id), ['intake', 'crank']);
  assert.equal(checkProgress(CHECK, CATALOGUE, kase()).total, 1);
});

test('progress: nothing, begun, done, given up', () => {
  const vehicle = { layout: 'regulator-only' };
  const reading = { id: 'r1', quantity: 'crank_pressure', value: 292 };
  assert.equal(checkProgress(CHECK, CATALOGUE, kase({ vehicle })).status, 'none');
  assert.equal(checkProgress(CHECK, CATALOGUE, kase({ vehicle, readings: [reading] })).status, 'part');
  const missing = [{ quantity: 'spring_pressure', reason: 'plug' }];
  assert.equal(checkProgress(CHECK, CATALOGUE, kase({ vehicle, readings: [reading], not_measured: missing })).status, 'done');
  assert.equal(checkProgress(CHECK, CATALOGUE, kase({ not_measured: [{ quantity: 'crank_pressure', reason: 'x' }] })).status, 'given_up');
});

test('a check without quantities is done when its steps are', () => {
  const intake = CATALOGUE.checks[1];
  assert.equal(checkProgress(intake, CATALOGUE, kase()).status, 'none');
  assert.equal(checkProgress(intake, CATALOGUE, kase({ steps: { 'intake/ask': true } })).status, 'done');
});

test('inside a check the first thing not done is next', () => {
  assert.equal(nextInCheck(CHECK, CATALOGUE, kase()).kind, 'step');
  const ticked = kase({ steps: { 'crank/show': true } });
  assert.deepEqual([nextInCheck(CHECK, CATALOGUE, ticked).kind, nextInCheck(CHECK, CATALOGUE, ticked).quantity], ['reading', 'crank_pressure']);
  const read = kase({ steps: { 'crank/show': true }, readings: [{ id: 'r', quantity: 'crank_pressure', value: 1 }] });
  assert.equal(nextInCheck(CHECK, CATALOGUE, read).kind, 'done');
});

test('readings that the engine does not ask for now are passed over, until it does or somebody reads one', () => {
  const vehicle = { layout: 'regulator-only' };
  const steps = { 'crank/show': true };
  const asked = { next: [{ check: 'crank', quantities: ['spring_pressure'] }] };
  assert.deepEqual(unaskedQuantities(CHECK, CATALOGUE, kase({ vehicle }), asked), ['crank_pressure']);
  assert.equal(nextInCheck(CHECK, CATALOGUE, kase({ vehicle, steps }), asked).quantity, 'spring_pressure');
  assert.deepEqual(unaskedQuantities(CHECK, CATALOGUE, kase({ vehicle }), { next: [] }), []);
  const read = kase({ vehicle, steps, readings: [{ id: 'r', quantity: 'spring_pressure', value: 70 }] });
  assert.deepEqual(unaskedQuantities(CHECK, CATALOGUE, read, { next: [] }), ['crank_pressure']);
  assert.equal(nextInCheck(CHECK, CATALOGUE, read, { next: [] }).kind, 'done');
  assert.equal(checkProgress(CHECK, CATALOGUE, read, { next: [] }).status, 'done');
});

test('a reading after the repair does not stand for one before it', () => {
  const after = kase({ readings: [{ id: 'r', quantity: 'crank_pressure', value: 1, phase: 'after_repair' }] });
  assert.equal(latestReading(after, 'crank_pressure'), null);
  assert.equal(latestReading(after, 'crank_pressure', 'after_repair').id, 'r');
});

test('a caution is asked for once in each check', () => {
  assert.deepEqual(unreadCautions(CHECK, CATALOGUE, kase()).map((c) => c.id), ['jets']);
  assert.deepEqual(unreadCautions(CHECK, CATALOGUE, kase({ cautions: [{ caution: 'jets', check: 'crank' }] })), []);
  assert.equal(unreadCautions(CHECK, CATALOGUE, kase({ cautions: [{ caution: 'jets', check: 'spring' }] })).length, 1);
});

test("the case's own limit goes before the profile's, and a missing profile is no crash", () => {
  assert.equal(limitFor(CATALOGUE, kase(), 'crank_pressure').low, 285);
  const own = kase({ limits: { overrides: { crank_pressure: { low: 250, reason: 'data sheet' } } } });
  assert.equal(limitFor(CATALOGUE, own, 'crank_pressure').low, 250);
  assert.equal(limitFor(CATALOGUE, kase(), 'decay_time'), null);
});

test('the next check skips what this phone does not know', () => {
  const assessment = { next: [{ check: 'from_the_future' }, { check: 'crank', minutes: 6 }] };
  assert.equal(nextCheck(assessment, CATALOGUE).name, 'Crank');
  assert.equal(nextCheck(assessment, CATALOGUE, 'crank'), null);
});

test('"Don\u2019t know" takes the layout marked as safe', () => assert.equal(safeDefault(CATALOGUE.layouts), 'regulator-and-metering'));

test('a form: one number', () => {
  let form = emptyForm(NUMBER, {}, SETTINGS);
  assert.equal(whatIsMissing(form, NUMBER), 'Enter the value');
  form = typeText(form, '0');
  assert.equal(whatIsMissing(form, NUMBER), '');
  assert.deepEqual(readingBody(form, NUMBER, 'crank'), { quantity: 'crank_pressure', value: 0, check: 'crank', instrument: 'rail_sensor', unit: 'bar' });
  assert.equal(readingBody(form, NUMBER, 'retest').phase, 'after_repair');
});

test('a form: one field a cylinder and the time', () => {
  let form = emptyForm(LIST, { cylinders: 3 }, SETTINGS);
  for (const value of ['21', '23', '64', '30']) {
    form = typeText(form, value);
    form = { ...form, active: nextPlace(form, LIST) };
  }
  assert.equal(activeText(form), '30');
  assert.equal(whatIsMissing(form, LIST), '');
  const body = readingBody(form, LIST, 'injector_return');
  assert.deepEqual([body.value, body.duration_s, body.state], [[21, 23, 64], 30, 'cranking']);
});

test('a form names the field that is missing', () => {
  const form = typeText(emptyForm(LIST, { cylinders: 2 }, SETTINGS), '5');
  assert.equal(whatIsMissing(form, LIST), 'Enter cylinder 2');
  assert.equal(whatIsMissing(emptyForm(CHOICE, {}, SETTINGS), CHOICE), 'Choose one');
});

test('the unit chosen before is offered again, an unknown one is not', () => {
  assert.equal(emptyForm(NUMBER, {}, { ...SETTINGS, pressure_unit: 'psi' }).unit, 'psi');
  assert.equal(emptyForm(LIST, {}, { ...SETTINGS, pressure_unit: 'psi' }).unit, 'mL');
  assert.equal(emptyForm(NUMBER, {}, { ...SETTINGS, units: { crank_pressure: 'furlong' } }).unit, 'bar');
});

test('without the engine the entries still show', () => {
  const entries = [{ id: 'b', clock: 2, kind: 'reading_taken', body: { quantity: 'crank_pressure', value: 1 } }, { id: 'a', clock: 1, kind: 'vehicle_set', body: { description: 'van' } },
    { id: 'c', clock: 3, kind: 'reading_voided', body: { reading: 'b', reason: 'x' } }];
  const rough = roughCase(entries);
  assert.equal(rough.vehicle.description, 'van');
  assert.deepEqual(rough.readings, []);
});

test('the result as text says what it does not say', () => {
  const text = resultText({ ...kase({ readings: [{ id: 'r', quantity: 'crank_pressure', value: 292, unit: 'bar' }] }), updated_at: '2026-11-24T10:00:00Z', repairs: [] },
    { verdicts: [{ reading: 'r', verdict: 'pass', close: true, limit_text: 'at least 285 bar' }], ledger: [], pump: { status: 'open', missing: [] }, conclusion: null }, CATALOGUE);
  assert.match(text, /292\u00a0bar: within limits, close \(at least 285 bar\)/);
  for (const line of DOES_NOT_SAY) assert.ok(text.includes(line));
});

test('the workshop’s own limits come over the library’s, and the newest version is offered beside the one in use', () => {
  const row = (low) => ({ quantity: 'crank_pressure', low, high: null, basis: 'measured' });
  const own = (profile, version, kind, limits) => ({ id: `${profile}.${version}`, profile, version, name: profile, kind, base: 'generic', limits });
  const profiles = [own('vans', 1, 'family', []), own('vans', 2, 'family', [row(250)]), own('us', 1, 'workshop', [])];
  const both = withLimits(withLimits(CATALOGUE, { profiles }), { profiles });
  const low = (profile) => limitFor(both, { limits: { profile } }, 'crank_pressure').low;
  assert.deepEqual([low('vans.2'), low('vans.1'), low('generic'), low('gone.7')], [250, 285, 285, 285]);
  assert.deepEqual(listProfiles(both).map((p) => p.id), ['generic', 'vans.2', 'us.1']);
  assert.deepEqual(listProfiles(both, 'vans.1').map((p) => p.id), ['generic', 'vans.1', 'vans.2', 'us.1']);
  assert.equal(usualProfile(both).id, 'us.1');
  assert.deepEqual([usualProfile(CATALOGUE).id, withLimits(both, null).profiles.length], ['generic', 1]);
});
