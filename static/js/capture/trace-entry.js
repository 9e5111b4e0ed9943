// From a recorded rise (trace or film) to the entries that keep it: readings first, then the curve that stands behind them. Pure.
import { phaseOf } from '../plan.js';

const MOST_POINTS = 400;
const STARTABLE_BAR = 200; // common practice, no source: an engine can usually start from about here
const LONGEST_NAME = 200;

const round = (value, digits) => Number(value.toFixed(digits));

/** Pressures to time to: the one that is judged last. */
export function targetsFor(limit) {
  const low = limit && typeof limit.low === 'number' ? limit.low : null;
  return low === null ? [STARTABLE_BAR] : low > STARTABLE_BAR ? [STARTABLE_BAR, low] : [low];
}

/** The pressure whose time is the reading. */
export const judgedTime = (result) => result.time_to[result.time_to.length - 1];

function reading(id, checkId, source, body) {
  const phase = phaseOf(checkId);
  return { case: id, kind: 'reading_taken', body: { ...body, instrument: source, check: checkId, ...(phase === 'before' ? {} : { phase }) } };
}

/** The rise time, or that the target was not reached. */
export function riseReading(id, checkId, source, result) {
  const { target_bar, seconds, standard_uncertainty } = judgedTime(result);
  if (seconds === null) {
    const body = { quantity: 'crank_rise_time', phase: phaseOf(checkId), reason: `${target_bar} bar was not reached` };
    return { case: id, kind: 'not_measured', body };
  }
  return reading(id, checkId, source, { quantity: 'crank_rise_time', value: round(seconds, 3), unit: 's', target_bar, standard_uncertainty: round(standard_uncertainty, 4) });
}

/** The steady pressure; null where the engine could not tell it. */
export function pressureReading(id, checkId, source, pressure) {
  if (!pressure) return null;
  return reading(id, checkId, source, { quantity: 'crank_pressure', value: round(pressure.value, 1), unit: 'bar', standard_uncertainty: round(pressure.standard_uncertainty, 2) });
}

/** Neighbours averaged until at most MOST_POINTS are left between two moments. */
export function thinPoints(points, from_s, to_s) {
  const inside = points.filter(([t, p]) => t >= from_s && t <= to_s && Number.isFinite(p));
  const size = Math.max(1, Math.ceil(inside.length / MOST_POINTS));
  const thin = [];
  for (let i = 0; i < inside.length; i += size) {
    const group = inside.slice(i, i + size);
    const mean = (k) => group.reduce((sum, point) => sum + point[k], 0) / group.length;
    thin.push([round(mean(0), 4), round(mean(1), 2)]);
  }
  return thin;
}

/**
 * The curve for the record.
 * @param {{source: 'trace'|'film', name: string, points: [number, number][], found_start_s: number|null, readings: string[]}} rise
 */
export function riseDraft(id, checkId, rise, result) {
  const until = result.time_to.reduce((most, row) => Math.max(most, row.seconds ?? 0), 0.5);
  const span = [result.start_s - Math.max(0.3, 0.25 * until), result.start_s + Math.max(2 * until, 1)];
  const body = { source: rise.source, name: rise.name.slice(0, LONGEST_NAME), check: checkId, readings: rise.readings,
    start_s: round(result.start_s, 4), start_from: result.start_from, points: thinPoints(rise.points, ...span),
    times: result.time_to.map((row) => [row.target_bar, row.seconds === null ? null : round(row.seconds, 3)]),
    warnings: result.warnings.map((text) => text.slice(0, LONGEST_NAME)) };
  if (phaseOf(checkId) !== 'before') body.phase = phaseOf(checkId);
  if (typeof result.steady_bar === 'number') body.steady_bar = round(result.steady_bar, 1);
  if (rise.found_start_s !== null) body.found_start_s = round(rise.found_start_s, 4);
  return { case: id, kind: 'rise_recorded', body };
}
