// Naming the pump on one's own responsibility: who may, what must be written, and what is signed. Pure, tested in Node.
// What the evidence says of the pump is the engine's word and stays as it is.
export const PUMP_FAULT = 'pump_worn';
export const LEAST_REASON = 20;

/** Signing, confirming and opening again: the server refuses them from an apprentice, so they are not offered. */
export const mayDecide = (person) => person.role !== 'apprentice';

/** Is naming the pump without proof offered? It must be the first suspect, and the person no apprentice. */
export function mayNamePump(person, assessment) {
  if (!assessment || assessment.conclusion || !mayDecide(person)) return false;
  const first = assessment.suspects[0];
  return Boolean(first) && first.fault === PUMP_FAULT && assessment.pump.status !== 'condemned' && !assessment.pump.override;
}

/** How many characters the reason still lacks; spaces around it do not count. */
export function reasonLacks(text) {
  return Math.max(LEAST_REASON - text.trim().replace(/\s+/g, ' ').length, 0);
}

/**
 * What is signed as the conclusion: the words, and what the engine said at that moment.
 * @param {string|null} named fault that a person names where the engine concludes nothing
 */
export function conclusionBody(text, assessment, named = null) {
  const body = { text, fault: assessment && assessment.conclusion ? assessment.conclusion.fault : named };
  if (!assessment) return body;
  return { ...body, engine: assessment.engine, limits: assessment.limits, pump: assessment.pump.status,
    verdicts: assessment.verdicts.map((v) => ({ reading: v.reading, verdict: v.verdict })) };
}

/** What the customer should read when the pump is named short of proof. */
export function namedPumpText(missing) {
  const open = missing.length ? ` Not measured: ${missing.join(', ')}.` : '';
  return `High-pressure pump worn, on the technician’s own judgement.${open}`;
}
