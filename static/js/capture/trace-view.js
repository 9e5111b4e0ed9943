// Which stretch of a curve is looked at: pure steps on [from, to] in seconds, kept inside the whole. Tested in Node.
const CLOSEST_S = 0.02;

function fit(from, to, whole) {
  const width = Math.min(Math.max(to - from, CLOSEST_S), whole[1] - whole[0]);
  const start = Math.min(Math.max((from + to - width) / 2, whole[0]), whole[1] - width);
  return [start, start + width];
}

/** @param {number} factor under 1 = closer @param {number} at_s the moment that stays where it is */
export function zoomBy(view, factor, at_s, whole) {
  return fit(at_s + (view[0] - at_s) * factor, at_s + (view[1] - at_s) * factor, whole);
}

/** @param {number} share of what is seen, to the right when positive */
export function panBy(view, share, whole) {
  const step = (view[1] - view[0]) * share;
  return fit(view[0] + step, view[1] + step, whole);
}

/**
 * Two fingers, or one: what was under each when it came down stays under it.
 * @param {number[]} was shares of the width (0 left, 1 right) at the start @param {number[]} now the same fingers now
 */
export function dragTo(view, was, now, whole) {
  const width = view[1] - view[0];
  const under = (share) => view[0] + share * width;
  if (was.length < 2) return fit(view[0] - (now[0] - was[0]) * width, view[1] - (now[0] - was[0]) * width, whole);
  const spread = now[1] - now[0];
  if (Math.abs(spread) < 0.01 || (was[1] - was[0]) * spread < 0) return view;
  const next = (width * (was[1] - was[0])) / spread;
  const from = under(was[0]) - now[0] * next;
  return fit(from, from + next, whole);
}

/** The stretch to begin with: a little before the start to a little after the last thing worth seeing. */
export function firstView(whole, start_s, until_s) {
  const after = until_s === null ? whole[1] - start_s : Math.max((until_s - start_s) * 2, 0.5);
  return fit(start_s - 0.25 * after, start_s + after, whole);
}
