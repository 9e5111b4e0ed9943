// What fits this vehicle and what has been done: look-ups in the catalogue and the folded case, no judgement. Pure.
export const byId = (list, id) => (list || []).find((item) => item.id === id);

function fits(list, value) {
  return !value || !list || list.length === 0 || list.includes(value);
}

export function fitsVehicle(item, vehicle) {
  return fits(item.layouts, vehicle.layout) && fits(item.supplies, vehicle.supply);
}

export function listChecks(catalogue, vehicle) {
  return catalogue.checks.filter((check) => fitsVehicle(check, vehicle)).sort((a, b) => a.order - b.order);
}

export function checkQuantities(check, catalogue, vehicle) {
  return check.quantities.map((id) => byId(catalogue.quantities, id)).filter((q) => q && fitsVehicle(q, vehicle));
}

/** Steps of a check that ask for something this vehicle has. */
export function checkSteps(check, catalogue, vehicle) {
  const allowed = new Set(checkQuantities(check, catalogue, vehicle).map((q) => q.id));
  return check.steps.filter((step) => fitsVehicle(step, vehicle) && (!step.quantity || allowed.has(step.quantity)));
}

/** The retest after a repair measures the same things again: a phase of its own. */
export function phaseOf(checkId) {
  return checkId === 'retest' ? 'after_repair' : 'before';
}

/** Latest standing reading of a quantity in a phase, or null. */
export function latestReading(kase, quantityId, phase = 'before') {
  const found = kase.readings.filter((r) => r.quantity === quantityId && (r.phase || 'before') === phase);
  return found.length ? found[found.length - 1] : null;
}

/**
 * What was measured after the last repair, each beside the same before it.
 * @returns {{quantity: object, before: object|null, after: object}[]} in the catalogue's order
 */
export function compareReadings(kase, catalogue) {
  const stale = new Set(kase.earlier_retests || []);
  return catalogue.quantities.map((quantity) => ({ quantity, before: latestReading(kase, quantity.id), after: latestReading(kase, quantity.id, 'after_repair') }))
    .filter((row) => row.after && !stale.has(row.after.id));
}

export function verdictOf(assessment, readingId) {
  return assessment ? assessment.verdicts.find((v) => v.reading === readingId) || null : null;
}

export function reasonMissing(kase, quantityId, phase = 'before') {
  const found = kase.not_measured.filter((m) => m.quantity === quantityId && (m.phase || 'before') === phase);
  return found.length ? found[found.length - 1].reason : null;
}

export function isTicked(kase, checkId, stepId) {
  return kase.steps[`${checkId}/${stepId}`] === true;
}

/** One line a quantity: what stands in the log for it. */
export function quantityRows(check, catalogue, kase, assessment) {
  return checkQuantities(check, catalogue, kase.vehicle).map((quantity) => {
    const reading = latestReading(kase, quantity.id, phaseOf(check.id));
    const missing = reading ? null : reasonMissing(kase, quantity.id, phaseOf(check.id));
    return { quantity, reading, verdict: reading ? verdictOf(assessment, reading.id) : null, missing };
  });
}

/** @returns {{done: number, total: number, status: 'done'|'part'|'none'|'given_up'}} */
export function checkProgress(check, catalogue, kase, assessment = null) {
  const unasked = unaskedQuantities(check, catalogue, kase, assessment);
  const rows = quantityRows(check, catalogue, kase, null).filter((row) => !unasked.includes(row.quantity.id));
  if (rows.length === 0) return stepProgress(check, catalogue, kase);
  const done = rows.filter((row) => row.reading).length;
  const settled = rows.filter((row) => row.reading || row.missing !== null).length;
  if (settled === rows.length) return { done, total: rows.length, status: done === 0 ? 'given_up' : 'done' };
  return { done, total: rows.length, status: settled > 0 ? 'part' : 'none' };
}

function stepProgress(check, catalogue, kase) {
  const steps = checkSteps(check, catalogue, kase.vehicle);
  const done = steps.filter((step) => isTicked(kase, check.id, step.id)).length;
  const status = done === steps.length ? 'done' : done > 0 ? 'part' : 'none';
  return { done, total: steps.length, status };
}

/** Cautions of a check that must be read and confirmed, and have not been in this case. */
export function unreadCautions(check, catalogue, kase) {
  return check.cautions.map((id) => byId(catalogue.cautions, id))
    .filter((c) => c && c.acknowledge && !kase.cautions.some((seen) => seen.caution === c.id && seen.check === check.id));
}

/**
 * Readings of a check that the engine does not ask for now: they would tell too little for their minutes, or cannot be had.
 * A check that it does not name, and of which nothing is read, is somebody's own choice: all of it is asked for.
 */
export function unaskedQuantities(check, catalogue, kase, assessment) {
  const rows = quantityRows(check, catalogue, kase, null);
  const asked = assessment ? assessment.next.find((n) => n.check === check.id) : null;
  if (!assessment || phaseOf(check.id) !== 'before' || (!asked && !rows.some((row) => row.reading))) return [];
  return rows.filter((row) => !row.reading && row.missing === null && !(asked && asked.quantities.includes(row.quantity.id)))
    .map((row) => row.quantity.id);
}

/** What is to be done next inside a check: a step, a quantity without a step, or nothing more. */
export function nextInCheck(check, catalogue, kase, assessment = null) {
  const rows = quantityRows(check, catalogue, kase, null);
  const unasked = unaskedQuantities(check, catalogue, kase, assessment);
  const isSettled = (id) => unasked.includes(id) || rows.some((row) => row.quantity.id === id && (row.reading || row.missing !== null));
  const step = checkSteps(check, catalogue, kase.vehicle)
    .find((s) => (s.quantity ? !isSettled(s.quantity) : !isTicked(kase, check.id, s.id)));
  if (step) return { kind: step.quantity ? (step.timer ? 'timer' : 'reading') : 'step', step, quantity: step.quantity };
  const row = rows.find((r) => !isSettled(r.quantity.id));
  return row ? { kind: 'reading', step: null, quantity: row.quantity.id } : { kind: 'done', step: null, quantity: null };
}

/** The best next check that the engine names and this phone can show; null when there is none. */
export function nextCheck(assessment, catalogue, exceptId = null) {
  const found = assessment ? assessment.next.find((n) => n.check !== exceptId && byId(catalogue.checks, n.check)) : null;
  return found ? { ...found, name: found.name || byId(catalogue.checks, found.check).name } : null;
}

/** Name of the layout to take when the person does not know: what the library marks as safe, else the first. */
export function safeDefault(list) {
  const marked = list.find((item) => item.safe_default);
  return (marked || list[0]).id;
}

/** A profile's limit of a quantity; a profile of the workshop holds only what differs from its base. */
function profileRow(catalogue, id, quantityId) {
  const profile = byId(catalogue.profiles, id) || catalogue.profiles[0];
  const row = profile.limits.find((l) => l.quantity === quantityId) || null;
  return row || !profile.base ? row : profileRow(catalogue, profile.base, quantityId);
}

/** The library's catalogue with what the workshop has of its own; without that it is the library's alone. */
export function withLimits(catalogue, own) {
  const { profiles = [], weights = [], instruments = [] } = own || {};
  const offered = (id) => instruments.filter((i) => !i.retired && i.quantities.includes(id)).map((i) => i.id);
  return { ...catalogue, weights, profiles: [...catalogue.profiles.filter((p) => !p.base), ...profiles],
    instruments: [...catalogue.instruments, ...instruments],
    quantities: catalogue.quantities.map((q) => ({ ...q, instruments: [...q.instruments, ...offered(q.id)] })) };
}

/** What a job may be judged under: the library's limits, the newest version of each own profile, and the one in use. */
export function listProfiles(catalogue, inUse) {
  const newest = (p) => !catalogue.profiles.some((o) => o.profile === p.profile && o.version > p.version);
  return catalogue.profiles.filter((p) => !p.base || newest(p) || p.id === inUse);
}

/** The limits of a new job until somebody chooses: the workshop's own for all its work, where it has any. */
export function usualProfile(catalogue) {
  return listProfiles(catalogue).find((p) => p.kind === 'workshop') || catalogue.profiles[0];
}

export const profileName = (profile) => (profile.base ? `${profile.name}, version ${profile.version}` : profile.name);

/** Lower limit of a quantity for this case, as text for the screen: the case's own over the profile's. */
export function limitFor(catalogue, kase, quantityId) {
  const limits = kase.limits || {};
  const row = profileRow(catalogue, limits.profile || 'generic', quantityId);
  const own = (limits.overrides || {})[quantityId];
  return row || own ? { ...(row || {}), ...(own || {}) } : null;
}

/**
 * A bare case document from the entries, used only while the engine is not there, so that recording can go on.
 * No verdict, no ledger, and a screen that shows it says so.
 */
export function roughCase(entries) {
  const sorted = [...entries].sort((a, b) => a.clock - b.clock || (a.id < b.id ? -1 : 1));
  const rough = { vehicle: {}, complaints: [], codes: [], limits: {}, readings: [], voided: [], steps: {}, not_measured: [],
    notes: [], photos: [], rises: [], cautions: [], state: 'open', rough: true };
  for (const { id, kind, body, at, by } of sorted) {
    if (kind === 'vehicle_set') Object.assign(rough.vehicle, body);
    if (kind === 'complaint_set') rough.complaints = body.complaints;
    if (kind === 'codes_set') rough.codes = body.codes;
    if (kind === 'reading_taken') rough.readings.push({ id, at, by, ...body });
    if (kind === 'reading_voided') rough.readings = rough.readings.filter((r) => r.id !== body.reading);
    if (kind === 'step_ticked') rough.steps[`${body.check}/${body.step}`] = body.ticked;
    if (kind === 'not_measured') rough.not_measured.push(body);
    if (kind === 'note_added') rough.notes.push({ entry: id, at, by, ...body });
    if (kind === 'photo_added') rough.photos.push({ entry: id, at, by, ...body });
    if (kind === 'rise_recorded') rough.rises.push({ entry: id, at, by, ...body });
    if (kind === 'caution_acknowledged') rough.cautions.push({ entry: id, at, by, ...body });
  }
  return rough;
}
