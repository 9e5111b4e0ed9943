// What fills the screen while something is timed: one target for the thumb, and little else.
import { html, useEffect, useState } from './html.js';
import { LevelBar } from './hearing.js';

const REST_S = 5;

function useSeconds(began_s) {
  const [seconds, setSeconds] = useState(0);
  useEffect(() => {
    const draw = () => setSeconds(performance.now() / 1000 - began_s);
    draw();
    const timer = setInterval(draw, 100);
    return () => clearInterval(timer);
  }, [began_s]);
  return seconds;
}

/** Pointer down, not click: the moment of touching is what counts. The keyboard works as well. */
export function TapTarget({ act, kind, onTap, children }) {
  const press = (event) => {
    event.preventDefault();
    onTap(event.timeStamp / 1000);
  };
  const onKey = (event) => { if ((event.key === 'Enter' || event.key === ' ') && !event.repeat) press(event); };
  return html`<button type="button" class=${`tap tap-${kind}`} data-act=${act} onPointerDown=${press} onKeyDown=${onKey}>${children}</button>`;
}

export function RunningFace({ taps, moments, onTap }) {
  const seconds = useSeconds(taps.now.start_s);
  const target = moments.targets[taps.now.marks.length];
  return html`<div class="timer-face" data-phase="running">
    <p class="seconds" aria-live="off">${seconds.toFixed(1)} s</p>
    ${seconds > REST_S && moments.cranks ? html`<p class="warn" role="alert">Stop cranking now. Let the starter rest.</p>` : null}
    <${TapTarget} act="tap-reached" kind="reached" onTap=${(at_s) => onTap('reached', at_s)}>${target.label}<//>
    <${TapTarget} act="tap-stop" kind="stop" onTap=${(at_s) => onTap('stop', at_s)}>${taps.now.marks.length ? 'Stop: it got no further' : 'Stop: it never got there'}<//>
  </div>`;
}

export function CountFace({ left, onCancel }) {
  return html`<div class="timer-face" data-phase="count">
    <p class="count" role="timer" aria-live="assertive">${left}</p>
    <p class="count-words">Crank on the third beep.</p>
    <${TapTarget} act="count-cancel" kind="stop" onTap=${onCancel}>Call it off<//>
  </div>`;
}

export function ArmedFace({ moments, onTap, onCancel }) {
  return html`<div class="timer-face" data-phase="armed">
    <${TapTarget} act="tap-start" kind="start" onTap=${(at_s) => onTap('start', at_s)}>${moments.start}<//>
    <${TapTarget} act="count-cancel" kind="stop" onTap=${onCancel}>Call it off<//>
  </div>`;
}

/** The target is there as soon as the place is quiet: the thumb must not wait until the engine has placed the start. */
export function ListenFace({ heard, moments, marked, onTap, onCancel }) {
  const isOver = heard.status === 'failed' || heard.status === 'noisy' || heard.status === 'too_loud' || heard.status === 'deaf';
  const isReady = heard.status === 'ready' || heard.status === 'cranking' || heard.status === 'heard';
  return html`<div class="timer-face" data-phase="listen" data-heard=${heard.status}>
    <${LevelBar} level=${heard.level} />
    <p class=${isOver ? 'warn' : 'count-words'} role="status">${heard.text}</p>
    ${isReady ? html`<${TapTarget} act="tap-reached" kind="reached" onTap=${(at_s) => onTap('reached', at_s)}>${(moments.targets[marked] || { label: 'Noted' }).label}<//>` : null}
    <${TapTarget} act="count-cancel" kind="stop" onTap=${onCancel}>${isOver ? 'Back' : 'Call it off'}<//>
  </div>`;
}
