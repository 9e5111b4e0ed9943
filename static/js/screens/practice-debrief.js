// After a practice car: what it had, what the way to it cost, and what the best way would have cost.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { byId } from '../plan.js';
import { readRun } from '../practice.js';
import { NoCar, Practice, Trouble, carName } from './practice.js';

function Skipped({ run, catalogue }) {
  if (run.skipped.length === 0) return html`<p>No safety step was left out.</p>`;
  return html`<p class="warn" data-skipped=${run.skipped.length}>Safety steps left out: on a real car somebody gets hurt this way.</p>
    <ul>${run.skipped.map((row) => {
      const check = byId(catalogue.checks, row.check);
      return html`<li><b>${check.name}</b>: ${byId(check.steps, row.step).text}</li>`;
    })}</ul>`;
}

function Way({ title, steps, minutes, intrusion, data }) {
  return html`<section data-way=${data} data-minutes=${minutes}><h2>${title}: ${minutes} minutes</h2>
    <ol>${steps.map((step) => html`<li>${step}</li>`)}</ol>
    <p class="help">Intrusion of its checks, added up: ${intrusion}.</p></section>`;
}

export function PracticeDebrief() {
  const { state, act } = useApp();
  const [run] = useState(readRun);
  const [found, setFound] = useState(null);
  const [trouble, setTrouble] = useState('');
  useEffect(() => {
    if (!run || !run.named) return;
    act.call('practice_debrief', run).then((answer) => (answer.error ? setTrouble(answer.error[0].text) : setFound(answer.ok)), (error) => setTrouble(error.message));
  }, []);
  if (!run || !run.named) return html`<${NoCar} />`;
  if (!found) return html`<${Practice} screen="practice-debrief" title="debrief"><${Trouble} text=${trouble} /><//>`;
  const { catalogue } = state;
  const named = byId(catalogue.faults, run.named).name;
  return html`<${Practice} screen="practice-debrief" title="debrief" bottom=${html`<${Button} act="practice" kind="main" href="#/practice">Another car<//>`}>
    <p class="headline" data-right=${String(found.right)} data-fault=${found.fault}>${found.right ? 'Found.' : 'Not found.'} Car ${carName(run)} has: ${found.names.join('; ').toLowerCase()}.</p>
    ${found.right ? null : html`<p>You said: ${named.toLowerCase()}.</p>`}
    ${found.pump_minutes ? html`<p class="warn" data-pump-minutes=${found.pump_minutes}>The pump was good. Taking it off and putting it on again: about ${found.pump_minutes / 60} hours and a pump for nothing, and the car still does what it did.</p>` : null}
    <${Way} title="Your way" data="own" minutes=${found.minutes} intrusion=${found.intrusion} steps=${run.path.map((row) => byId(catalogue.checks, row.check).name)} />
    <${Way} title="The best way, until it is proven" data="best" minutes=${found.best.minutes} intrusion=${found.best.intrusion} steps=${found.best.steps.map((row) => `${row.name}, ${row.minutes} minutes`)} />
    <h2>What could have told you</h2>
    ${found.could_tell.length ? html`<ul>${found.could_tell.map((row) => html`<li><b>${row.name}</b>: ${row.text}.</li>`)}</ul>` : html`<p>Every reading of this car is within its limits.</p>`}
    <h2>Safety</h2>
    <${Skipped} run=${run} catalogue=${catalogue} />
  <//>`;
}
