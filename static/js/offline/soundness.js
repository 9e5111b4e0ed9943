// Is a record of the phone's log whole? One that is not is set aside and named; the rest of the log goes on. This asks
// only for the outer shape that the lists and the sync need: what an entry says is the engine's to judge.

function isObject(value) {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

const areText = (record, ...keys) => keys.every((key) => typeof record[key] === 'string');

export function isEntry(record) {
  return isObject(record) && areText(record, 'id', 'case', 'device', 'at', 'by', 'kind') && isObject(record.body)
    && Number.isFinite(record.seq) && Number.isFinite(record.clock);
}

export function isRow(record) {
  return isObject(record) && areText(record, 'id', 'label', 'registration', 'state', 'opened_at', 'updated_at')
    && Number.isFinite(record.clock) && Number.isFinite(record.entries) && isObject(record.stamps);
}

export function isOutboxRow(record) {
  return isObject(record) && areText(record, 'id', 'case') && Number.isFinite(record.seq)
    && (record.problems === null || (Array.isArray(record.problems) && record.problems.every(isObject)));
}

/** @param {unknown[]} records @returns {{sound: any[], bad: any[]}} */
export function part(records, isSound) {
  return { sound: records.filter(isSound), bad: records.filter((record) => !isSound(record)) };
}
