// Tone and vibration. The first sound needs a press of the person: call `wakeSound` in the press that leads to it.
let context = null;

export function wakeSound() {
  const Sound = globalThis.AudioContext || globalThis.webkitAudioContext;
  if (!context && Sound) context = new Sound();
  if (context && context.state === 'suspended') context.resume().catch(() => {});
}

function tone(hz, ms) {
  if (!context) return;
  const source = context.createOscillator();
  const gain = context.createGain();
  const end = context.currentTime + ms / 1000;
  source.frequency.value = hz;
  gain.gain.setValueAtTime(0.5, context.currentTime);
  gain.gain.setTargetAtTime(0, end - 0.02, 0.008); // no click at the end
  source.connect(gain).connect(context.destination);
  source.start();
  source.stop(end + 0.05);
}

const CUES = { tick: [660, 120], go: [990, 450], end: [440, 700], tap: [null, 40] };

/** @param {'tick'|'go'|'end'|'tap'} name @param {{sound: boolean, vibrate: boolean}} wanted */
export function cue(name, wanted) {
  const [hz, ms] = CUES[name];
  if (wanted.sound && hz) tone(hz, ms);
  if (wanted.vibrate && navigator.vibrate) navigator.vibrate(ms);
}

const BEEPS = 3;
const APART_MS = 1000;

/**
 * Three beeps a second apart; `done` comes with the third.
 * @param {(left: number) => void} onBeep @returns {() => void} call it off
 */
export function countDown(wanted, onBeep, done) {
  let left = BEEPS;
  let timer = 0;
  const beep = () => {
    left -= 1;
    cue(left ? 'tick' : 'go', wanted);
    if (left) timer = setTimeout(beep, APART_MS);
    onBeep(left);
    if (!left) done();
  };
  onBeep(left);
  timer = setTimeout(beep, APART_MS);
  return () => clearTimeout(timer);
}
