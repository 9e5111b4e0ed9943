// A trace of any length as at most `most` points: single samples while there is room, then buckets of 8, 16, 32 ... samples.
// Memory does not grow. What a bucket holds is said at `read_trace` in webapp/engine/trace.py. Pure, tested in Node.
const FIRST_SIZE = 8; // in fewer samples a single spike cannot be told from what is meant

/** Mean, lowest and highest of values[from, to): bounds that two samples in a row reached, mean of values clipped to them. */
function squeeze(values, from, to) {
  if (to - from === 1) return [values[from], values[from], values[from]];
  let low = Infinity;
  let high = -Infinity;
  for (let i = from + 1; i < to; i += 1) {
    const a = values[i - 1];
    const b = values[i];
    if (a < b) {
      if (b < low) low = b;
      if (a > high) high = a;
    } else {
      if (a < low) low = a;
      if (b > high) high = b;
    }
  }
  if (low > high) [low, high] = [high, low]; // two samples only, or a saw tooth
  let sum = 0;
  for (let i = from; i < to; i += 1) sum += values[i] < low ? low : values[i] > high ? high : values[i];
  return [sum / (to - from), low, high];
}

const meanKnown = (a, b, wa, wb) => (Number.isNaN(a) ? b : Number.isNaN(b) ? a : (a * wa + b * wb) / (wa + wb));

/** @param {number} most points, a multiple of FIRST_SIZE */
export function createBuckets(most) {
  const [t, p, low, high, other, weight] = Array.from({ length: 6 }, () => new Float64Array(most));
  let values = new Float64Array(FIRST_SIZE);
  let used = 0, size = 1, count = 0, times = 0, others = 0, known = 0;

  function put(i, at, [mean, lowest, highest], beside, samples) {
    t[i] = at;
    p[i] = mean;
    low[i] = lowest;
    high[i] = highest;
    other[i] = beside;
    weight[i] = samples;
  }

  function groupSamples() {
    for (let i = 0; i < used / FIRST_SIZE; i += 1) {
      const from = i * FIRST_SIZE;
      let [sum, beside, cells] = [0, 0, 0];
      for (let k = from; k < from + FIRST_SIZE; k += 1) {
        sum += t[k];
        if (!Number.isNaN(other[k])) { beside += other[k]; cells += 1; }
      }
      put(i, sum / FIRST_SIZE, squeeze(p, from, from + FIRST_SIZE), cells ? beside / cells : NaN, FIRST_SIZE);
    }
    used /= FIRST_SIZE;
    size = FIRST_SIZE;
  }

  function mergePairs() {
    for (let i = 0; i < used / 2; i += 1) {
      const a = 2 * i, b = a + 1;
      const bounds = [Math.min(low[a], low[b]), Math.max(high[a], high[b])];
      put(i, meanKnown(t[a], t[b], weight[a], weight[b]), [meanKnown(p[a], p[b], weight[a], weight[b]), ...bounds],
        meanKnown(other[a], other[b], weight[a], weight[b]), weight[a] + weight[b]);
    }
    used /= 2;
    size *= 2;
    values = new Float64Array(size);
  }

  function close() {
    if (count === 0) return;
    put(used, times / count, squeeze(values, 0, count), known ? others / known : NaN, count);
    used += 1;
    count = 0; times = 0; others = 0; known = 0;
    if (used < most) return;
    if (size === 1) groupSamples();
    else mergePairs();
  }

  return {
    take(at, value, beside) {
      values[count] = value;
      count += 1;
      times += at;
      if (!Number.isNaN(beside)) { others += beside; known += 1; }
      if (count === size) close();
    },
    /** @returns {{t: number[], p: number[], low: number[], high: number[], other: (number|null)[], size: number}} */
    finish() {
      close();
      const list = (x) => Array.from(x.subarray(0, used));
      return { t: list(t), p: list(p), low: list(low), high: list(high), other: list(other).map((v) => (Number.isNaN(v) ? null : v)), size };
    },
  };
}
