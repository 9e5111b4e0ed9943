// One check: cautions to confirm, what must be so first, the steps, and what they gave.
import { html, useEffect, useState } from '../parts/html.js';
import { BigStep } from '../parts/big-step.js';
import { Button } from '../parts/button.js';
import { CautionPanel } from '../parts/caution.js';
import { Fold, Frame } from '../parts/frame.js';
import { Ledger } from '../parts/ledger.js';
import { SignOff } from '../parts/sign-off.js';
import { VerdictMark } from '../parts/verdict.js';
import { Equipment, Lacking } from '../parts/equipment.js';
import { OtherWays, entryHref } from '../parts/ways.js';
import { holdAwake } from '../capture/camera.js';
import { formatReading } from '../format.js';
import { byId, checkSteps, isTicked, nextCheck, nextInCheck, quantityRows, unaskedQuantities, unreadCautions } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

function Facts({ id, check, kase, act }) {
  return html`<${Fold} act="check-about" title="Why this check, and what is needed">
    <p>${check.purpose}</p><p>${check.why}</p>
    ${check.preconditions.length ? html`<h2 class="minor">Before you start</h2><ul>${check.preconditions.map((t) => html`<li>${t}</li>`)}</ul>` : null}
    <${Equipment} id=${id} check=${check} kase=${kase} act=${act} />
  <//>`;
}

function actionHref(id, check, quantity, timer) {
  return timer ? address('case', id, 'check', check, 'timer', quantity) : entryHref(id, check, quantity);
}

function QuantityRow({ id, check, row }) {
  const { quantity, reading, verdict, missing } = row;
  const timed = quantity.instruments.includes('tap_timer');
  return html`<div class="quantity" data-quantity=${quantity.id} data-measured=${String(Boolean(reading))}>
    <p class="quantity-name">${quantity.name}</p>
    ${reading ? html`<p class="quantity-value">${formatReading(reading, quantity)} ${verdict ? html`<${VerdictMark} verdict=${verdict} />` : null}</p>` : null}
    ${missing !== null && !reading ? html`<p class="quantity-value">Could not be measured: ${missing}</p>` : null}
    <div class="pair">
      <${Button} act="enter" href=${actionHref(id, check.id, quantity.id, false)}>${reading ? 'Take again' : 'Enter'}<//>
      ${timed ? html`<${Button} act="timer" href=${actionHref(id, check.id, quantity.id, true)}>Time it<//>` : null}
      ${reading ? html`<${Button} act="verdict" href=${address('case', id, 'check', check.id, 'verdict', reading.id)}>Why?<//>`
    : html`<${Button} act="missing" href=${address('case', id, 'check', check.id, 'missing', quantity.id)}>Could not<//>`}
    </div>
    <${OtherWays} id=${id} checkId=${check.id} quantity=${quantity} />
  </div>`;
}

function Bottom({ id, check, next, upcoming, onTick }) {
  if (next.kind === 'step') return html`<${Button} act="next-step" kind="main" onClick=${() => onTick(next.step, true)}>Step ${next.number} of ${next.count} done<//>`;
  if (next.kind !== 'done') {
    return html`<${Button} act="next-step" kind="main" href=${actionHref(id, check.id, next.quantity, next.kind === 'timer')} extra=${{ 'data-quantity': next.quantity }}>
      ${next.kind === 'timer' ? 'Time' : 'Enter'}: ${next.name}<//>`;
  }
  if (upcoming) return html`<${Button} act="next-check" kind="main" href=${address('case', id, 'check', upcoming.check)} extra=${{ 'data-check': upcoming.check }}>Next check: ${upcoming.name}<//>`;
  return html`<${Button} act="to-case" kind="main" href=${address('case', id)}>Back to the case<//>`;
}

/** Bring the step that is due before the eyes; the first one with the head of the page, wherever the cautions were read. */
function useCurrentInView(stepId, isFirst) {
  useEffect(() => {
    if (stepId && isFirst) scrollTo(0, 0);
    const row = stepId && !isFirst ? document.querySelector('.step-current') : null;
    if (row) row.scrollIntoView({ block: 'center' });
  }, [stepId]);
}

function Steps({ id, check, rows, kase, catalogue, next, unasked, onTick }) {
  useCurrentInView(next.step ? next.step.id : '', next.number === 1);
  return html`<ol class="steps">${checkSteps(check, catalogue, kase.vehicle).map((step, index) => {
    const row = step.quantity ? rows.find((r) => r.quantity.id === step.quantity) : null;
    const done = row ? Boolean(row.reading) || row.missing !== null : isTicked(kase, check.id, step.id);
    return html`<${BigStep} key=${step.id} step=${step} number=${index + 1} done=${done} current=${next.step === step} catalogue=${catalogue} spare=${unasked.includes(step.quantity)}
      onTick=${row ? null : () => onTick(step, !done)}>${row ? html`<${QuantityRow} id=${id} check=${check} row=${row} />` : null}<//>`;
  })}</ol>`;
}

function CautionGate({ id, check, cautions, act }) {
  const [busy, setBusy] = useState(false);
  const confirm = async () => {
    setBusy(true);
    await act.record(cautions.map((c) => ({ case: id, kind: 'caution_acknowledged', body: { caution: c.id, check: check.id } })));
    setBusy(false);
  };
  return html`<${Frame} screen="check" title=${check.name} caution=${cautions[0].id}
    bottom=${html`<${Button} act="acknowledge" kind="main" disabled=${busy} onClick=${confirm}>I have read ${cautions.length === 1 ? 'this' : 'all of this'}<//>`}>
    <p>Read before you start. It is recorded that you did.</p>
    ${cautions.map((caution) => html`<${CautionPanel} caution=${caution} />`)}
  <//>`;
}

export function Check({ id, check: checkId }) {
  const { state, act, kase, assessment } = useCase();
  const { catalogue } = state;
  const check = byId(catalogue.checks, checkId);
  useEffect(() => holdAwake(), []);
  if (!check) return html`<${Frame} screen="check" title="No such check"><p>This version does not have that check.</p><//>`;
  const cautions = unreadCautions(check, catalogue, kase);
  if (cautions.length) return html`<${CautionGate} id=${id} check=${check} cautions=${cautions} act=${act} />`;
  const rows = quantityRows(check, catalogue, kase, assessment);
  const found = nextInCheck(check, catalogue, kase, assessment);
  const unasked = unaskedQuantities(check, catalogue, kase, assessment);
  const steps = checkSteps(check, catalogue, kase.vehicle);
  const next = { ...found, name: found.quantity ? byId(catalogue.quantities, found.quantity).name : '', number: steps.indexOf(found.step) + 1, count: steps.length };
  const inSteps = new Set(steps.map((s) => s.quantity));
  const others = rows.filter((row) => !inSteps.has(row.quantity.id));
  const onTick = (step, ticked) => act.record([{ case: id, kind: 'step_ticked', body: { check: check.id, step: step.id, ticked } }]);
  return html`<${Frame} screen="check" title=${check.name} caution=${check.cautions[0]}
    aside=${html`<${Ledger} kase=${kase} assessment=${assessment} />`}
    bottom=${html`<${Bottom} id=${id} check=${check} next=${next} upcoming=${nextCheck(assessment, catalogue, check.id)} onTick=${onTick} />`}>
    <${Lacking} check=${check} kase=${kase} />
    <${Facts} id=${id} check=${check} kase=${kase} act=${act} />
    <${Steps} id=${id} check=${check} rows=${rows} kase=${kase} catalogue=${catalogue} next=${next} unasked=${unasked} onTick=${onTick} />
    ${others.map((row) => html`<${QuantityRow} id=${id} check=${check} row=${row} />`)}
    ${next.kind === 'done' ? html`<${SignOff} id=${id} check=${check} kase=${kase} />` : null}
    ${check.equipment.some((text) => text.startsWith('Dummy load')) ? html`<${Button} act="resistor" href=${address('case', id, 'check', check.id, 'resistor')}>Which dummy load, and how long to drive<//>` : null}
    <${Button} act="notes" href=${address('case', id, 'notes')}>Add a note or photo<//>
  <//>`;
}
