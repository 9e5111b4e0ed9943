// Rows of a recorded trace, byte by byte: a million of them in well under a second, no text made but for odd cells. Pure.
import { parseClock, parseNumber } from './trace-head.js';

const LF = 10, CR = 13, SPACE = 32, TAB = 9, QUOTE = 34, PLUS = 43, MINUS = 45, ZERO = 48;
const HALF_DAY_S = 43200;
const MOST_DIGITS = 15; // more than these and whole numbers are no longer exact
const POWERS = Array.from({ length: 23 }, (_, i) => 10 ** i);

/** The number in bytes[from, to), NaN when it is none of the plain kind (the slow way looks again). */
function readPlain(bytes, from, to, mark) {
  let i = from;
  const negative = bytes[i] === MINUS;
  if (negative || bytes[i] === PLUS) i += 1;
  let whole = 0;
  let digits = 0;
  let behind = -1;
  for (; i < to; i += 1) {
    const digit = bytes[i] - ZERO;
    if (digit >= 0 && digit <= 9) {
      whole = whole * 10 + digit;
      digits += 1;
      if (behind >= 0) behind += 1;
    } else if (bytes[i] === mark && behind < 0) behind = 0;
    else return NaN;
  }
  if (digits === 0 || digits > MOST_DIGITS) return NaN;
  const value = behind > 0 ? whole / POWERS[behind] : whole;
  return negative ? -value : value;
}

/** Seconds from cells: plain, clock times with midnight, or an epoch; the last two count from the first good row. */
export function createClock(column, clocked, epochs) {
  let origin = null;
  let day = 0;
  let before = null;
  let scale = null;
  return {
    asNumber(value) {
      if (column.unit) return value * column.factor;
      if (scale === null) {
        const found = [...epochs].reverse().find(([above]) => value >= above);
        scale = found ? found[1] : 1;
        if (found) origin = value;
      }
      return origin === null ? value * scale : (value - origin) * scale;
    },
    asClock(text) {
      const second = clocked ? parseClock(text) : null;
      if (second === null) return NaN;
      if (before !== null && before - second > HALF_DAY_S) day += 2 * HALF_DAY_S;
      before = second;
      if (origin === null) origin = second;
      return day + second - origin;
    },
  };
}

/**
 * @param {{separator: string, decimal: string, first: number}} head
 * @param {{time: object, pressure: object, battery: object|null, current: object|null, clocked: boolean}} chosen
 * @param {(t: number, p: number, other: number) => void} take a good row, in s, bar (or volts) and V or A (NaN: none)
 */
export function createRows(head, chosen, rules, take) {
  const separator = head.separator.charCodeAt(0);
  const mark = head.decimal.charCodeAt(0);
  const other = chosen.battery || chosen.current;
  const wanted = [chosen.time.index, chosen.pressure.index, other ? other.index : -1];
  const last = Math.max(...wanted);
  const clock = createClock(chosen.time, chosen.clocked, rules.epoch);
  const text = new TextDecoder();
  const from = [0, 0, 0];
  const to = [0, 0, 0];
  const state = { line: 0, samples: 0, dropped: 0, firstBad: null };
  let latest = -Infinity;

  function findCells(bytes, start, end) {
    let field = 0;
    let quoted = false;
    let begin = start;
    for (let k = 0; k < 3; k += 1) from[k] = to[k] = -1;
    for (let i = start; i <= end; i += 1) {
      if (i < end && bytes[i] === QUOTE) quoted = !quoted;
      if (i < end && (quoted || bytes[i] !== separator)) continue;
      for (let k = 0; k < 3; k += 1) if (wanted[k] === field) { from[k] = begin; to[k] = i; }
      if (field === last) return;
      field += 1;
      begin = i + 1;
    }
  }

  function trim(bytes, k) {
    while (from[k] < to[k] && (bytes[from[k]] === SPACE || bytes[from[k]] === TAB || bytes[from[k]] === QUOTE)) from[k] += 1;
    while (to[k] > from[k] && (bytes[to[k] - 1] === SPACE || bytes[to[k] - 1] === TAB || bytes[to[k] - 1] === QUOTE)) to[k] -= 1;
  }

  const cellText = (bytes, k) => (from[k] < 0 ? '' : text.decode(bytes.subarray(from[k], to[k])));

  function readCell(bytes, k) {
    if (from[k] < 0) return NaN;
    trim(bytes, k);
    const value = readPlain(bytes, from[k], to[k], mark);
    if (!Number.isNaN(value)) return value;
    const slow = parseNumber(cellText(bytes, k), head.decimal);
    return slow === null ? NaN : slow;
  }

  function drop(bytes, k, why) {
    state.dropped += 1;
    state.firstBad ??= { line: state.line, column: (k === 0 ? chosen.time : chosen.pressure).header, text: cellText(bytes, k), why };
  }

  function row(bytes, start, end) {
    state.line += 1;
    if (state.line <= head.first) return;
    let i = start;
    while (i < end && (bytes[i] === SPACE || bytes[i] === TAB)) i += 1;
    if (i === end) return;
    findCells(bytes, start, end);
    const number = readCell(bytes, 0);
    const t = Number.isNaN(number) ? clock.asClock(cellText(bytes, 0)) : clock.asNumber(number);
    if (!Number.isFinite(t)) return void drop(bytes, 0, 'is no time');
    const p = readCell(bytes, 1) * chosen.pressure.factor;
    if (!Number.isFinite(p)) return void drop(bytes, 1, 'is no number');
    if (t < latest) return void drop(bytes, 0, 'lies before the row above');
    latest = t;
    state.samples += 1;
    take(t, p, other ? readCell(bytes, 2) * other.factor : NaN);
  }

  let rest = new Uint8Array(0);
  let afterCr = false;

  /** Rows that end in these bytes; the beginning of the next one waits. */
  function feed(chunk) {
    let bytes = chunk;
    if (rest.length) {
      bytes = new Uint8Array(rest.length + chunk.length);
      bytes.set(rest);
      bytes.set(chunk, rest.length);
    }
    let start = 0;
    for (let i = rest.length; i < bytes.length; i += 1) {
      const byte = bytes[i];
      if (byte !== LF && byte !== CR) { afterCr = false; continue; }
      if (byte === LF && afterCr) start = i + 1; // the second half of CRLF
      else { row(bytes, start, i); start = i + 1; }
      afterCr = byte === CR;
    }
    rest = bytes.slice(start);
  }

  function finish() {
    if (rest.length) row(rest, 0, rest.length);
    rest = new Uint8Array(0);
  }

  return { feed, finish, state };
}
