// Every reading of the case, newest first: take again, or strike one out with a reason. Nothing is ever erased.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextField } from '../parts/field.js';
import { Frame, PersonName } from '../parts/frame.js';
import { VerdictMark } from '../parts/verdict.js';
import { formatReading, formatWhen } from '../format.js';
import { byId, verdictOf } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const REASONS = ['Typed wrongly', 'Read at the wrong moment', 'Instrument was not connected', 'Wrong vehicle'].map((name) => ({ id: name.toLowerCase(), name }));

function StrikeOut({ id, reading, act, onDone }) {
  const [reason, setReason] = useState('');
  const [problems, setProblems] = useState([]);
  const save = async () => {
    const answer = await act.record([{ case: id, kind: 'reading_voided', body: { reading: reading.id, reason: reason.trim() } }]);
    setProblems(answer.problems);
    if (answer.saved) onDone();
  };
  return html`<div class="panel">
    <${Choices} name="reason" label="Why is it struck out?" options=${REASONS} isChosen=${(r) => r === reason} onPick=${setReason} />
    <${TextField} name="reason-text" label="Or in your words" value=${REASONS.some((r) => r.id === reason) ? '' : reason} onText=${setReason} />
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    <div class="pair"><${Button} act="void-save" disabled=${!reason.trim()} onClick=${save}>Strike out<//><${Button} act="void-cancel" onClick=${onDone}>Keep it<//></div>
  </div>`;
}

function checkOf(reading, quantity, catalogue) {
  if (reading.check) return reading.check;
  const found = catalogue.checks.find((check) => check.quantities.includes(quantity.id));
  return found ? found.id : '';
}

function ReadingRow({ id, reading, catalogue, assessment, act, striking, setStriking }) {
  const quantity = byId(catalogue.quantities, reading.quantity);
  if (!quantity) return null;
  const verdict = verdictOf(assessment, reading.id);
  return html`<li class="quantity" data-quantity=${quantity.id} data-reading=${reading.id}>
    <p class="quantity-name">${quantity.name}${reading.phase === 'after_repair' ? ', after the repair' : ''}</p>
    <p class="quantity-value">${formatReading(reading, quantity)} ${verdict ? html`<${VerdictMark} verdict=${verdict} />` : null}</p>
    <p class="help">${formatWhen(reading.at)}, <${PersonName} id=${reading.by} /></p>
    ${striking === reading.id ? html`<${StrikeOut} id=${id} reading=${reading} act=${act} onDone=${() => setStriking('')} />`
    : html`<div class="pair"><${Button} act="again" href=${address('case', id, 'check', checkOf(reading, quantity, catalogue), 'reading', quantity.id)}>Take again<//>
        <${Button} act="void" onClick=${() => setStriking(reading.id)}>Strike out<//></div>`}
  </li>`;
}

export function Readings({ id }) {
  const { state, act, kase, assessment } = useCase();
  const [striking, setStriking] = useState('');
  const { catalogue } = state;
  const rows = [...kase.readings].reverse();
  return html`<${Frame} screen="readings" title="All readings" caution="general"
    bottom=${html`<${Button} act="to-case" kind="main" href=${address('case', id)}>Back to the case<//>`}>
    ${rows.length === 0 ? html`<p>No reading yet.</p>` : null}
    <ul class="plain-list">${rows.map((reading) => html`<${ReadingRow} key=${reading.id} id=${id} reading=${reading} catalogue=${catalogue} assessment=${assessment} act=${act} striking=${striking} setStriking=${setStriking} />`)}</ul>
    ${(kase.voided || []).length ? html`<h2>Struck out</h2><ul class="plain-list">${kase.voided.map((reading) => html`<li class="quantity struck" data-voided=${reading.id}>
      <p class="quantity-name">${(byId(catalogue.quantities, reading.quantity) || {}).name}</p>
      <p class="quantity-value"><s>${formatReading(reading, byId(catalogue.quantities, reading.quantity))}</s></p>
      <p class="help">${reading.reason}</p></li>`)}</ul>` : null}
  <//>`;
}
