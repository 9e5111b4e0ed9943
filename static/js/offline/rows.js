// Pure pieces of the phone's log: ids, the row of a case in the list, what to send and what to do with the answer.
// Nothing here judges or folds a case: that is the engine's work. A row only carries what the list prints.

/** A version 7 UUID: milliseconds first, so ids sort by the time they were made. */
export function uuid7(nowMs, random = crypto.getRandomValues(new Uint8Array(10))) {
  const bytes = new Uint8Array(16);
  let left = nowMs;
  for (let i = 5; i >= 0; i -= 1) {
    bytes[i] = left % 256;
    left = Math.floor(left / 256);
  }
  bytes.set(random, 6);
  bytes[6] = 0x70 | (bytes[6] & 0x0f);
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('');
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

export function emptyRow(caseId) {
  return { id: caseId, label: '', registration: '', state: 'open', opened_at: '', updated_at: '', clock: 0, entries: 0,
    stamps: {} };
}

const STATE_AFTER = { case_opened: 'open', reopened: 'open', concluded: 'concluded', repair_recorded: 'repaired',
  outcome_confirmed: 'confirmed' };

function isLater(stamp, other) {
  if (!other) return true;
  return stamp[0] !== other[0] ? stamp[0] > other[0] : stamp[1] > other[1];
}

function takeField(row, field, value, stamp) {
  if (value === undefined || !isLater(stamp, row.stamps[field])) return row;
  return { ...row, [field]: value, stamps: { ...row.stamps, [field]: stamp } };
}

const ASKED = 1;
const ANSWERED = 2;

/** Questions by id, asked and answered in whatever order that came. */
function takeComment(row, { id, body }) {
  const about = body.question ? id : body.answers;
  if (!about) return row;
  const known = row.questions || {};
  return { ...row, questions: { ...known, [about]: known[about] | (body.question ? ASKED : ANSWERED) } };
}

export function countQuestions(row) {
  return Object.values(row.questions || {}).filter((known) => known === ASKED).length;
}

/**
 * The row after one more entry. The order in which entries come makes no difference: every field goes to the greatest
 * (clock, id), as in the engine's fold. Call it once per entry id.
 */
export function addToRow(row, entry) {
  const stamp = [entry.clock, entry.id];
  let next = { ...row, entries: row.entries + 1, clock: Math.max(row.clock, entry.clock) };
  if (entry.kind === 'case_opened') next.opened_at = entry.at;
  if (entry.kind === 'vehicle_set') {
    next = takeField(next, 'label', entry.body.description, stamp);
    next = takeField(next, 'registration', entry.body.registration, stamp);
  }
  if (entry.kind === 'job_assigned') next = takeField(next, 'job', entry.body.to, stamp);
  if (entry.kind === 'job_seen') next = takeField(next, 'job', '', stamp);
  if (entry.kind === 'merged_into') next = takeField(next, 'duplicate', Boolean(entry.body.target), stamp);
  if (entry.kind === 'comment_added') next = takeComment(next, entry);
  next = takeField(next, 'state', STATE_AFTER[entry.kind], stamp);
  return takeField(next, 'updated_at', entry.at, stamp);
}

/** Open cases first, duplicates of others last, then the one touched last. */
export function sortRows(rows) {
  const rank = { open: 0, repaired: 1, concluded: 2, confirmed: 3 };
  const place = (row) => (row.duplicate ? 4 : rank[row.state]);
  return [...rows].sort((a, b) => (place(a) - place(b))
    || (a.updated_at < b.updated_at ? 1 : a.updated_at > b.updated_at ? -1 : a.id < b.id ? 1 : -1));
}

const MOST_ENTRIES = 200;
const MOST_CHARS = 1_500_000; // the server takes 2 MB; a character of an entry is at most a few bytes, nearly always one

/** The outbox rows to send now: in the order they were made, refused ones stay behind, at most `limit`. */
export function planBatch(outbox, limit = MOST_ENTRIES) {
  return outbox.filter((row) => row.problems === null).sort((a, b) => a.seq - b.seq).slice(0, limit);
}

/** As many of the entries, from the first, as one message holds; always one. */
export function fitMessage(entries, most = MOST_CHARS) {
  let size = 0;
  const end = entries.findIndex((entry) => {
    size += JSON.stringify(entry).length;
    return size > most;
  });
  return end === -1 ? entries : entries.slice(0, Math.max(1, end));
}

/**
 * What the server's answer does to the outbox. An entry leaves it only when the server named it stored or known; a
 * refused one keeps its place with the reasons; one that was not named at all is simply sent again.
 * @returns {{drop: string[], refuse: {id: string, problems: object[]}[], stored: number}} stored: how many the server did not have
 */
export function readResults(results) {
  const drop = results.filter((r) => r.status === 'stored' || r.status === 'known').map((r) => r.id);
  const refuse = results.filter((r) => r.status === 'refused')
    .map((r) => ({ id: r.id, problems: r.problems && r.problems.length ? r.problems : [{ code: 'refused', field: '', text: 'The server gave no reason.' }] }));
  return { drop, refuse, stored: results.filter((r) => r.status === 'stored').length };
}

const FIRST_WAIT_S = 4;
const LONGEST_WAIT_S = 300;

/** Seconds until the next try: doubling, capped, with jitter so that phones do not come back all at once. */
export function retryDelay(failures, random = Math.random()) {
  const full = Math.min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** Math.max(0, failures - 1));
  return full * (0.5 + 0.5 * random);
}
