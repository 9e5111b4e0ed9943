// Timing by hand: start, one tap a target, stop. Pure (taps, event) -> taps; seconds come from the event's own time stamp.
const BOUNCE_S = 0.12; // a second touch this soon is the same glove, not the next target

/**
 * @typedef {{start_s: number, start: 'awaited'|'surprise'|'ear', start_u_s?: number, marks: (number|null)[]}} Attempt marks: one a target, null = never reached
 * @param {number} targets how many
 * @returns {{phase: 'idle'|'running'|'done', targets: number, now: Attempt|null, attempts: Attempt[]}}
 */
export function noTaps(targets = 1) {
  return { phase: 'idle', targets, now: null, attempts: [] };
}

function begin(taps, event) {
  if (taps.phase === 'running') return taps;
  const now = { start_s: event.at_s, start: event.start || 'awaited', marks: [] };
  if (event.start_u_s !== undefined) now.start_u_s = event.start_u_s;
  return { ...taps, phase: 'running', now };
}

function close(taps, marks) {
  const whole = [...marks, ...Array(taps.targets - marks.length).fill(null)];
  return { ...taps, phase: 'done', now: null, attempts: [...taps.attempts, { ...taps.now, marks: whole }] };
}

function mark(taps, event) {
  if (taps.phase !== 'running') return taps;
  const last = taps.now.marks.length ? taps.now.marks[taps.now.marks.length - 1] : taps.now.start_s;
  if (event.at_s - last < BOUNCE_S) return taps;
  const marks = [...taps.now.marks, event.at_s];
  return marks.length === taps.targets ? close(taps, marks) : { ...taps, now: { ...taps.now, marks } };
}

function remove(taps, event) {
  const attempts = taps.attempts.filter((_, index) => index !== event.index);
  return { ...taps, attempts, phase: attempts.length || taps.phase === 'running' ? taps.phase : 'idle' };
}

const EVENTS = { start: begin, reached: mark, stop: (taps) => (taps.phase === 'running' ? close(taps, taps.now.marks) : taps), remove };

/**
 * @param {{type: 'start'|'reached'|'stop'|'remove', at_s?: number, start?: string, start_u_s?: number, index?: number}} event
 *   stop = no further target is reached: the attempt is kept, the marks that never came are null
 */
export function tap(taps, event) {
  return EVENTS[event.type](taps, event);
}

/** What the engine asks for: the attempts that reached one target. */
export function attemptsTo(taps, target) {
  return taps.attempts.filter((a) => a.marks[target] !== null && a.marks[target] !== undefined)
    .map(({ start_s, start, start_u_s, marks }) => ({ start_s, end_s: marks[target], start, ...(start_u_s === undefined ? {} : { start_u_s }) }));
}

/** True when the last target was tried for and never came: that is a finding of its own. */
export function neverReached(taps) {
  return taps.attempts.length > 0 && attemptsTo(taps, taps.targets - 1).length === 0;
}

/** The rehearsal's pointer: climbs from 0 and passes the target at `crossing_s`, a little different each go. */
export function rehearsalValue(elapsed_s, crossing_s, target) {
  return target * (elapsed_s / crossing_s);
}
