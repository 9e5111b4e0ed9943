// Frame by frame through a film. The film says when each frame was taken: the picture itself is asked for its time stamp
// (VideoFrame), or, where a browser has none, the report on the frame last shown, which may come late and is waited for. No
// frame rate is assumed, so a rate that varies does no harm. One step at a time: a press waits for the step before it.
const SAME_S = 0.0005;
const FIRST_GUESS_S = 1 / 120;
const LONGEST_GAP_S = 2;
const FINEST_S = 0.002; // frames lie further apart than this, at 240 a second still twice as far
const FEELER_S = 0.005;
const MOST_TRIES = 60;
const SETTLE_MS = 150;

const canAsk = 'VideoFrame' in globalThis;

/** True where the browser can say which frame it shows. */
export const canStep = () => canAsk || 'requestVideoFrameCallback' in HTMLVideoElement.prototype;

function timeOfPicture(video) {
  const picture = new VideoFrame(video);
  const time = picture.timestamp / 1e6;
  picture.close();
  return time;
}

/** Jump, and wait until that jump has ended: the end of an earlier one may still be on its way and does not count. */
function jump(video, moment) {
  return new Promise((resolve) => {
    const arrived = () => {
      if (video.seeking) return;
      video.removeEventListener('seeked', arrived);
      resolve();
    };
    video.addEventListener('seeked', arrived);
    video.currentTime = moment;
  });
}

/** Films made by a recorder may not say how long they are; looking for their end makes the browser find out. */
export async function openFilm(video, url) {
  await new Promise((resolve, reject) => {
    video.addEventListener('loadeddata', resolve, { once: true });
    video.addEventListener('error', () => reject(new Error('This film cannot be shown here. Choose another one, MP4 or WebM.')), { once: true });
    video.src = url;
  });
  if (Number.isFinite(video.duration)) return video.duration;
  await jump(video, 1e7);
  await jump(video, 0);
  return video.duration;
}

/** @param {HTMLVideoElement} video opened @param {(at_s: number) => void} shown told which frame is seen */
export function createFrames(video, shown) {
  let at = 0;
  // What was asked for to see this frame. Browsers hold a frame for as long as they guess that it lasts, so this may lie a
  // little after the next frame's time, and the same moment may show another frame the next time.
  let moment = 0;
  const moments = new Map();
  let queue = Promise.resolve();

  /** Show what the browser shows at a moment. @returns {Promise<number>} when that frame was taken */
  async function look(wanted) {
    let [seen, asked] = [at, 0];
    const watch = (_, frame) => {
      seen = frame.mediaTime;
      asked = video.requestVideoFrameCallback(watch);
    };
    if (!canAsk) watch(null, { mediaTime: at });
    await jump(video, wanted);
    if (canAsk) return timeOfPicture(video);
    await new Promise((done) => { setTimeout(done, SETTLE_MS); });
    video.cancelVideoFrameCallback(asked);
    return seen;
  }

  const isSame = (a, b) => Math.abs(a - b) < SAME_S;

  async function goTo(wanted) {
    moment = Math.min(Math.max(wanted, 0), video.duration);
    at = await look(moment);
    moments.set(at, moment);
    return at;
  }

  /** The frame next to the one shown, in a direction; the same at an end. */
  async function neighbour(way) {
    const here = at;
    let [inner, outer, found] = [moment, moment, here];
    for (let gap = FIRST_GUESS_S; isSame(found, here) && gap < LONGEST_GAP_S; gap *= 1.5) {
      if (outer === (way < 0 ? 0 : video.duration)) return goTo(moment);
      inner = outer;
      outer = Math.min(Math.max(moment + way * gap, 0), video.duration);
      found = await look(outer);
    }
    while (Math.abs(outer - inner) > FINEST_S) {
      const middle = (inner + outer) / 2;
      const shownThere = await look(middle);
      if (isSame(shownThere, here)) inner = middle;
      else [outer, found] = [middle, shownThere];
    }
    return land(found, outer + way * FINEST_S);
  }

  /** Show a frame whose time is known: feel around the moment that last showed it. The picture says when it is there. */
  async function land(frame, guess = moments.get(frame) ?? frame) {
    for (let tries = 0, wanted = guess; tries < MOST_TRIES; tries += 1) {
      if (isSame(await goTo(wanted), frame)) return at;
      wanted += at < frame ? FEELER_S : -FEELER_S / 2;
    }
    return at;
  }

  async function step(count) {
    for (let i = 0; i < Math.abs(count); i += 1) await neighbour(Math.sign(count));
    return at;
  }

  /** Seconds between this frame and the one before it; the next one where it is the first. */
  async function gapHere() {
    const here = at;
    let other = await neighbour(-1);
    if (isSame(other, here)) other = await neighbour(1);
    await land(here);
    return Math.abs(here - other);
  }

  function inTurn(work) {
    queue = queue.then(async () => { const answer = await work(); shown(at); return answer; });
    return queue;
  }

  return {
    at: () => at,
    goTo: (wanted) => inTurn(() => goTo(wanted)),
    land: (frame) => inTurn(() => land(frame)),
    step: (count) => inTurn(() => step(count)),
    gapHere: () => inTurn(gapHere),
  };
}
