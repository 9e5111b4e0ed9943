// The result as plain text, for a message or a file. Pure, tested in Node.
import { LEDGER_WORDS, PUMP_WORDS, VERDICT_WORDS, formatReading, formatState, formatWhen } from './format.js';
import { byId, compareReadings, verdictOf } from './plan.js';

function readingLine(reading, catalogue, assessment) {
  const quantity = byId(catalogue.quantities, reading.quantity);
  const verdict = verdictOf(assessment, reading.id);
  const name = quantity ? quantity.name : reading.quantity;
  const after = reading.phase === 'after_repair' ? ' (after the repair)' : '';
  const judged = verdict ? `: ${VERDICT_WORDS[verdict.verdict].toLowerCase()}${verdict.close ? ', close' : ''} (${verdict.limit_text || ''})` : '';
  return `- ${name}${after} ${formatReading(reading, quantity)}${judged}`;
}

/** Who answers for naming the pump, that nobody does, and how the repair stands: each only where there is something to say. */
function standingLines(assessment, nameOf) {
  const { pump, retest } = assessment;
  const override = pump.override ? `The pump was named all the same by ${nameOf(pump.override.by)}, ${formatWhen(pump.override.at)}: ${pump.override.reason}` : '';
  return [PUMP_WORDS[pump.status] + '.', pump.warning || override, retest && retest.status !== 'not_due' ? retest.text : ''].filter(Boolean);
}

function comparisonLines(kase, catalogue) {
  const rows = compareReadings(kase, catalogue);
  const say = (reading, quantity) => (reading ? formatReading(reading, quantity) : 'not measured');
  return rows.length ? ['Before and after the repair', ...rows.map((r) => `- ${r.quantity.name}: ${say(r.before, r.quantity)} before, ${say(r.after, r.quantity)} after`), ''] : [];
}

/** The sentence on top: what was concluded, else what can be said. */
export function mainSentence(kase, assessment) {
  if (kase.concluded && kase.concluded.text) return kase.concluded.text;
  if (assessment && assessment.conclusion) return assessment.conclusion.text;
  return 'Not concluded. What is still open is listed below.';
}

export const DOES_NOT_SAY = [
  'It judges only what was measured and entered here, with the limits named. Limits marked as common practice or judgement are starting values; the vehicle maker’s figures come first.',
  'It knows two pairs of faults that go together. Any other two at once can look like a third.',
  'It is no safety inspection and says nothing about parts that were not tested.',
];

/** @param {(id: string) => string} nameOf a person's name @returns {string} */
export function resultText(kase, assessment, catalogue, nameOf = () => 'the technician') {
  const { vehicle } = kase;
  const head = ['Rail pressure diagnosis', [vehicle.description, vehicle.registration].filter(Boolean).join(', ') || 'Vehicle without a name',
    `State: ${formatState(kase.state, assessment && assessment.retest)}`, `As of ${formatWhen(kase.updated_at)}`, '', mainSentence(kase, assessment), ''];
  const ledger = assessment ? [...standingLines(assessment, nameOf), '', 'Ledger', ...assessment.ledger.map((row) => `- ${row.name}: ${LEDGER_WORDS[row.status].toLowerCase()}`), ''] : [];
  const readings = ['Readings', ...kase.readings.map((r) => readingLine(r, catalogue, assessment)), ''];
  const missing = kase.not_measured.length ? ['Could not be measured', ...kase.not_measured.map((m) => `- ${(byId(catalogue.quantities, m.quantity) || { name: m.quantity }).name}: ${m.reason}`), ''] : [];
  const repairs = (kase.repairs || []).length ? ['Repairs', ...kase.repairs.map((r) => `- ${r.text}`), ''] : [];
  return [...head, ...ledger, ...comparisonLines(kase, catalogue), ...readings, ...missing, ...repairs, 'What this does not say', ...DOES_NOT_SAY.map((t) => `- ${t}`), ''].join('\n');
}
