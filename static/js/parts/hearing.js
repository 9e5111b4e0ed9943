// The phone listens: levels go to the engine as often as it answers, its words come to the screen.
import { html, useApp, useEffect, useRef, useState } from './html.js';
import { FRAME_HZ, startEar } from '../capture/ear.js';

const ASK_EVERY = 40;
const LONGEST = 20 * FRAME_HZ; // a burst is five seconds; the engine takes 6,000 frames
const KEEP_QUIET = 2 * FRAME_HZ;

const NOTHING = { status: 'off', text: '', level: 0 };

/** Keeps levels and asks the engine; one question at a time. */
function createListener({ call, cylinders, onChange }) {
  const levels = [];
  let ear = null;
  let asked = 0;
  let dropped = 0;
  let busy = false;
  let gone = false;
  async function ask() {
    busy = true;
    asked = levels.length;
    const answer = await call('hear', { levels, rate_hz: FRAME_HZ, cylinders }).catch((error) => ({ error: [{ text: error.message }] }));
    busy = false;
    if (gone) return;
    if (answer.error) return fail(answer.error.map((p) => p.text).join(' '));
    const { ok } = answer;
    onChange({ ...ok, started_s: ok.onset_s === null ? null : ear.clockOf(dropped / FRAME_HZ + ok.onset_s) });
    if (ok.status === 'heard') stop();
    else if (levels.length >= LONGEST) goOn(ok);
    else if (levels.length - asked >= ASK_EVERY) ask();
  }
  /** While nothing cranks the newest quiet is enough; a sound that does not end is no burst. */
  function goOn(ok) {
    if (ok.status !== 'ready') return fail('The sound went on for too long to be one burst of the starter. Listen again.');
    const old = levels.length - KEEP_QUIET;
    levels.splice(0, old);
    dropped += old;
    asked = 0;
  }
  function take(batch) {
    for (const level of batch) levels.push(Number(level.toFixed(5)));
    onChange({ level: batch[batch.length - 1] });
    if (!busy && levels.length - asked >= ASK_EVERY) ask();
  }
  function fail(text) {
    onChange({ status: 'failed', text });
    stop();
  }
  function stop() {
    gone = true;
    if (ear) ear.stop();
  }
  startEar((batch) => !gone && take(batch)).then((opened) => { ear = opened; if (gone) ear.stop(); }, (error) => !gone && fail(error.message));
  return stop;
}

/**
 * @param {number} cylinders
 * @returns {{heard: object, listen: () => void, stop: () => void}} heard: the engine's answer, with level and started_s
 */
export function useHearing(cylinders) {
  const { act } = useApp();
  const [heard, setHeard] = useState(NOTHING);
  const stopper = useRef(null);
  const stop = () => {
    if (stopper.current) stopper.current();
    stopper.current = null;
  };
  useEffect(() => stop, []);
  const listen = () => {
    stop();
    setHeard({ ...NOTHING, status: 'opening', text: 'The microphone opens …' });
    stopper.current = createListener({ call: act.call, cylinders, onChange: (change) => setHeard((old) => ({ ...old, ...change })) });
  };
  return { heard, listen, stop };
}

const QUIETEST_DB = -80;

/** How loud it is, as a bar: 0 at -80 dB. */
export function LevelBar({ level }) {
  const share = Math.max(0, Math.min(1, 1 - (20 * Math.log10(Math.max(level, 1e-6))) / QUIETEST_DB));
  return html`<svg class="level" viewBox="0 0 100 8" preserveAspectRatio="none" role="img" aria-label="Sound level" data-level=${Math.round(share * 100)}>
    <rect class="level-ground" width="100" height="8" /><rect class="level-now" width=${(100 * share).toFixed(1)} height="8" /></svg>`;
}
