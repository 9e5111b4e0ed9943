// A recorded trace from its bytes to the reduced form that the engine's `trace` takes. Pure but for the stream it reads.
import { TraceProblem } from './trace-words.js';
import { chooseColumns, findCoding, readHead } from './trace-head.js';
import { createRows } from './trace-rows.js';
import { createBuckets } from './trace-buckets.js';

const MOST_POINTS = 6144;
const HEAD_BYTES = 262144;
const STEPS_LOOKED_AT = 2000;
const WORST_SHARE_DROPPED = 0.5;

/** UTF-16 becomes UTF-8 on the way; everything else is read as it lies. */
function createUtf8(coding) {
  if (!coding.label.startsWith('utf-16')) return (bytes) => bytes;
  const decoder = new TextDecoder(coding.label);
  const encoder = new TextEncoder();
  return (bytes) => encoder.encode(decoder.decode(bytes, { stream: true }));
}

function headLines(bytes, coding, count) {
  const text = new TextDecoder(coding.label).decode(bytes.subarray(coding.skip));
  return text.split(/\r\n|\n|\r/).slice(0, count);
}

function median(values) {
  const ranked = [...values].sort((a, b) => a - b);
  const half = ranked.length >> 1;
  return ranked.length === 0 ? null : ranked.length % 2 ? ranked[half] : (ranked[half - 1] + ranked[half]) / 2;
}

/** Enough bytes to know the head by, or all of a short file. */
async function readStart(reader) {
  let start = new Uint8Array(0);
  while (start.length < HEAD_BYTES) {
    const { done, value } = await reader.read();
    if (done) return start;
    const joined = new Uint8Array(start.length + value.length);
    joined.set(start);
    joined.set(value, start.length);
    start = joined;
  }
  return start;
}

function refuseBad(state, columns) {
  const { samples, dropped, firstBad } = state;
  if (samples > 0 && dropped <= WORST_SHARE_DROPPED * (samples + dropped)) return;
  const where = firstBad ? ` The first: row ${firstBad.line}, column '${firstBad.column}': '${firstBad.text}' ${firstBad.why}.` : '';
  throw new TraceProblem('unreadable', `${dropped} of ${samples + dropped} rows cannot be read.${where}`, columns);
}

function warningsOf(chosen, rules, state) {
  const warnings = [];
  if (!chosen.time.unit && !chosen.clocked) warnings.push('The time has no unit; it was taken as seconds.');
  if (state.dropped) warnings.push(`${state.dropped} rows could not be read and were left out, the first in row ${state.firstBad.line}.`);
  return warnings;
}

/**
 * @param {ReadableStream<Uint8Array>} stream
 * @param {object} rules catalogue.trace_columns
 * @param {{time?: string, pressure?: string, time_unit?: string, pressure_unit?: string, sensor?: number[][], window?: [number, number]}} options
 * @param {(bytes: number) => void} progress
 * @returns {Promise<{reduced: object, columns: object[], chosen: object, warnings: string[]}>}
 */
export async function readTrace(stream, rules, options = {}, progress = () => {}) {
  const reader = stream.getReader();
  const start = await readStart(reader);
  const coding = findCoding(start.subarray(0, HEAD_BYTES));
  const head = readHead(headLines(start.subarray(0, HEAD_BYTES), coding, rules.head_lines), rules);
  const chosen = chooseColumns(head.columns, options, rules);
  const buckets = createBuckets(MOST_POINTS);
  const steps = [];
  let before = null;
  const [from, to] = options.window || [-Infinity, Infinity];
  const rows = createRows(head, chosen, rules, (t, p, other) => {
    if (before !== null && steps.length < STEPS_LOOKED_AT) steps.push(t - before);
    before = t;
    if (t >= from && t <= to) buckets.take(t, p, other);
  });
  const utf8 = createUtf8(coding);
  rows.feed(utf8(start.subarray(coding.skip)));
  let read = start.length;
  for (let next = await reader.read(); !next.done; next = await reader.read()) {
    rows.feed(utf8(next.value));
    read += next.value.length;
    progress(read);
  }
  rows.finish();
  refuseBad(rows.state, head.columns);
  return { reduced: shapeReduced(buckets.finish(), chosen, rows.state, median(steps), options), columns: head.columns,
    chosen: { time: chosen.time.header, pressure: chosen.pressure.header, battery: chosen.battery ? chosen.battery.header : null, current: chosen.current ? chosen.current.header : null },
    warnings: warningsOf(chosen, rules, rows.state) };
}

function shapeReduced(points, chosen, state, interval, options) {
  const reduced = { t: points.t, samples: state.samples, dropped: state.dropped, sample_interval_s: interval };
  if (options.sensor) Object.assign(reduced, { volts: points.p, sensor: options.sensor });
  else reduced.p = points.p;
  if (points.size > 1) Object.assign(reduced, { p_low: points.low, p_high: points.high });
  if (chosen.battery) reduced.battery_v = points.other;
  else if (chosen.current) reduced.current_a = points.other;
  return reduced;
}

const LISTS = ['t', 'p', 'volts', 'p_low', 'p_high', 'battery_v', 'current_a'];

/** A part that was read anew, put in the place of the same part of the whole. */
export function joinReduced(whole, part, [from, to]) {
  const before = whole.t.filter((t) => t < from).length;
  const after = whole.t.filter((t) => t <= to).length;
  const joined = { ...whole };
  const bounded = Boolean(whole.p_low || part.p_low);
  for (const name of LISTS) {
    const pick = (r) => r[name] || (bounded && name.startsWith('p_') ? r.p || r.volts : null);
    if (!pick(whole)) continue;
    joined[name] = [...pick(whole).slice(0, before), ...pick(part), ...pick(whole).slice(after)];
  }
  return joined;
}
