// The collection's own clock: countdown, a tone when the starter must stop, and only the seconds that count.
import { html, useEffect, useRef, useState } from './html.js';
import { Button } from './button.js';
import { TapTarget } from './timer-face.js';
import { collect, collectedSeconds, noCollection } from '../capture/collection.js';
import { countDown, cue, wakeSound } from '../capture/tones.js';
import { formatCount } from '../format.js';

function useNow(running) {
  const [now, setNow] = useState(performance.now() / 1000);
  useEffect(() => {
    if (!running) return undefined;
    const timer = setInterval(() => setNow(performance.now() / 1000), 100);
    return () => clearInterval(timer);
  }, [running]);
  return now;
}

function Standing({ collection, now }) {
  const total = collectedSeconds(collection);
  if (collection.bursts.length === 0) return html`<p class="count-words">Tubes empty and upright? Then start.</p>`;
  const rest = collection.ended_s === null ? 0 : Math.max(0, now - collection.ended_s);
  return html`<p class="count-words" data-collected=${total.toFixed(2)}>${total.toFixed(1)} s in ${formatCount(collection.bursts.length, 'run')}</p>
    <p class="help" role="status">Starter has rested ${Math.floor(rest)} s. Give it a minute between bursts.</p>`;
}

function Running({ left, words, onEnd }) {
  return html`<p class="count" role="timer">${Math.max(0, left).toFixed(0)}</p>
    <${TapTarget} act="collect-end" kind="reached" onTap=${onEnd}>${words}<//>`;
}

/** Ends the run by itself when its time is up: the tone says stop, and the late thumb does not count. */
function useAutomaticEnd(collection, setCollection, wanted) {
  useEffect(() => {
    if (collection.phase !== 'running') return undefined;
    const until_ms = (collection.began_s + collection.length_s) * 1000 - performance.now();
    const timer = setTimeout(() => {
      cue('end', wanted);
      setCollection(collect(collection, { type: 'end', at_s: collection.began_s + collection.length_s }));
    }, until_ms);
    return () => clearTimeout(timer);
  }, [collection.phase]);
}

/** @param {{condition: string, wanted: {sound: boolean, vibrate: boolean}, onDone: (seconds: number|null) => void}} props null = nothing collected */
export function Collecting({ condition, wanted, onDone }) {
  const [collection, setCollection] = useState(() => noCollection(condition));
  const [left, setLeft] = useState(null);
  const off = useRef(() => {});
  const now = useNow(true);
  useEffect(() => () => off.current(), []);
  useAutomaticEnd(collection, setCollection, wanted);
  const idling = condition === 'idling';
  const begin = () => {
    wakeSound();
    off.current = countDown(wanted, setLeft, () => {
      setLeft(null);
      setCollection(collect(collection, { type: 'begin', at_s: performance.now() / 1000 }));
    });
  };
  const cancel = () => {
    off.current();
    setLeft(null);
  };
  const total = collectedSeconds(collection);
  const face = (phase, children) => html`<div class="timer-face" data-phase=${phase}>${children}</div>`;
  if (left !== null) {
    return face('count', html`<p class="count" role="timer">${left}</p><p class="count-words">${idling ? 'Tubes under on the third beep.' : 'Crank on the third beep.'}</p>
      <${TapTarget} act="count-cancel" kind="stop" onTap=${cancel}>Call it off<//>`);
  }
  if (collection.phase === 'running') {
    return face('running', html`<${Running} left=${collection.began_s + collection.length_s - now} words=${idling ? 'Taken away' : 'Stopped cranking'}
      onEnd=${(at_s) => setCollection(collect(collection, { type: 'end', at_s }))} />`);
  }
  return face('idle', html`<${Standing} collection=${collection} now=${now} />
    <${TapTarget} act="collect-begin" kind="start" onTap=${begin}>${collection.bursts.length ? 'Another' : 'Start'} ${collection.length_s} s<//>
    ${collection.bursts.length ? html`<${Button} act="collect-drop" onClick=${() => setCollection(collect(collection, { type: 'drop' }))}>The last one does not count<//>` : null}
    <${Button} act="collect-done" kind=${total ? 'main' : 'plain'} onClick=${() => onDone(total || null)}>${total ? `Take ${total.toFixed(1)} s` : 'Back'}<//>`);
}
