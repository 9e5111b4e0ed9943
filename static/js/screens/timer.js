// The crank timer: the whole screen is the button. Several attempts count together; the start may be heard instead of tapped.
import { html, useEffect, useRef, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Fold, Frame } from '../parts/frame.js';
import { useHearing } from '../parts/hearing.js';
import { Rehearsal } from '../parts/rehearsal.js';
import { ArmedFace, CountFace, ListenFace, RunningFace, TapTarget } from '../parts/timer-face.js';
import { Attempts, Combined, useTimings } from '../parts/timer-result.js';
import { DEFAULT_TIMING, TimingSetup } from '../parts/timer-setup.js';
import { holdAwake } from '../capture/camera.js';
import { neverReached, noTaps, tap } from '../capture/taps.js';
import { countDown, cue, wakeSound } from '../capture/tones.js';
import { formatQuantity, formatTyped } from '../format.js';
import { byId, limitFor, phaseOf } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const FIRST_BAR = 200; // an engine can usually start from here: common practice, no source
const START_OF = { self: 'awaited', count: 'awaited', helper: 'surprise', ear: 'ear' };

/** Words and targets, by what is timed. */
function momentsOf(quantity, kase, catalogue, also200) {
  if (quantity.id !== 'crank_rise_time') {
    return { start: 'Cranking ends', cranks: false, targets: [{ bar: null, label: 'Pressure has halved', short: 'Half' }],
      hint: 'Note the pressure as cranking ends. Press when it has fallen to half of that.' };
  }
  const limit = limitFor(catalogue, kase, 'crank_pressure');
  const bar = limit && typeof limit.low === 'number' ? limit.low : null;
  const name = (b) => (b === null ? 'the target' : formatTyped(b, 'bar'));
  const bars = also200 && bar !== null && bar > FIRST_BAR ? [FIRST_BAR, bar] : [bar];
  return { start: 'Starter turns', cranks: true, targets: bars.map((b) => ({ bar: b, label: `${name(b)} reached`, short: name(b) })),
    hint: `Watch the rail pressure. Press at once when the starter turns, and again when it passes ${bars.map(name).join(' and ')}.` };
}

function useTaps(key, targets) {
  const [taps, setState] = useState(() => {
    const draft = readDraft(key);
    const fits = draft && draft.attempts && draft.attempts.length && draft.attempts.every((a) => a.marks && a.marks.length === targets);
    return fits ? { ...noTaps(targets), attempts: draft.attempts, phase: 'done' } : noTaps(targets);
  });
  const current = taps.targets === targets ? taps : noTaps(targets);
  return [current, (next) => {
    setState(next);
    keepDraft(key, next.attempts.length ? { attempts: next.attempts } : null);
  }];
}

/** Taps that come before the engine has placed the heard start wait for it. */
function useHeardStart({ hearing, taps, setTaps, stage, setStage, wanted }) {
  const early = useRef([]);
  const { heard, stop } = hearing;
  useEffect(() => {
    if (stage.name !== 'listen' || typeof heard.started_s !== 'number') return;
    let next = tap(taps, { type: 'start', at_s: heard.started_s, start: 'ear', start_u_s: heard.onset_u_s });
    for (const at_s of early.current) next = tap(next, { type: 'reached', at_s });
    early.current = [];
    stop();
    cue('tap', { ...wanted, sound: false });
    setStage({ name: 'idle' });
    setTaps(next);
  }, [heard.started_s, stage.name]);
  return early;
}

function NotReached({ href, moments }) {
  return html`<p class="warn" data-message="not-reached">It was not reached, so there is no time to record${moments.targets[0].bar === null ? '' : ': the pressure itself is the finding'}.
      Save that it could not be timed, then enter the highest pressure you saw.</p>
    <${Button} act="enter-pressure" href=${href}>Enter the pressure<//>`;
}

/** One reading a target, the limit's own last: the latest counts. */
function drafts(id, check, quantity, moments, timings) {
  return timings.map((timing, target) => ({ timing, bar: moments.targets[target].bar })).filter((row) => row.timing && row.timing.ok)
    .map(({ timing, bar }) => {
      const body = { quantity: quantity.id, value: Number(timing.ok.value.toFixed(2)), unit: 's', instrument: 'tap_timer', check: check.id,
        standard_uncertainty: Number(timing.ok.standard_uncertainty.toFixed(3)) };
      if (phaseOf(check.id) !== 'before') body.phase = phaseOf(check.id);
      if (bar !== null) body.target_bar = bar;
      return { case: id, kind: 'reading_taken', body };
    });
}

function bottomFor({ taps, timings, busy, onSave, onMissing }) {
  if (neverReached(taps)) return html`<${Button} act="save-not-reached" kind="main" disabled=${busy} onClick=${onMissing}>Save: not reached<//>`;
  const main = timings && timings[timings.length - 1];
  if (!main || !main.ok) return null;
  return html`<${Button} act="save-timing" kind="main" disabled=${busy} onClick=${onSave}>Save ${formatQuantity(main.ok.value, 's', 2)}<//>`;
}

function useSaving(id, draftKey, act) {
  const [busy, setBusy] = useState(false);
  const [problems, setProblems] = useState([]);
  const finish = async (entries, next) => {
    setBusy(true);
    const answer = await act.record(entries);
    setBusy(false);
    setProblems(answer.problems);
    if (!answer.saved) return;
    keepDraft(draftKey, null);
    location.hash = next(answer.saved[answer.saved.length - 1]);
  };
  return { busy, problems, finish };
}

/** Countdown, armed and listening: everything between the wish to time and the first turn of the starter. */
function useStage({ wanted, hearing }) {
  const [stage, setStage] = useState({ name: 'idle' });
  const off = useRef(() => {});
  useEffect(() => () => off.current(), []);
  const begin = () => {
    wakeSound();
    if (wanted.start === 'ear') {
      setStage({ name: 'listen', marked: 0 });
      hearing.listen();
    } else off.current = countDown(wanted, (left) => setStage({ name: 'count', left }), () => setStage({ name: 'armed' }));
  };
  const cancel = () => {
    off.current();
    hearing.stop();
    setStage({ name: 'idle' });
  };
  return { stage, setStage, begin, cancel };
}

function Face({ stage, taps, moments, heard, onTap, onMark, cancel }) {
  if (taps.phase === 'running') return html`<${RunningFace} taps=${taps} moments=${moments} onTap=${onTap} />`;
  if (stage.name === 'count') return html`<${CountFace} left=${stage.left} onCancel=${cancel} />`;
  if (stage.name === 'armed') return html`<${ArmedFace} moments=${moments} onTap=${onTap} onCancel=${cancel} />`;
  if (stage.name === 'listen') return html`<${ListenFace} heard=${heard} moments=${moments} marked=${stage.marked} onTap=${onMark} onCancel=${cancel} />`;
  return null;
}

function StartTarget({ wanted, moments, again, onStart, onBegin }) {
  const words = again ? 'Once more: ' : '';
  if (moments.cranks && wanted.start === 'count') return html`<${TapTarget} act="count-start" kind="start" onTap=${onBegin}>${words}Start the countdown<//>`;
  if (moments.cranks && wanted.start === 'ear') return html`<${TapTarget} act="listen-start" kind="start" onTap=${onBegin}>${words}Listen for the starter<//>`;
  return html`<${TapTarget} act="tap-start" kind="start" onTap=${onStart}>${words}${moments.start}<//>`;
}

export function Timer({ id, check: checkId, quantity: quantityId }) {
  const { state, act, kase } = useCase();
  const { catalogue, settings } = state;
  const quantity = byId(catalogue.quantities, quantityId);
  const check = byId(catalogue.checks, checkId);
  const wanted = { ...DEFAULT_TIMING, ...settings.timing };
  const moments = momentsOf(quantity, kase, catalogue, wanted.also_200);
  const draftKey = `timer.${id}.${quantityId}.${phaseOf(checkId)}`;
  const [taps, setTaps] = useTaps(draftKey, moments.targets.length);
  const hearing = useHearing(kase.vehicle.cylinders || 4);
  const { stage, setStage, begin, cancel } = useStage({ wanted, hearing });
  const early = useHeardStart({ hearing, taps, setTaps, stage, setStage, wanted });
  const { busy, problems, finish } = useSaving(id, draftKey, act);
  const timings = useTimings(taps);
  useEffect(() => holdAwake(), []);
  const onTap = (type, at_s) => {
    if (type === 'start') setStage({ name: 'idle' });
    cue('tap', { ...wanted, sound: false });
    setTaps(tap(taps, { type, at_s, start: moments.cranks ? START_OF[wanted.start] : 'awaited' }));
  };
  const onMark = (type, at_s) => {
    early.current.push(at_s);
    cue('tap', { ...wanted, sound: false });
    setStage({ name: 'listen', marked: early.current.length });
  };
  const onBegin = () => {
    early.current = [];
    begin();
  };
  const back = address('case', id, 'check', checkId);
  const pressureHref = address('case', id, 'check', checkId, 'reading', 'crank_pressure');
  const onSave = () => finish(drafts(id, check, quantity, moments, timings), (entry) => address('case', id, 'check', checkId, 'verdict', entry.id));
  const last = moments.targets[moments.targets.length - 1];
  const missing = { case: id, kind: 'not_measured', body: { quantity: quantityId, phase: phaseOf(checkId), reason: `${last.label.replace(' reached', '')} was not reached` } };
  const onMissing = () => finish([missing], () => (last.bar === null ? back : pressureHref));
  const face = Face({ stage, taps, moments, heard: hearing.heard, onTap, onMark, cancel });
  if (face) return html`<${Frame} screen="timer" title=${quantity.name} caution="cranking" quiet=${true}>${face}<//>`;
  return html`<${Frame} screen="timer" title=${quantity.name} caution="cranking" quiet=${true} bottom=${bottomFor({ taps, timings, busy, onSave, onMissing })}>
    ${taps.attempts.length === 0 ? html`<p>${moments.hint}</p>` : neverReached(taps) ? html`<${NotReached} href=${pressureHref} moments=${moments} />`
    : html`<${Combined} timings=${timings} moments=${moments} id=${id} checkId=${checkId} />`}
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    <${StartTarget} wanted=${wanted} moments=${moments} again=${taps.attempts.length > 0} onStart=${(at_s) => onTap('start', at_s)} onBegin=${onBegin} />
    <${Attempts} taps=${taps} moments=${moments} onRemove=${(index) => setTaps(tap(taps, { type: 'remove', index }))} />
    ${moments.cranks && taps.attempts.length === 0 ? html`<${TimingSetup} timing=${wanted} onTiming=${(timing) => act.changeSettings({ timing })} />` : null}
    <${Fold} act="rehearse" title="Rehearse: how steady is your thumb?"><${Rehearsal} /><//>
    <${Button} act="enter" href=${address('case', id, 'check', checkId, 'reading', quantityId)}>Enter a time from another clock<//>
  <//>`;
}
