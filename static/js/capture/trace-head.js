// The head of a recorded trace: its coding, separator, header and columns, by the rules of trace_columns.json. Pure.
import { TraceProblem, describeColumns, findNamed, findRole, listColumns, lookUpUnit } from './trace-words.js';

const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/;
const CLOCK = /^(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ]\s*)?(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?\s*(?:Z|UTC|[+-]\d{2}:?\d{2})?$/i;

/** @param {Uint8Array} head @returns {{label: string, skip: number}} for TextDecoder, and bytes of the mark to skip */
export function findCoding(head) {
  if (head[0] === 0xff && head[1] === 0xfe) return { label: 'utf-16le', skip: 2 };
  if (head[0] === 0xfe && head[1] === 0xff) return { label: 'utf-16be', skip: 2 };
  const skip = head[0] === 0xef && head[1] === 0xbb && head[2] === 0xbf ? 3 : 0;
  try {
    new TextDecoder('utf-8', { fatal: true }).decode(head, { stream: true }); // the head may end inside a letter
    return { label: 'utf-8', skip };
  } catch {
    return { label: 'latin1', skip: 0 };
  }
}

export function parseNumber(text, decimal) {
  const plain = decimal === ',' ? text.replace(',', '.') : text;
  return (decimal === ',' && text.includes('.')) || !NUMBER.test(plain) ? null : Number(plain);
}

/** Seconds of the day, or null. */
export function parseClock(text) {
  const found = text.match(CLOCK);
  if (!found) return null;
  return Number(found[1]) * 3600 + Number(found[2]) * 60 + Number((found[3] || '0').replace(',', '.'));
}

function bare(text) {
  const trimmed = text.trim();
  return trimmed.length > 1 && trimmed.startsWith('"') && trimmed.endsWith('"') ? trimmed.slice(1, -1).trim() : trimmed;
}

export function splitFields(line, separator) {
  if (!line.includes('"')) return line.split(separator).map((f) => f.trim());
  const fields = [''];
  let quoted = false;
  for (const char of line) {
    if (char === '"') quoted = !quoted;
    if (char === separator && !quoted) fields.push('');
    else fields[fields.length - 1] += char;
  }
  return fields.map(bare);
}

function isDataLine(line, [separator, decimal], rules) {
  const fields = splitFields(line, separator);
  const full = fields.filter((f) => f !== '');
  if (fields.length < 2 || full.length < 2) return false;
  let numbers = 0;
  for (const field of full) {
    if (parseNumber(field, decimal) !== null) numbers += 1;
    else if (parseClock(field) === null && !rules.missing.includes(field.toLowerCase())) return false;
  }
  return numbers > 0;
}

function choosePair(lines, rules) {
  let best = { count: 0 };
  for (const pair of rules.marks) {
    const data = lines.map((line) => isDataLine(line, pair, rules));
    const count = data.filter(Boolean).length;
    if (count > best.count) best = { pair, data, count };
  }
  if (best.count === 0) throw new TraceProblem('no_rows', 'This file has no row of numbers in its first lines. Choose a CSV file that a logger or oscilloscope wrote.');
  return best;
}

function isUnitsOnly(fields, rules) {
  const known = fields.filter((f) => f !== '' && f !== '-');
  return known.length > 0 && known.every((f) => lookUpUnit(f.replace(/^[([]|[)\]]$/g, ''), rules));
}

function findHeaders(lines, first, [separator], data, rules) {
  const above = [];
  for (let i = first - 1; i >= 0 && above.length < 2; i -= 1) {
    if (lines[i].trim() === '') continue;
    const fields = splitFields(lines[i].replace(/^\s*[#%]\s*/, ''), separator);
    if (data[i] || fields.length < 2) break;
    above.push(fields);
  }
  if (above.length === 2 && isUnitsOnly(above[0], rules)) return { headers: above[1], units: above[0] };
  return { headers: above[0] || [], units: [] };
}

/** What the lines of the head say: marks, where the data begins, and the columns. */
export function readHead(lines, rules) {
  if (lines.every((line) => line.trim() === '')) throw new TraceProblem('empty', 'This file is empty. Choose another one.');
  const { pair, data } = choosePair(lines, rules);
  const pairAt = data.findIndex((is, i) => is && data[i + 1]);
  const first = pairAt >= 0 ? pairAt : data.indexOf(true);
  const { headers, units } = findHeaders(lines, first, pair, data, rules);
  const example = splitFields(lines[first], pair[0]);
  const names = example.map((_, i) => headers[i] || '');
  const columns = describeColumns(names, units, rules).map((column) => ({ ...column, example: example[column.index] }));
  return { separator: pair[0], decimal: pair[1], first, columns };
}

function withUnit(column, unit, dimension, rules, columns) {
  if (!unit) return column;
  const found = lookUpUnit(unit, rules);
  if (!found || found[0] !== dimension) throw new TraceProblem('unknown_unit', `'${unit}' is no unit of ${dimension} that is known here.`, columns);
  return { ...column, unit, dimension, factor: found[1] };
}

function choosePressure(columns, time, options, rules) {
  const roleName = options.sensor ? 'sensor' : 'pressure';
  const column = options.pressure ? findNamed(columns, options.pressure, 'pressure') : findRole(columns, roleName, rules, [time.index]);
  if (!column) throw new TraceProblem('no_pressure', `No column looks like the rail pressure. The file has ${listColumns(columns)}. Choose one.`, columns);
  if (options.sensor) return column.dimension === 'voltage' ? column : { ...column, factor: 1 };
  const known = withUnit(column, options.pressure_unit, 'pressure', rules, columns);
  if (known.dimension !== 'pressure') {
    const why = known.dimension === 'voltage' ? 'is in volts; say what the sensor gives at two pressures, or choose another column' : 'has no unit of pressure; choose its unit';
    throw new TraceProblem(known.dimension === 'voltage' ? 'needs_sensor' : 'no_unit', `The column '${column.header}' ${why}.`, columns);
  }
  return known;
}

/**
 * Which column is what.
 * @param {{time?: string, pressure?: string, time_unit?: string, pressure_unit?: string, sensor?: number[][]}} options by hand
 * @returns {{time: object, pressure: object, battery: object|null, current: object|null, warnings: string[]}}
 */
export function chooseColumns(columns, options, rules) {
  const named = options.time ? findNamed(columns, options.time, 'time') : findRole(columns, 'time', rules);
  if (!named) throw new TraceProblem('no_time', `No column looks like the time. The file has ${listColumns(columns)}. Choose one.`, columns);
  const time = withUnit(named, options.time_unit, 'time', rules, columns);
  const pressure = choosePressure(columns, time, options, rules);
  const others = [time.index, pressure.index];
  const battery = findRole(columns, 'battery', rules, others);
  const current = battery ? null : findRole(columns, 'current', rules, others);
  return { time, pressure, battery, current, clocked: parseClock(time.example) !== null };
}
