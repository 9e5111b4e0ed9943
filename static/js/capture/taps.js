// Timing by hand: start, reached, or stop. Pure (taps, event) -> taps; seconds come from the event's own time stamp.
/** @returns {{phase: 'idle'|'running'|'done', start_s: number|null, attempts: {start_s: number, end_s: number|null}[]}} */
export function noTaps() {
  return { phase: 'idle', start_s: null, attempts: [] };
}

/**
 * @param {{type: 'start'|'reached'|'stop'|'remove'|'again', at_s?: number, index?: number}} event
 *   stop = the target was never reached: the attempt is kept with end_s null
 */
export function tap(taps, event) {
  if (event.type === 'start' && taps.phase !== 'running') return { ...taps, phase: 'running', start_s: event.at_s };
  if (event.type === 'reached' && taps.phase === 'running') return finish(taps, event.at_s);
  if (event.type === 'stop' && taps.phase === 'running') return finish(taps, null);
  if (event.type === 'remove') {
    const attempts = taps.attempts.filter((_, index) => index !== event.index);
    return { ...taps, attempts, phase: attempts.length ? taps.phase : 'idle' };
  }
  if (event.type === 'again' && taps.phase === 'done') return { ...taps, phase: 'idle' };
  return taps;
}

function finish(taps, end_s) {
  return { phase: 'done', start_s: null, attempts: [...taps.attempts, { start_s: taps.start_s, end_s }] };
}

export function reachedAttempts(taps) {
  return taps.attempts.filter((attempt) => attempt.end_s !== null);
}

/** True when the target was tried for and never came: that is a finding of its own. */
export function neverReached(taps) {
  return taps.attempts.length > 0 && reachedAttempts(taps).length === 0;
}

const FEWEST_GOES = 5;

/**
 * Own spread from a rehearsal. A timing has two taps, so the spread of a start-stop pair is that of one tap (tap minus
 * true moment) times the square root of two; a constant lateness cancels.
 * @param {number[]} errors_s
 * @returns {{mean_s: number, sd_s: number|null, left: number}} sd of a pair; null until there are enough goes
 */
export function ownSpread(errors_s) {
  const n = errors_s.length;
  const mean_s = n ? errors_s.reduce((sum, e) => sum + e, 0) / n : 0;
  if (n < FEWEST_GOES) return { mean_s, sd_s: null, left: FEWEST_GOES - n };
  const sum = errors_s.reduce((total, e) => total + (e - mean_s) ** 2, 0);
  return { mean_s, sd_s: Math.sqrt((2 * sum) / (n - 1)), left: 0 };
}

/** The rehearsal's pointer: climbs from 0 and passes the target at `crossing_s`, a little different each go. */
export function rehearsalValue(elapsed_s, crossing_s, target) {
  return target * (elapsed_s / crossing_s);
}
