// The ledger: one row a component in the order of the fuel's way, the pump last. A press on a row opens its evidence.
import { html, useApp } from './html.js';
import { LEDGER_WORDS, formatReading } from '../format.js';
import { byId, verdictOf } from '../plan.js';
import { VerdictMark } from './verdict.js';

const SHAPES = {
  ruled_out: html`<path d="M4 16h24" stroke-width="4" /><circle cx="16" cy="16" r="12" fill="none" stroke-width="3" />`,
  open: html`<circle cx="16" cy="16" r="12" fill="none" stroke-width="3" stroke-dasharray="6 4" />`,
  points_here: html`<path d="M3 4L29 16L3 28Z" fill="currentColor" />`,
  locked: html`<path d="M6 14h20v14h-20zM10 14V9a6 6 0 0 1 12 0v5" fill="none" stroke-width="3" />`,
};

export function StatusShape({ status }) {
  return html`<svg class="shape" width="26" height="26" viewBox="0 0 32 32" stroke="currentColor" fill="none" aria-hidden="true">${SHAPES[status]}</svg>`;
}

function Evidence({ row, catalogue, kase, assessment }) {
  const readings = row.by.map((id) => kase.readings.find((r) => r.id === id)).filter(Boolean);
  const needs = row.needs.map((id) => byId(catalogue.quantities, id)).filter(Boolean);
  return html`<div class="fold-body">
    <p>${row.text}</p>
    ${readings.map((reading) => {
      const quantity = byId(catalogue.quantities, reading.quantity);
      const verdict = verdictOf(assessment, reading.id);
      return html`<p class="evidence">${quantity ? quantity.name : reading.quantity}: <b>${formatReading(reading, quantity)}</b>
        ${verdict ? html` <${VerdictMark} verdict=${verdict} />` : null}</p>`;
    })}
    ${needs.length ? html`<p>Still to measure: ${needs.map((q) => q.name.toLowerCase()).join(', ')}.</p>` : null}
  </div>`;
}

export function Ledger({ kase, assessment }) {
  const { state } = useApp();
  if (!assessment) return html`<section class="ledger"><h2>Ledger</h2><p>Not worked out yet.</p></section>`;
  return html`<section class="ledger" aria-label="Ledger">
    <h2>Ledger</h2>
    ${assessment.ledger.map((row) => html`<details class=${`ledger-row ledger-${row.status}`} data-component=${row.component} data-status=${row.status} key=${row.component}>
      <summary data-act="ledger-row">
        <${StatusShape} status=${row.status} />
        <span class="ledger-name">${row.name}</span>
        <span class="ledger-word">${LEDGER_WORDS[row.status]}</span>
      </summary>
      <${Evidence} row=${row} catalogue=${state.catalogue} kase=${kase} assessment=${assessment} />
    </details>`)}
  </section>`;
}
