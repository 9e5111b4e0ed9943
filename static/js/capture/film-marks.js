// What was marked on a film: the start of cranking and pressures at frames. Pure (marks, event) -> marks, tested in Node.
const SAME_FRAME_S = 0.0005;

/** @returns {{start: {at_s: number, from: 'picture'|'sound', gap_s: number, u_s?: number}|null, pressures: {at_s: number, bar: number, gap_s: number}[]}} */
export const noMarks = () => ({ start: null, pressures: [] });

export function markStart(marks, start) {
  return { ...marks, start };
}

/** A second pressure on a frame takes the place of the first. */
export function markPressure(marks, pressure) {
  const others = marks.pressures.filter((p) => Math.abs(p.at_s - pressure.at_s) > SAME_FRAME_S);
  return { ...marks, pressures: [...others, pressure].sort((a, b) => a.at_s - b.at_s) };
}

export function removePressure(marks, at_s) {
  return { ...marks, pressures: marks.pressures.filter((p) => p.at_s !== at_s) };
}

export const isEnough = (marks) => marks.start !== null && marks.pressures.length >= 2;

/** What is missing, in words for the bottom press; '' when the engine can be asked. */
export function whatIsMissing(marks) {
  if (!marks.start) return 'Mark the start of cranking';
  if (marks.pressures.length < 2) return `Type the pressure on ${2 - marks.pressures.length} more frame${marks.pressures.length === 1 ? '' : 's'}`;
  return '';
}

/** The engine's question. The widest spacing of frames at the marks counts: the rate of a film may vary. */
export function filmQuestion(marks, reading, targets) {
  const gaps = [marks.start, ...marks.pressures].map((mark) => mark.gap_s).filter((gap) => gap > 0);
  return { start_s: marks.start.at_s, start_from: marks.start.from, start_u_s: marks.start.u_s ?? null, marks: marks.pressures.map((p) => [p.at_s, p.bar]),
    frame_s: Math.max(...gaps), reading_resolution_bar: reading.step_bar, display_s: reading.display_s, targets };
}

/** Frames worth keeping as pictures: the start, and the first mark at or above the judged pressure (else the highest). */
export function stillsOf(marks, target_bar) {
  const rising = marks.pressures.filter((p) => p.at_s >= marks.start.at_s);
  const reached = rising.find((p) => p.bar >= target_bar) || [...rising].sort((a, b) => b.bar - a.bar)[0] || marks.pressures[marks.pressures.length - 1];
  return [{ at_s: marks.start.at_s, caption: `Film at ${marks.start.at_s.toFixed(3)} s: start of cranking` },
    { at_s: reached.at_s, caption: `Film at ${reached.at_s.toFixed(3)} s: ${reached.bar} bar` }];
}
