// Recorded rises on the phone, the pure parts: what is looked at, points reduced and joined, marks on a film, what is saved.
import assert from 'node:assert/strict';
import test from 'node:test';
import { dragTo, firstView, panBy, zoomBy } from '../../static/js/capture/trace-view.js';
import { createBuckets } from '../../static/js/capture/trace-buckets.js';
import { joinReduced } from '../../static/js/capture/trace-read.js';
import { envelope, soundPath } from '../../static/js/capture/film-sound.js';
import { filmQuestion, markPressure, markStart, noMarks, removePressure, stillsOf, whatIsMissing } from '../../static/js/capture/film-marks.js';
import { pressureReading, riseDraft, riseReading, targetsFor, thinPoints } from '../../static/js/capture/trace-entry.js';

const close = (a, b, by = 1e-9) => assert.ok(Math.abs(a - b) <= by, `${a} is not ${b}`);

test('closer keeps the moment under the finger, and nothing leaves the record', () => {
  const [from, to] = zoomBy([0, 8], 0.5, 2, [0, 10]);
  close((2 - from) / (to - from), 0.25);
  assert.deepEqual(zoomBy([0, 8], 10, 2, [0, 10]), [0, 10]);
  assert.deepEqual(panBy([4, 8], 5, [0, 10]), [6, 10]);
  assert.deepEqual(panBy([4, 8], -5, [0, 10]), [0, 4]);
});

test('one finger drags what is under it, two stretch it', () => {
  assert.deepEqual(dragTo([4, 8], [0.5], [0.25], [0, 10]), [5, 9]);
  const [from, to] = dragTo([4, 8], [0.25, 0.75], [0, 1], [0, 10]);
  close(from, 5);
  close(to, 7);
  assert.deepEqual(dragTo([4, 8], [0.2, 0.8], [0.8, 0.2], [0, 10]), [4, 8]); // fingers crossed over: left as it is
  assert.deepEqual(firstView([-1, 9], 0, 1), [-0.5, 2]);
});

function reduce(values, most) {
  const buckets = createBuckets(most);
  values.forEach((value, i) => buckets.take(i, value, NaN));
  return buckets.finish();
}

test('few samples stay as they are', () => {
  const found = reduce([3, 1, 2], 64);
  assert.deepEqual([found.p, found.low, found.size], [[3, 1, 2], [3, 1, 2], 1]);
});

test('many samples become buckets of one size whose mean and time are right', () => {
  const values = Array.from({ length: 1000 }, (_, i) => i);
  const found = reduce(values, 64);
  assert.ok(found.t.length <= 64 && found.size === 16, `${found.t.length} of ${found.size}`);
  found.t.forEach((t, i) => close(found.p[i], t, 0.02));
  close(found.t[0], 7.5);
});

test('a single spike is in neither bound, two in a row are', () => {
  const flat = Array.from({ length: 512 }, () => 100);
  const spiked = [...flat];
  spiked[200] = 900;
  assert.equal(Math.max(...reduce(spiked, 64).high), 100);
  assert.equal(Math.max(...reduce(spiked, 64).p), 100);
  spiked[201] = 800;
  assert.equal(Math.max(...reduce(spiked, 64).high), 800);
});

test('a closer look takes the place of the same part', () => {
  const whole = { t: [0, 1, 2, 3, 4], p: [0, 1, 2, 3, 4], p_low: [0, 1, 2, 3, 4], p_high: [0, 1, 2, 3, 4], samples: 99 };
  const joined = joinReduced(whole, { t: [1.5, 2, 2.5], p: [15, 20, 25] }, [1.5, 2.5]);
  assert.deepEqual(joined.t, [0, 1, 1.5, 2, 2.5, 3, 4]);
  assert.deepEqual(joined.p_high, [0, 1, 15, 20, 25, 3, 4]);
  assert.equal(joined.samples, 99);
});

test('loudness is the root mean square of each bin', () => {
  const loud = Float32Array.from({ length: 80 }, (_, i) => (i < 40 ? 0 : i % 2 ? 0.5 : -0.5));
  assert.deepEqual(envelope(loud, 8000), [0, 0.5]);
  assert.match(soundPath({ levels: [0, 0.5], bin_s: 0.005 }, 0, 0.01, 4, 64), /^M0 32\.0L1 32\.0L2 1\.0/);
});

const frame = (at_s, bar, gap_s = 0.03) => ({ at_s, bar, gap_s });

function markedFilm() {
  let marks = markStart(noMarks(), { at_s: 1, from: 'picture', gap_s: 0.03 });
  for (const pressure of [frame(2, 290), frame(1.5, 180, 0.1), frame(0.9, 18), frame(2.0001, 288)]) marks = markPressure(marks, pressure);
  return marks;
}

test('marks are kept in order, a second pressure on a frame replaces the first', () => {
  const marks = markedFilm();
  assert.deepEqual(marks.pressures.map((p) => p.bar), [18, 180, 288]);
  assert.deepEqual(removePressure(marks, 1.5).pressures.map((p) => p.bar), [18, 288]);
  assert.equal(whatIsMissing(noMarks()), 'Mark the start of cranking');
  assert.match(whatIsMissing({ ...marks, pressures: marks.pressures.slice(0, 1) }), /1 more frame$/);
  assert.equal(whatIsMissing(marks), '');
});

test('the widest frame at the marks is what the engine is told', () => {
  const question = filmQuestion(markedFilm(), { step_bar: 5, display_s: 0.3 }, [200, 285]);
  assert.equal(question.frame_s, 0.1);
  assert.deepEqual(question.marks, [[0.9, 18], [1.5, 180], [2.0001, 288]]);
  assert.deepEqual([question.reading_resolution_bar, question.display_s, question.start_from], [5, 0.3, 'picture']);
});

test('two pictures are kept: the start and the first mark at the limit', () => {
  assert.deepEqual(stillsOf(markedFilm(), 200).map((s) => s.at_s), [1, 2.0001]);
  assert.deepEqual(stillsOf(markedFilm(), 400).map((s) => s.at_s), [1, 2.0001]); // never reached: the highest
});

const RESULT = { start_s: 1, start_from: 'hand', warnings: ['w'.repeat(300)], steady_bar: 301.234,
  time_to: [{ target_bar: 200, seconds: 0.61234, standard_uncertainty: 0.004 }, { target_bar: 285, seconds: 0.93456, standard_uncertainty: 0.00612 }] };

test('the reading is the time to the limit, with what it is worth', () => {
  assert.deepEqual(targetsFor({ low: 285 }), [200, 285]);
  assert.deepEqual(targetsFor({ low: 180 }), [180]);
  assert.deepEqual(riseReading('c', 'crank', 'trace', RESULT), { case: 'c', kind: 'reading_taken', body: { quantity: 'crank_rise_time', value: 0.935,
    unit: 's', target_bar: 285, standard_uncertainty: 0.0061, instrument: 'trace', check: 'crank' } });
  assert.equal(riseReading('c', 'retest', 'film', RESULT).body.phase, 'after_repair');
  const missed = { ...RESULT, time_to: [{ target_bar: 285, seconds: null, standard_uncertainty: null }] };
  assert.deepEqual(riseReading('c', 'crank', 'film', missed).body, { quantity: 'crank_rise_time', phase: 'before', reason: '285 bar was not reached' });
  assert.equal(pressureReading('c', 'crank', 'trace', null), null);
  assert.equal(pressureReading('c', 'crank', 'trace', { value: 301.26, standard_uncertainty: 4.321 }).body.value, 301.3);
});

test('the curve that is kept is short, and the file name and warnings fit their fields', () => {
  const points = Array.from({ length: 6000 }, (_, i) => [i / 1000, i]);
  const { body } = riseDraft('c', 'crank', { source: 'trace', name: 'n'.repeat(500), points, found_start_s: 0.98, readings: ['r'] }, RESULT);
  assert.ok(body.points.length <= 400 && body.points.length > 200);
  assert.ok(body.points[0][0] < 1 && body.points.at(-1)[0] > 1.93);
  assert.ok(JSON.stringify(body).length < 20000);
  assert.deepEqual([body.name.length, body.warnings[0].length, body.found_start_s], [200, 200, 0.98]);
  assert.deepEqual(body.times, [[200, 0.612], [285, 0.935]]);
  assert.deepEqual(thinPoints([[0, NaN], [1, 5]], 0, 2), [[1, 5]]);
});
