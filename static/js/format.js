// How values, limits, times and counts are printed. Words only; no rule and no judgement lives here.
export const VERDICT_WORDS = { pass: 'Within limits', fail: 'Outside limits', unclear: 'Unclear' };
export const LEDGER_WORDS = { ruled_out: 'Ruled out', open: 'Still open', points_here: 'Points here', locked: 'Locked' };
export const STATE_WORDS = { open: 'Open', concluded: 'Concluded', repaired: 'Repaired, test again', confirmed: 'Confirmed' };
const RETEST_WORDS = { passed: 'Repaired, retest passed', failed: 'Repaired, retest failed', unclear: 'Repaired, retest unclear' };
export const PUMP_WORDS = {
  cleared: 'The pump is cleared', open: 'The pump is not yet answered', suspected: 'The pump is suspected, not proven',
  condemned: 'The evidence says: the pump',
};
/** The state of a case in words; after a repair they say how the retest went. @param {{status: string}|null} retest */
export function formatState(state, retest = null) {
  return (state === 'repaired' && retest && RETEST_WORDS[retest.status]) || STATE_WORDS[state];
}

const MINUS = '\u2212';
const NO_BREAK = '\u00a0';

/** @param {number|null|undefined} value @param {number|null} decimals null = as it is, at most four significant */
export function formatNumber(value, decimals = null) {
  if (typeof value !== 'number' || !Number.isFinite(value)) return '–';
  const text = decimals === null ? String(Number(value.toPrecision(4))) : value.toFixed(decimals);
  const isZero = Number(text) === 0;
  return text.startsWith('-') ? (isZero ? text.slice(1) : MINUS + text.slice(1)) : text;
}

export function formatQuantity(value, unit, decimals = null) {
  const number = formatNumber(value, decimals);
  return unit ? number + NO_BREAK + unit : number;
}

/** Enough digits that a typed number is printed as typed, and no noise digits of a conversion. */
export function formatTyped(value, unit) {
  return formatQuantity(Number(Number(value).toPrecision(6)), unit, countDecimals(value));
}

function countDecimals(value) {
  const text = String(Number(Number(value).toPrecision(6)));
  return text.includes('.') ? text.split('.')[1].length : 0;
}

/**
 * "at least 285 bar", "60 to 100 bar", "at most 1.5 s", or '' when there is no limit. One that follows another reading has
 * digits that mean nothing: with `decimals` of the quantity none are shown past one more than those, and never more than three.
 */
export function formatLimits(low, high, unit, decimals = 2) {
  const has = (x) => typeof x === 'number';
  const shown = (x, itsUnit) => formatTyped(Number(x.toFixed(Math.min(decimals + 1, 3))), itsUnit);
  if (has(low) && has(high)) return `${shown(low)} to ${shown(high, unit)}`;
  if (has(low)) return `at least ${shown(low, unit)}`;
  if (has(high)) return `at most ${shown(high, unit)}`;
  return '';
}

function nameOf(choices, id) {
  const found = (choices || []).find((choice) => choice.id === id);
  return found ? found.name : String(id);
}

/** The value of a reading as a person would say it. @param {object} quantity row of the catalogue, or undefined */
export function formatReading(reading, quantity) {
  const { value, unit } = reading;
  const shown = unit || (quantity && quantity.unit) || '';
  if (Array.isArray(value)) return value.map((v) => formatTyped(v)).join(' · ') + (shown ? NO_BREAK + shown : '');
  if (typeof value === 'number') return formatTyped(value, shown);
  return nameOf(quantity && quantity.choices, value);
}

/** A typed text as a number, or null when it is not one yet. Comma and point both work. */
export function parseTyped(text) {
  const plain = String(text).trim().replace(',', '.').replace(MINUS, '-');
  return /^-?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : null;
}

/** One press on the pad. @param {string} key '0'-'9', '.', '-', 'back' */
export function pressKey(text, key) {
  if (key === 'back') return text.slice(0, -1);
  if (key === '-') return text.startsWith('-') ? text.slice(1) : `-${text}`;
  if (key === '.') return text.includes('.') ? text : `${text === '' || text === '-' ? `${text}0` : text}.`;
  if (text.replace(/[-.]/g, '').length >= 8) return text;
  return (text === '0' ? '' : text === '-0' ? '-' : text) + key;
}

const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

/** "24 Nov 2026, 14:05" in the phone's own time. */
export function formatWhen(iso) {
  const date = new Date(iso);
  if (Number.isNaN(date.getTime())) return '';
  const two = (n) => String(n).padStart(2, '0');
  return `${date.getDate()} ${MONTHS[date.getMonth()]} ${date.getFullYear()}, ${two(date.getHours())}:${two(date.getMinutes())}`;
}

export function formatCount(n, one, many = `${one}s`) {
  return `${n} ${n === 1 ? one : many}`;
}

/** Never 0 % or 100 % for what is not certain. */
export function formatChance(p) {
  const percent = Math.round(p * 100);
  if (percent >= 100) return 'over 99 %';
  if (percent <= 0) return 'under 1 %';
  return `${percent}${NO_BREAK}%`;
}

/** What a case is called in a list when nobody named it. */
export function caseTitle(row) {
  return row.label || row.registration || 'Vehicle without a name';
}
