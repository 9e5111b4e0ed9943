// What one reading says, straight after it was saved; and what to do next.
import { html } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Frame } from '../parts/frame.js';
import { Ledger } from '../parts/ledger.js';
import { VerdictMark } from '../parts/verdict.js';
import { entryHref } from '../parts/ways.js';
import { formatChance, formatLimits, formatQuantity, formatReading } from '../format.js';
import { byId, nextCheck, nextInCheck, verdictOf } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

function NextStep({ id, check, kase, catalogue, assessment }) {
  const next = nextInCheck(check, catalogue, kase, assessment);
  if (next.kind === 'step') return html`<${Button} act="to-check" kind="main" href=${address('case', id, 'check', check.id)}>Next step<//>`;
  if (next.kind !== 'done') {
    const quantity = byId(catalogue.quantities, next.quantity);
    const [href, word] = next.kind === 'timer' ? [address('case', id, 'check', check.id, 'timer', quantity.id), 'Time'] : [entryHref(id, check.id, quantity.id), 'Enter'];
    return html`<${Button} act="next-reading" kind="main" href=${href} extra=${{ 'data-quantity': quantity.id }}>${word}: ${quantity.name}<//>`;
  }
  const upcoming = nextCheck(assessment, catalogue, check.id);
  if (assessment && assessment.conclusion) return html`<${Button} act="to-case" kind="main" href=${address('case', id)}>Back to the case: it can be concluded<//>`;
  if (upcoming) return html`<${Button} act="next-check" kind="main" href=${address('case', id, 'check', upcoming.check)} extra=${{ 'data-check': upcoming.check }}>Next check: ${upcoming.name}<//>`;
  return html`<${Button} act="to-case" kind="main" href=${address('case', id)}>Back to the case<//>`;
}

function ListDetail({ verdict }) {
  const detail = verdict.detail || {};
  if (!detail.cylinders || detail.cylinders.length === 0) return null;
  return html`<p>Stands out: cylinder ${detail.cylinders.join(', ')}.</p>`;
}

function Figures({ verdict, quantity }) {
  const limits = formatLimits(verdict.low, verdict.high, verdict.unit, quantity.decimals);
  const number = typeof verdict.value === 'number';
  const rows = [
    number && ['Value', formatQuantity(verdict.value, verdict.unit)],
    limits && ['Limit', `${limits}${verdict.basis ? ` (${verdict.basis})` : ''}`],
    typeof verdict.standard_uncertainty === 'number' && ['Known to about', `± ${formatQuantity(Number(verdict.standard_uncertainty.toPrecision(2)), verdict.unit || quantity.unit)}`],
    typeof verdict.probability_within === 'number' && ['Chance that it is within', formatChance(verdict.probability_within)],
  ].filter(Boolean);
  return html`<dl class="figures">${rows.map(([name, value]) => html`<div><dt>${name}</dt><dd>${value}</dd></div>`)}</dl>`;
}

function Judged({ verdict, quantity }) {
  return html`
    <p class="verdict-line"><${VerdictMark} verdict=${verdict} large=${true} /></p>
    <p>${verdict.text}</p>
    <${ListDetail} verdict=${verdict} />
    ${verdict.doubt ? html`<p class="warn" data-message="doubt">${verdict.doubt}</p>` : null}
    <${Figures} verdict=${verdict} quantity=${quantity} />
    ${verdict.reason && verdict.reason !== verdict.text ? html`<p class="help">${verdict.reason}</p>` : null}`;
}

export function Verdict({ id, check: checkId, reading: readingId }) {
  const { state, kase, assessment } = useCase();
  const { catalogue } = state;
  const check = byId(catalogue.checks, checkId);
  const reading = kase.readings.find((r) => r.id === readingId);
  if (!reading) return html`<${Frame} screen="verdict" title="This reading was struck out"><p>It stays in the log and counts for nothing.</p><//>`;
  const quantity = byId(catalogue.quantities, reading.quantity);
  const verdict = verdictOf(assessment, readingId);
  return html`<${Frame} screen="verdict" title=${quantity.name} caution=${check.cautions[0]}
    aside=${html`<${Ledger} kase=${kase} assessment=${assessment} />`}
    bottom=${html`<${NextStep} id=${id} check=${check} kase=${kase} catalogue=${catalogue} assessment=${assessment} />`}>
    <p class="big-value" data-quantity=${quantity.id}>${formatReading(reading, quantity)}</p>
    <p class="saved" role="status" data-saved="true">Saved on this phone.</p>
    ${verdict ? html`<${Judged} verdict=${verdict} quantity=${quantity} />` : html`<p>Not judged ${assessment ? ': a later reading of the same thing counts' : 'yet'}.</p>`}
    <div class="pair">
      <${Button} act="again" href=${entryHref(id, checkId, quantity.id)}>Take again<//>
      <${Button} act="readings" href=${address('case', id, 'readings')}>Strike out<//>
    </div>
  <//>`;
}
