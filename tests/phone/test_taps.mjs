import assert from 'node:assert/strict';
import { test } from 'node:test';
import { neverReached, noTaps, ownSpread, reachedAttempts, tap } from '../../static/js/capture/taps.js';

function press(...events) {
  return events.reduce((taps, [type, at_s, index]) => tap(taps, { type, at_s, index }), noTaps());
}

test('start and reached make one attempt', () => {
  const taps = press(['start', 10], ['reached', 11.4]);
  assert.equal(taps.phase, 'done');
  assert.deepEqual(taps.attempts, [{ start_s: 10, end_s: 11.4 }]);
});

test('reached before start does nothing', () => {
  assert.deepEqual(press(['reached', 1]), noTaps());
});

test('a second start while running does nothing', () => {
  assert.equal(press(['start', 1], ['start', 2]).start_s, 1);
});

test('stop keeps the attempt as never reached', () => {
  const taps = press(['start', 0], ['stop', 5]);
  assert.equal(taps.attempts[0].end_s, null);
  assert.equal(neverReached(taps), true);
});

test('one reached among others is not never', () => {
  const taps = press(['start', 0], ['stop', 5], ['start', 60], ['reached', 61]);
  assert.equal(neverReached(taps), false);
  assert.equal(reachedAttempts(taps).length, 1);
});

test('an attempt can be taken out', () => {
  const taps = press(['start', 0], ['reached', 1], ['start', 2], ['reached', 4], ['remove', 0, 0]);
  assert.deepEqual(taps.attempts, [{ start_s: 2, end_s: 4 }]);
  assert.equal(press(['start', 0], ['reached', 1], ['remove', 0, 0]).phase, 'idle');
});

test('own spread needs five goes, and a constant lateness is no spread', () => {
  assert.deepEqual(ownSpread([0.1, 0.1]).sd_s, null);
  assert.equal(ownSpread([0.1, 0.1]).left, 3);
  assert.ok(ownSpread([0.2, 0.2, 0.2, 0.2, 0.2]).sd_s < 1e-9);
});

test('the spread of a pair is the square root of two times that of a tap', () => {
  // sample variance of -2, -1, 0, 1, 2 is 2.5; a pair has twice that
  const { sd_s } = ownSpread([-0.02, -0.01, 0, 0.01, 0.02]);
  assert.ok(Math.abs(sd_s - 0.01 * Math.sqrt(5)) < 1e-12);
});
