// How loud a film is over time, for the eye and for the engine's ear: one value every 5 ms. The last step is pure.
const RATE_HZ = 8000;
const BIN_S = 0.005;

/** @param {Float32Array} samples @returns {number[]} root mean square of each bin, 0 and up */
export function envelope(samples, rate, bin_s = BIN_S) {
  const size = Math.max(1, Math.round(rate * bin_s));
  const levels = [];
  for (let from = 0; from + size <= samples.length; from += size) {
    let sum = 0;
    for (let i = from; i < from + size; i += 1) sum += samples[i] * samples[i];
    levels.push(Math.sqrt(sum / size));
  }
  return levels;
}

/** @param {Blob} film @returns {Promise<{levels: number[], bin_s: number}|null>} null when the film has no sound that can be read */
export async function listenTo(film) {
  try {
    const room = new OfflineAudioContext(1, 1, RATE_HZ);
    const sound = await room.decodeAudioData(await film.arrayBuffer());
    const levels = envelope(sound.getChannelData(0), sound.sampleRate);
    return levels.length ? { levels, bin_s: BIN_S } : null;
  } catch {
    return null;
  }
}

/**
 * The outline for a strip of `width` by `height`: loudness between two moments, mirrored, on a root scale.
 * @returns {string} an SVG path, '' when nothing is there
 */
export function soundPath(sound, from_s, to_s, width, height) {
  const loudest = sound.levels.reduce((most, level) => Math.max(most, level), 1e-6);
  const tops = [];
  for (let x = 0; x < width; x += 1) {
    const first = Math.floor((from_s + (x / width) * (to_s - from_s)) / sound.bin_s);
    const last = Math.max(first, Math.floor((from_s + ((x + 1) / width) * (to_s - from_s)) / sound.bin_s) - 1);
    let level = 0;
    for (let i = Math.max(0, first); i <= last && i < sound.levels.length; i += 1) level = Math.max(level, sound.levels[i]);
    tops.push(Math.sqrt(level / loudest) * (height / 2 - 1));
  }
  const middle = height / 2;
  const up = tops.map((top, x) => `${x ? 'L' : 'M'}${x} ${(middle - top).toFixed(1)}`);
  const down = tops.map((top, x) => `L${x} ${(middle + top).toFixed(1)}`).reverse();
  return `${up.join('')}${down.join('')}Z`;
}
