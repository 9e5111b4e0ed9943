import assert from 'node:assert/strict';
import { test } from 'node:test';
import { attemptsTo, neverReached, noTaps, rehearsalValue, tap } from '../../static/js/capture/taps.js';
import { collect, collectedSeconds, noCollection } from '../../static/js/capture/collection.js';

function press(events, targets = 1) {
  return events.reduce((taps, [type, at_s, more]) => tap(taps, { type, at_s, ...more }), noTaps(targets));
}

test('start and reached make one attempt', () => {
  const taps = press([['start', 10], ['reached', 11.4]]);
  assert.equal(taps.phase, 'done');
  assert.deepEqual(attemptsTo(taps, 0), [{ start_s: 10, end_s: 11.4, start: 'awaited' }]);
});

test('reached before start does nothing', () => {
  assert.deepEqual(press([['reached', 1]]), noTaps());
});

test('a second start while running does nothing', () => {
  assert.equal(press([['start', 1], ['start', 2]]).now.start_s, 1);
});

test('two targets: a tap each, the second ends the attempt', () => {
  const taps = press([['start', 0], ['reached', 0.6], ['reached', 1.1]], 2);
  assert.equal(taps.phase, 'done');
  assert.deepEqual([attemptsTo(taps, 0)[0].end_s, attemptsTo(taps, 1)[0].end_s], [0.6, 1.1]);
});

test('a bounce is not the next target', () => {
  const taps = press([['start', 0], ['reached', 0.05], ['reached', 0.6], ['reached', 0.65]], 2);
  assert.deepEqual([taps.phase, taps.now.marks], ['running', [0.6]]);
});

test('stop keeps what was reached, the rest never', () => {
  const taps = press([['start', 0], ['reached', 0.6], ['stop', 5]], 2);
  assert.deepEqual(taps.attempts[0].marks, [0.6, null]);
  assert.equal(neverReached(taps), true);
  assert.equal(attemptsTo(taps, 0).length, 1);
});

test('one reached among others is not never', () => {
  const taps = press([['start', 0], ['stop', 5], ['start', 60], ['reached', 61]]);
  assert.equal(neverReached(taps), false);
  assert.equal(attemptsTo(taps, 0).length, 1);
});

test('a heard start keeps how well it was heard', () => {
  const taps = press([['start', 3, { start: 'ear', start_u_s: 0.02 }], ['reached', 4]]);
  assert.deepEqual(attemptsTo(taps, 0), [{ start_s: 3, end_s: 4, start: 'ear', start_u_s: 0.02 }]);
});

test('an attempt can be taken out', () => {
  const taps = press([['start', 0], ['reached', 1], ['start', 2], ['reached', 4], ['remove', 0, { index: 0 }]]);
  assert.deepEqual(attemptsTo(taps, 0), [{ start_s: 2, end_s: 4, start: 'awaited' }]);
  assert.equal(press([['start', 0], ['reached', 1], ['remove', 0, { index: 0 }]]).phase, 'idle');
});

test('the rehearsal passes its target when it says', () => {
  assert.equal(rehearsalValue(1.3, 1.3, 285), 285);
});

test('only the seconds of the bursts count', () => {
  let collection = noCollection('cranking');
  assert.equal(collection.length_s, 5);
  for (const [type, at_s] of [['begin', 10], ['begin', 11], ['end', 15], ['begin', 80], ['end', 83.5]]) collection = collect(collection, { type, at_s });
  assert.equal(collectedSeconds(collection), 8.5);
  assert.equal(collectedSeconds(collect(collection, { type: 'drop' })), 5);
  assert.equal(noCollection('idling').length_s, 30);
});
