// Five goes at pressing as a number passes a mark: the spread of a person's own thumb replaces the usual figure.
import { html, useEffect, useRef, useState } from './html.js';
import { Button } from './button.js';
import { ownSpread, rehearsalValue } from '../capture/taps.js';

const TARGET = 285;
const QUICKEST_S = 1.1;
const SPAN_S = 0.9;
const TOO_EARLY_S = 0.6;

function useClimb(go) {
  const [value, setValue] = useState(0);
  useEffect(() => {
    if (!go) return undefined;
    let frame = requestAnimationFrame(function draw(now) {
      setValue(rehearsalValue((now - go.began) / 1000, go.crossing_s, TARGET));
      frame = requestAnimationFrame(draw);
    });
    return () => cancelAnimationFrame(frame);
  }, [go]);
  return value;
}

/** @param {{known: number|null, onKnown: (sd_s: number|null) => void}} props */
export function Rehearsal({ known, onKnown }) {
  const [go, setGo] = useState(null);
  const [errors, setErrors] = useState([]);
  const target = useRef(null);
  const value = useClimb(go);
  const spread = ownSpread(errors);
  const start = () => setGo({ began: performance.now(), crossing_s: QUICKEST_S + Math.random() * SPAN_S });
  const stop = (event) => {
    const error = (event.timeStamp - go.began) / 1000 - go.crossing_s;
    setGo(null);
    if (Math.abs(error) < TOO_EARLY_S) setErrors([...errors, error]);
  };
  return html`<div class="rehearsal">
    <p>Press the moment the number passes ${TARGET}.</p>
    ${go ? html`<button type="button" ref=${target} class="tap tap-reached" data-act="rehearse-tap" onPointerDown=${stop}>${Math.round(value)}</button>`
    : html`<${Button} act="rehearse-start" onClick=${start}>${errors.length ? 'Once more' : 'Start a go'}<//>`}
    ${errors.length ? html`<p>Last press ${Math.abs(errors[errors.length - 1]).toFixed(2)} s ${errors[errors.length - 1] < 0 ? 'early' : 'late'}.</p>` : null}
    ${spread.sd_s === null ? html`<p class="help">${spread.left} more ${spread.left === 1 ? 'go' : 'goes'} needed.</p>`
    : html`<p>From press to press you are good to about ${spread.sd_s.toFixed(2)} s.</p><${Button} act="rehearse-use" onClick=${() => onKnown(Number(spread.sd_s.toFixed(3)))}>Use this for my timings<//>`}
    ${known === null ? html`<p class="help">In use: the usual figure for a thumb.</p>` : html`<p class="help">In use: your own ${known.toFixed(2)} s.</p>
      <${Button} act="rehearse-forget" onClick=${() => onKnown(null)}>Use the usual figure again<//>`}
  </div>`;
}
