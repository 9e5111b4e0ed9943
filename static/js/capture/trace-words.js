// Names and units of the columns of a recorded trace, by the rules of webapp/library/trace_columns.json. Pure, tested in Node.

/** A refusal that a person can act upon; `columns` lets them choose by hand. */
export class TraceProblem extends Error {
  constructor(code, text, columns = []) {
    super(text);
    Object.assign(this, { code, columns });
  }
}

/** @returns {[string, number]|null} dimension and factor to the engine's unit */
export function lookUpUnit(text, rules) {
  const written = text.trim();
  const plain = written.replace(/[\u00b5\u03bc]/g, 'u');
  return rules.units[written] || rules.units[plain] || rules.units[plain.toLowerCase()] || null;
}

export function plainWords(text) {
  return text.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, ' ').trim();
}

function holds(name, words) {
  return ` ${name} `.includes(` ${words} `);
}

/** @returns {{name: string, unit: string}} unit '' when the header names none that is known */
export function splitHeader(header, rules) {
  const bracketed = header.match(/^(.*)[([]([^()[\]]*)[)\]]\s*$/);
  const last = header.match(/^(.*)[\s_]([^\s_]+)$/);
  const slashed = header.match(/^(.*?[^/])\/([^/]+(?:\/[^/]+)?)$/);
  if (bracketed && lookUpUnit(bracketed[2], rules)) return { name: bracketed[1].trim(), unit: bracketed[2].trim() };
  if (last && !rules.not_bare.includes(last[2]) && lookUpUnit(last[2], rules)) return { name: last[1].trim(), unit: last[2] };
  const tail = header.slice(header.lastIndexOf('/') + 1);
  if (slashed && lookUpUnit(tail, rules)) return { name: header.slice(0, header.lastIndexOf('/')).trim(), unit: tail.trim() };
  return { name: header.trim(), unit: '' };
}

/** @returns {{index: number, header: string, name: string, unit: string, dimension: string|null, factor: number}[]} */
export function describeColumns(headers, units, rules) {
  return headers.map((header, index) => {
    const own = splitHeader(header, rules);
    const given = (units[index] || '').replace(/^[([]|[)\]]$/g, '').trim();
    const unit = given && lookUpUnit(given, rules) ? given : own.unit;
    const found = unit ? lookUpUnit(unit, rules) : null;
    return { index, header: header.trim() || `column ${index + 1}`, name: own.name, unit, dimension: found ? found[0] : null, factor: found ? found[1] : 1 };
  });
}

function rankOf(column, role) {
  const name = plainWords(column.name);
  if (role.never.some((word) => holds(name, word))) return null;
  const at = role.words.findIndex((word) => holds(name, word));
  if (column.dimension !== null && column.dimension !== role.dimension) return null;
  if (at >= 0) return at;
  return column.dimension === role.dimension && role.by_unit_alone ? role.words.length : null;
}

/** The column of a role, null when there is none. Refuses two that are equally good, but for time. */
export function findRole(columns, roleName, rules, taken = []) {
  const role = rules.roles[roleName];
  const ranked = columns.filter((c) => !taken.includes(c.index)).map((column) => ({ column, rank: rankOf(column, role) })).filter((r) => r.rank !== null);
  if (ranked.length === 0) return null;
  const best = Math.min(...ranked.map((r) => r.rank));
  const equal = ranked.filter((r) => r.rank === best).map((r) => r.column);
  if (equal.length > 1 && roleName !== 'time') {
    const names = equal.map((c) => `'${c.header}'`).join(' and ');
    throw new TraceProblem('ambiguous', `The columns ${names} both look like the ${roleName}. Choose one.`, columns);
  }
  return equal[0];
}

/** A column named by hand: its header, its name without the unit, or its number from 1. */
export function findNamed(columns, wanted, what) {
  const text = String(wanted).trim().toLowerCase();
  const found = columns.find((c) => c.header.toLowerCase() === text || c.name.toLowerCase() === text) || columns[Number(text) - 1];
  if (!found) throw new TraceProblem('unknown_column', `There is no column '${wanted}' for the ${what}; there are ${listColumns(columns)}.`, columns);
  return found;
}

export function listColumns(columns) {
  return columns.map((c) => `'${c.header}'`).join(', ');
}
