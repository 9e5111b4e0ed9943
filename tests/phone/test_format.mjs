import assert from 'node:assert/strict';
import { test } from 'node:test';
import { formatChance, formatLimits, formatNumber, formatReading, formatTyped, parseTyped, pressKey } from '../../static/js/format.js';

const TYPED = [
  { name: 'whole', text: '292', value: 292 }, { name: 'decimal comma', text: '1,4', value: 1.4 }, { name: 'negative', text: '-0.3', value: -0.3 },
  { name: 'trailing point', text: '3.', value: 3 }, { name: 'leading point', text: '.5', value: 0.5 }, { name: 'only a sign', text: '-', value: null },
  { name: 'empty', text: '', value: null }, { name: 'words', text: 'about 3', value: null }, { name: 'two points', text: '1.2.3', value: null },
  { name: 'exponent', text: '1e5', value: null }, { name: 'zero', text: '0', value: 0 },
];
for (const row of TYPED) test(`typed: ${row.name}`, () => assert.equal(parseTyped(row.text), row.value));

const KEYS = [
  { name: 'digits', keys: ['2', '9', '2'], text: '292' }, { name: 'a point first', keys: ['.', '5'], text: '0.5' },
  { name: 'one point only', keys: ['1', '.', '.', '4'], text: '1.4' }, { name: 'minus at the end goes to the front', keys: ['0', '.', '3', '-'], text: '-0.3' },
  { name: 'minus twice', keys: ['-', '5', '-'], text: '5' }, { name: 'back', keys: ['1', '2', 'back'], text: '1' }, { name: 'no leading nought', keys: ['0', '7'], text: '7' },
  { name: 'at most eight digits', keys: [...'1234567890'], text: '12345678' },
];
for (const row of KEYS) test(`pad: ${row.name}`, () => assert.equal(row.keys.reduce(pressKey, ''), row.text));

test('numbers', () => {
  assert.equal(formatNumber(0), '0');
  assert.equal(formatNumber(-0.0001, 2), '0.00');
  assert.equal(formatNumber(-0.5, 1), '\u22120.5');
  assert.equal(formatNumber(null), '–');
  assert.equal(formatNumber(Number.NaN), '–');
  assert.equal(formatTyped(285, 'bar'), '285\u00a0bar');
  assert.equal(formatTyped(0.1 + 0.2), '0.3');
});

test('limits: nought is a limit, null is none', () => {
  assert.equal(formatLimits(0, 30, 'bar'), '0 to 30\u00a0bar');
  assert.equal(formatLimits(285, null, 'bar'), 'at least 285\u00a0bar');
  assert.equal(formatLimits(0.4016, 0.6024, 'V', 2), '0.402 to 0.602\u00a0V');
  assert.equal(formatLimits(0.4016, 0.6024, 'V', 3), '0.402 to 0.602\u00a0V');
  assert.equal(formatLimits(310.5, null, 'bar', 0), 'at least 310.5\u00a0bar');
  assert.equal(formatLimits(null, 1.5, 's'), 'at most 1.5\u00a0s');
  assert.equal(formatLimits(null, undefined, 's'), '');
});

test('readings of every kind', () => {
  const choice = { unit: null, choices: [{ id: 'none', name: 'No leak' }] };
  assert.equal(formatReading({ value: 'none' }, choice), 'No leak');
  assert.equal(formatReading({ value: 'else' }, choice), 'else');
  assert.equal(formatReading({ value: [21, 22.5], unit: 'mL' }, { unit: 'mL' }), '21 · 22.5\u00a0mL');
  assert.equal(formatReading({ value: 0 }, { unit: 'V' }), '0\u00a0V');
});

test('a chance is never nought or whole', () => {
  assert.equal(formatChance(0.9999), 'over 99 %');
  assert.equal(formatChance(0), 'under 1 %');
  assert.equal(formatChance(0.886), '89\u00a0%');
});
