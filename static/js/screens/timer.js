// The crank timer: the whole screen is the button. Several attempts count together; a rehearsal finds one's own spread.
import { html, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Fold, Frame } from '../parts/frame.js';
import { Rehearsal } from '../parts/rehearsal.js';
import { holdAwake } from '../capture/camera.js';
import { neverReached, noTaps, reachedAttempts, tap } from '../capture/taps.js';
import { formatQuantity, formatTyped } from '../format.js';
import { byId, limitFor, phaseOf } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const REST_S = 5;

/** Words of the two moments, by what is timed. */
function momentsOf(quantity, kase, catalogue) {
  if (quantity.id !== 'crank_rise_time') {
    return { start: 'Cranking ends', end: 'Pressure has halved', target: null, hint: 'Note the pressure as cranking ends. Press when it has fallen to half of that.' };
  }
  const limit = limitFor(catalogue, kase, 'crank_pressure');
  const target = limit && typeof limit.low === 'number' ? limit.low : null;
  const goal = target === null ? 'the target' : formatTyped(target, 'bar');
  return { start: 'Starter turns', end: `${goal} reached`, target, hint: `Watch the rail pressure. Press at once when the starter turns, and again when it passes ${goal}.` };
}

function useSeconds(running) {
  const [seconds, setSeconds] = useState(0);
  useEffect(() => {
    setSeconds(0);
    if (!running) return undefined;
    const began = performance.now();
    const timer = setInterval(() => setSeconds((performance.now() - began) / 1000), 100);
    return () => clearInterval(timer);
  }, [running]);
  return seconds;
}

/** All attempts together, by the engine: value and how well it is known. */
function useTiming(taps, settings, call) {
  const [timing, setTiming] = useState(null);
  const attempts = reachedAttempts(taps);
  const question = JSON.stringify(attempts);
  useEffect(() => {
    setTiming(null);
    if (attempts.length === 0) return undefined;
    let gone = false;
    call('timing', { taps: attempts, expected: true, own_sd_s: settings.own_sd_s })
      .then((answer) => !gone && setTiming(answer), (error) => !gone && setTiming({ error: [{ text: error.message }] }));
    return () => { gone = true; };
  }, [question, settings.own_sd_s]);
  return timing;
}

function press(taps, setTaps, type) {
  return (event) => {
    event.preventDefault();
    setTaps(tap(taps, { type, at_s: event.timeStamp / 1000 }));
  };
}

/** Pointer down, not click: the moment of touching is what counts. The keyboard works as well. */
function TapTarget({ act, kind, onTap, children }) {
  const onKey = (event) => { if (event.key === 'Enter' || event.key === ' ') onTap(event); };
  return html`<button type="button" class=${`tap tap-${kind}`} data-act=${act} onPointerDown=${onTap} onKeyDown=${onKey}>${children}</button>`;
}

function Running({ seconds, moments, taps, setTaps }) {
  return html`<div class="timer-face" data-phase="running">
    <p class="seconds" aria-live="off">${seconds.toFixed(1)} s</p>
    ${seconds > REST_S ? html`<p class="warn" role="alert">Stop cranking now. Let the starter rest.</p>` : null}
    <${TapTarget} act="tap-reached" kind="reached" onTap=${press(taps, setTaps, 'reached')}>${moments.end}<//>
    <${TapTarget} act="tap-stop" kind="stop" onTap=${press(taps, setTaps, 'stop')}>Stop: it never got there<//>
  </div>`;
}

function Attempts({ taps, setTaps }) {
  return html`<ul class="rows" aria-label="Attempts">${taps.attempts.map((attempt, index) => html`<li class="row attempt" data-attempt=${index}>
    <span>${attempt.end_s === null ? 'Not reached' : `${(attempt.end_s - attempt.start_s).toFixed(2)} s`}</span>
    <${Button} act="attempt-remove" onClick=${() => setTaps(tap(taps, { type: 'remove', index }))}>Remove<//></li>`)}</ul>`;
}

function Combined({ timing }) {
  if (!timing) return html`<p class="help">Adding up …</p>`;
  if (timing.error) return html`<p class="error" role="alert">${timing.error.map((p) => p.text).join(' ')}</p>`;
  return html`<p class="big-value" data-timing=${timing.ok.value}>${formatQuantity(Number(timing.ok.value.toFixed(2)), 's')} ± ${formatQuantity(Number(timing.ok.standard_uncertainty.toFixed(2)), 's')}</p>
    <p>${timing.ok.text}</p>`;
}

function NotReached({ href, moments }) {
  return html`<p class="warn" data-message="not-reached">It was not reached, so there is no time to record${moments.target === null ? '' : ': the pressure itself is the finding'}.
      Save that it could not be timed, then enter the highest pressure you saw.</p>
    <${Button} act="enter-pressure" href=${href}>Enter the pressure<//>`;
}

function saveTiming(id, check, quantity, moments, timing) {
  const body = { quantity: quantity.id, value: Number(timing.value.toFixed(2)), unit: 's', instrument: 'tap_timer', check: check.id,
    standard_uncertainty: Number(timing.standard_uncertainty.toFixed(3)) };
  if (phaseOf(check.id) !== 'before') body.phase = phaseOf(check.id);
  if (moments.target !== null) body.target_bar = moments.target;
  return { case: id, kind: 'reading_taken', body };
}

function bottomFor({ taps, timing, busy, onSave, onMissing }) {
  if (taps.phase === 'running') return null;
  if (neverReached(taps)) return html`<${Button} act="save-not-reached" kind="main" disabled=${busy} onClick=${onMissing}>Save: not reached<//>`;
  if (!timing || !timing.ok) return null;
  return html`<${Button} act="save-timing" kind="main" disabled=${busy} onClick=${onSave}>Save ${formatQuantity(Number(timing.ok.value.toFixed(2)), 's')}<//>`;
}

function useTaps(key) {
  const [taps, setState] = useState(() => {
    const draft = readDraft(key);
    return draft && draft.attempts && draft.attempts.length ? { ...noTaps(), attempts: draft.attempts, phase: 'done' } : noTaps();
  });
  return [taps, (next) => {
    setState(next);
    keepDraft(key, next.attempts.length ? { attempts: next.attempts } : null);
  }];
}

export function Timer({ id, check: checkId, quantity: quantityId }) {
  const { state, act, kase } = useCase();
  const { catalogue, settings } = state;
  const quantity = byId(catalogue.quantities, quantityId);
  const check = byId(catalogue.checks, checkId);
  const moments = momentsOf(quantity, kase, catalogue);
  const draftKey = `timer.${id}.${quantityId}.${phaseOf(checkId)}`;
  const [taps, setTaps] = useTaps(draftKey);
  const [busy, setBusy] = useState(false);
  const [problems, setProblems] = useState([]);
  useEffect(() => holdAwake(), []);
  const seconds = useSeconds(taps.phase === 'running');
  const timing = useTiming(taps, settings, act.call);
  const back = address('case', id, 'check', checkId);
  const finish = async (draft, next) => {
    setBusy(true);
    const answer = await act.record([draft]);
    setBusy(false);
    setProblems(answer.problems);
    if (!answer.saved) return;
    keepDraft(draftKey, null);
    location.hash = next(answer.saved[0]);
  };
  const pressureHref = address('case', id, 'check', checkId, 'reading', 'crank_pressure');
  const onSave = () => finish(saveTiming(id, check, quantity, moments, timing.ok), (entry) => address('case', id, 'check', checkId, 'verdict', entry.id));
  const onMissing = () => finish({ case: id, kind: 'not_measured', body: { quantity: quantityId, phase: phaseOf(checkId), reason: `${moments.end.replace(' reached', '')} was not reached` } },
    () => (moments.target === null ? back : pressureHref));
  return html`<${Frame} screen="timer" title=${quantity.name} caution="cranking" quiet=${true}
    bottom=${bottomFor({ taps, timing, busy, onSave, onMissing })}>
    ${taps.phase === 'running' ? html`<${Running} seconds=${seconds} moments=${moments} taps=${taps} setTaps=${setTaps} />` : html`
      ${taps.attempts.length === 0 ? html`<p>${moments.hint}</p>` : neverReached(taps) ? html`<${NotReached} href=${pressureHref} moments=${moments} />` : html`<${Combined} timing=${timing} />`}
      ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
      <${TapTarget} act="tap-start" kind="start" onTap=${press(taps, setTaps, 'start')}>${taps.attempts.length ? 'Once more: ' : ''}${moments.start}<//>
      <${Attempts} taps=${taps} setTaps=${setTaps} />
      <${Fold} act="rehearse" title="Rehearse: how steady is your thumb?"><${Rehearsal} known=${settings.own_sd_s} onKnown=${(own_sd_s) => act.changeSettings({ own_sd_s })} /><//>
      <${Button} act="enter" href=${address('case', id, 'check', checkId, 'reading', quantityId)}>Enter a time from another clock<//>`}
  <//>`;
}
