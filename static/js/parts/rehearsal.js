// Goes at pressing as a number passes a mark: what they say of a person's own thumb replaces the usual figures.
import { html, useApp, useEffect, useState } from './html.js';
import { Button } from './button.js';
import { rehearsalValue } from '../capture/taps.js';

const TARGET = 285;
const QUICKEST_S = 1.1;
const SPAN_S = 0.9;
const TOO_FAR_S = 0.6; // a slip, not a reaction
const USUAL = { own_sd_s: null, own_mean_s: null, own_goes: null };

function useClimb(go) {
  const [value, setValue] = useState(0);
  useEffect(() => {
    if (!go) {
      setValue(0);
      return undefined;
    }
    let frame = requestAnimationFrame(function draw(now) {
      setValue(rehearsalValue((now - go.began) / 1000, go.crossing_s, TARGET));
      frame = requestAnimationFrame(draw);
    });
    return () => cancelAnimationFrame(frame);
  }, [go]);
  return value;
}

function useOwnThumb(errors) {
  const { act } = useApp();
  const [own, setOwn] = useState(null);
  useEffect(() => {
    act.call('rehearsal', { errors_s: errors }).then((answer) => setOwn(answer.ok || null), () => setOwn(null));
  }, [errors]);
  return own;
}

export function Rehearsal() {
  const { state, act } = useApp();
  const [go, setGo] = useState(null);
  const [errors, setErrors] = useState([]);
  const [missed, setMissed] = useState(false);
  const value = useClimb(go);
  const own = useOwnThumb(errors);
  const known = state.settings.own_sd_s;
  const start = () => setGo({ began: performance.now(), crossing_s: QUICKEST_S + Math.random() * SPAN_S });
  const stop = (event) => {
    event.preventDefault();
    const error = (event.timeStamp - go.began) / 1000 - go.crossing_s;
    setGo(null);
    setMissed(Math.abs(error) >= TOO_FAR_S);
    if (Math.abs(error) < TOO_FAR_S) setErrors([...errors, error]);
  };
  const last = errors[errors.length - 1];
  return html`<div class="rehearsal" data-goes=${errors.length}>
    <p>Press the moment the number passes ${TARGET}. Ten goes say more than five.</p>
    ${go ? html`<button type="button" class="tap tap-reached" data-act="rehearse-tap" onPointerDown=${stop}>${Math.round(value)}</button>`
    : html`<${Button} act="rehearse-start" onClick=${start}>${errors.length ? 'Once more' : 'Start a go'}<//>`}
    ${missed ? html`<p class="warn">That press was too far off to be a reaction; it does not count.</p>` : errors.length ? html`<p>Last press ${Math.abs(last).toFixed(2)} s ${last < 0 ? 'early' : 'late'}.</p>` : null}
    ${own ? html`<p class="help" role="status">${own.text}</p>` : null}
    ${own && own.sd_s !== null ? html`<${Button} act="rehearse-use" onClick=${() => act.changeSettings({ own_sd_s: own.sd_s, own_mean_s: own.mean_s, own_goes: own.goes })}>Use this for my timings<//>` : null}
    ${known === null ? html`<p class="help">In use: the usual figure for a thumb.</p>` : html`<p class="help">In use: your own ${known.toFixed(2)} s.</p>
      <${Button} act="rehearse-forget" onClick=${() => act.changeSettings(USUAL)}>Use the usual figure again<//>`}
  </div>`;
}
