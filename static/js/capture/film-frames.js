// Frame by frame through a film. The film says when each frame was taken (mediaTime of the frame that is shown); no frame
// rate is assumed, so a rate that varies does no harm. One step at a time: a press waits for the step before it.
const HAIR_S = 0.001; // frames lie further apart than this; the clock of a film is kept in milliseconds or finer
const FIRST_GUESS_S = 1 / 120;
const LONGEST_GAP_S = 2;
const SETTLE_MS = 400;

/** True where the browser can say which frame it shows. */
export const canStep = () => 'requestVideoFrameCallback' in HTMLVideoElement.prototype;

/** Films made by a recorder may not say how long they are; looking for their end makes the browser find out. */
export async function openFilm(video, url) {
  const once = (name) => new Promise((resolve, reject) => {
    video.addEventListener(name, resolve, { once: true });
    video.addEventListener('error', () => reject(new Error('This film cannot be shown here. Choose another one, MP4 or WebM.')), { once: true });
  });
  const loaded = once('loadeddata');
  video.src = url;
  await loaded;
  if (Number.isFinite(video.duration)) return video.duration;
  const known = once('durationchange');
  video.currentTime = 1e7;
  await known;
  const back = once('seeked');
  video.currentTime = 0;
  await back;
  return video.duration;
}

/** @param {HTMLVideoElement} video opened @param {(at_s: number) => void} shown told which frame is seen */
export function createFrames(video, shown) {
  let at = 0;
  let queue = Promise.resolve();

  /** Show the frame that covers a moment. @returns {Promise<number>} when that frame was taken */
  function look(moment) {
    return new Promise((resolve) => {
      let timer = 0;
      let asked = 0;
      const settle = (time) => { clearTimeout(timer); video.cancelVideoFrameCallback(asked); resolve(time); };
      asked = video.requestVideoFrameCallback((_, frame) => settle(frame.mediaTime));
      video.addEventListener('seeked', () => { timer = setTimeout(() => settle(at), SETTLE_MS); }, { once: true });
      video.currentTime = Math.min(Math.max(moment, 0), video.duration);
    });
  }

  async function goTo(moment) {
    at = await look(moment);
    return at;
  }

  async function previous() {
    const from = at;
    if (from <= HAIR_S) return from;
    return goTo(from - HAIR_S);
  }

  /** Feel forward until another frame shows, then back, in case one lay between. */
  async function next() {
    const from = at;
    let found = from;
    for (let gap = FIRST_GUESS_S; found <= from + HAIR_S / 2 && gap < LONGEST_GAP_S; gap *= 1.5) {
      if (from + gap > video.duration + FIRST_GUESS_S) return goTo(from + HAIR_S / 2);
      found = await look(from + gap);
    }
    for (let between = await look(found - HAIR_S); between > from + HAIR_S / 2; between = await look(found - HAIR_S)) found = between;
    return goTo(found + HAIR_S / 2);
  }

  async function step(count) {
    for (let i = 0; i < Math.abs(count); i += 1) await (count < 0 ? previous() : next());
    return at;
  }

  /** Seconds between this frame and the one before it; the next one where it is the first. */
  async function gapHere() {
    const here = at;
    const before = await previous();
    const other = before < here - HAIR_S / 2 ? before : await step(2);
    await goTo(here + HAIR_S / 2);
    return Math.abs(here - other);
  }

  function inTurn(work) {
    queue = queue.then(async () => { const answer = await work(); shown(at); return answer; });
    return queue;
  }

  return {
    at: () => at,
    goTo: (moment) => inTurn(() => goTo(moment)),
    step: (count) => inTurn(() => step(count)),
    gapHere: () => inTurn(gapHere),
  };
}
