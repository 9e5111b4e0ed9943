// One check on the practice car: what would you secure first, then its readings. Cranking is shown on a gauge and timed.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { BigStep } from '../parts/big-step.js';
import { Button } from '../parts/button.js';
import { CautionPanel } from '../parts/caution.js';
import { Gauge, barAt, scaleEnd } from '../parts/gauge.js';
import { TapTarget } from '../parts/timer-face.js';
import { byId, checkQuantities, checkSteps, latestReading, reasonMissing } from '../plan.js';
import { keepRun, usePracticeCar } from '../practice.js';
import { FoundRow, NoCar, Practice, Trouble } from './practice.js';

const RISE = 'crank_rise_time';
const CRANK_S = 5;

function limitOf(catalogue) {
  return catalogue.profiles[0].limits.find((row) => row.quantity === 'crank_pressure').low;
}

/** The starter turns for five seconds; the learner presses when the hand passes the mark. */
function Cranking({ curve, target, onDone }) {
  const [began, setBegan] = useState(null);
  const [seconds, setSeconds] = useState(0);
  useEffect(() => {
    if (began === null) return undefined;
    const timer = setInterval(() => {
      const now = performance.now() / 1000 - began;
      setSeconds(Math.min(now, CRANK_S));
      if (now >= CRANK_S) onDone(null);
    }, 50);
    return () => clearInterval(timer);
  }, [began]);
  const end = scaleEnd(curve, target);
  return html`<section data-cranking=${began === null ? 'ready' : 'turns'}>
    <${Gauge} bar=${barAt(curve, seconds)} end=${end} target=${target} />
    ${began === null
    ? html`<${TapTarget} act="practice-crank" kind="start" onTap=${() => setBegan(performance.now() / 1000)}>Crank<//>`
    : html`<${TapTarget} act="practice-reached" kind="reached" onTap=${(at_s) => onDone(Math.round((at_s - began) * 100) / 100)}>The hand is at ${target} bar<//>`}
    <p class="help" role="status">${began === null ? `Press when the hand passes the mark at ${target} bar. If it never does, let it crank to the end.` : `${seconds.toFixed(1)} s`}</p>
  </section>`;
}

function Results({ check, kase, assessment, catalogue }) {
  return html`<ul class="rows">${checkQuantities(check, catalogue, kase.vehicle).map((quantity) => {
    const reading = latestReading(kase, quantity.id);
    const reason = reasonMissing(kase, quantity.id);
    return reading || reason ? html`<${FoundRow} quantity=${quantity} reading=${reading} reason=${reason} assessment=${assessment} />` : null;
  })}</ul>`;
}

/** Steps that carry a caution: the learner says which he takes; those left out come up in the debrief. */
function Securing({ steps, catalogue, taken, onTake }) {
  if (steps.length === 0) return null;
  return html`<h2>What do you do first?</h2><p class="help">Mark each thing that you would do. What you leave out is counted.</p>
    <ol class="steps">${steps.map((step, index) => html`<${BigStep} key=${step.id} step=${step} number=${index + 1} done=${taken.includes(step.id)} current=${false} catalogue=${catalogue}
      onTick=${() => onTake(step.id)} />`)}</ol>`;
}

export function PracticeCheck({ check: checkId }) {
  const { state, act } = useApp();
  const { catalogue } = state;
  const { run, look, assessment, trouble } = usePracticeCar();
  const [taken, setTaken] = useState([]);
  const [curve, setCurve] = useState(null);
  const check = byId(catalogue.checks, checkId);
  if (!run || !check) return html`<${NoCar} />`;
  const frame = { screen: 'practice-check', title: check.name, back: '#/practice/car', caution: check.cautions[0] };
  if (!look || !assessment) return html`<${Practice} ...${frame}><${Trouble} text=${trouble} /><//>`;
  const { vehicle } = look.case;
  const risks = checkSteps(check, catalogue, vehicle).filter((step) => step.caution && !step.quantity);
  const isDone = run.path.some((row) => row.check === checkId);
  const quantities = checkQuantities(check, catalogue, vehicle).map((q) => q.id);
  const write = (timed) => {
    const row = timed === null ? { check: checkId, quantities } : { check: checkId, quantities, timed_s: timed };
    const skipped = risks.filter((step) => !taken.includes(step.id)).map((step) => ({ check: checkId, step: step.id }));
    keepRun({ ...run, path: [...run.path, row], skipped: [...run.skipped, ...skipped] });
    location.hash = `#/practice/check/${checkId}/done`;
  };
  const measure = async () => {
    if (!quantities.includes(RISE)) return write(null);
    const answer = await act.call('practice_curve', run);
    return answer.error ? write(null) : setCurve(answer.ok.points);
  };
  if (curve) return html`<${Practice} ...${frame}><${Cranking} curve=${curve} target=${limitOf(catalogue)} onDone=${write} /><//>`;
  return html`<${Practice} ...${frame}
    bottom=${html`<${Button} act="practice-measure" kind="main" onClick=${measure}>${isDone ? 'Measure again' : 'Measure'} · about ${check.minutes} minutes<//>`}>
    <p>${check.purpose} ${check.why}</p>
    <${CautionPanel} caution=${byId(catalogue.cautions, check.cautions[0])} />
    <${Securing} steps=${risks} catalogue=${catalogue} taken=${taken} onTake=${(id) => setTaken(taken.includes(id) ? taken.filter((t) => t !== id) : [...taken, id])} />
    ${isDone ? html`<h2>Measured already</h2><${Results} check=${check} kase=${look.case} assessment=${assessment} catalogue=${catalogue} />` : null}
  <//>`;
}

/** What the check showed. */
export function PracticeShown({ check: checkId }) {
  const { catalogue } = useApp().state;
  const { run, look, assessment, trouble } = usePracticeCar();
  const check = byId(catalogue.checks, checkId);
  if (!run || !check) return html`<${NoCar} />`;
  return html`<${Practice} screen="practice-shown" title=${check.name} back="#/practice/car" caution=${check.cautions[0]}
    bottom=${html`<${Button} act="practice-back" kind="main" href="#/practice/car">Back to the car<//>`}>
    ${look && assessment ? html`<${Results} check=${check} kase=${look.case} assessment=${assessment} catalogue=${catalogue} />` : html`<${Trouble} text=${trouble} />`}
  <//>`;
}
