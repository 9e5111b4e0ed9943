// The vehicle maker's limit for this case: both sides, and where it comes from. It goes before the general starting value.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { TextField } from '../parts/field.js';
import { Frame } from '../parts/frame.js';
import { formatLimits, parseTyped } from '../format.js';
import { byId, limitFor } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const asText = (value) => (typeof value === 'number' ? String(value) : '');

/** What keeps the form from being saved, in words for the press; '' when nothing does. */
export function limitGap({ low, high, reason }) {
  const sides = [low, high].filter((text) => text.trim() !== '');
  if (sides.some((text) => parseTyped(text) === null)) return 'Enter numbers only';
  if (sides.length === 0) return 'Enter at least one side';
  return reason.trim() ? '' : 'Say where it comes from';
}

/** All of the case's own limits with this one put in, or taken out when `own` is null. */
export function withOverride(overrides, quantityId, own) {
  const rest = Object.fromEntries(Object.entries(overrides || {}).filter(([id]) => id !== quantityId));
  return own ? { ...rest, [quantityId]: own } : rest;
}

export function Limit({ id, check: checkId, quantity: quantityId }) {
  const { state, act, kase } = useCase();
  const quantity = byId(state.catalogue.quantities, quantityId);
  const check = byId(state.catalogue.checks, checkId);
  const overrides = (kase.limits || {}).overrides || {};
  const now = limitFor(state.catalogue, kase, quantityId) || {};
  const own = overrides[quantityId];
  const [form, setForm] = useState({ low: asText(own && own.low), high: asText(own && own.high), reason: own ? own.reason : '' });
  const [problems, setProblems] = useState([]);
  const set = (field) => (text) => setForm({ ...form, [field]: text });
  const write = async (value) => {
    const body = { overrides: withOverride(overrides, quantityId, value) };
    const answer = await act.record([{ case: id, kind: 'limits_set', body }]);
    setProblems(answer.problems);
    if (answer.saved) location.hash = address('case', id, 'check', checkId, 'reading', quantityId);
  };
  const gap = limitGap(form);
  const save = () => write({ low: parseTyped(form.low), high: parseTyped(form.high), reason: form.reason.trim() });
  return html`<${Frame} screen="limit" title=${`Limit: ${quantity.name.toLowerCase()}`} caution=${check.cautions[0]}
    bottom=${html`<${Button} act="save-limit" kind="main" disabled=${Boolean(gap)} onClick=${save}>${gap || 'Use this limit in this case'}<//>`}>
    <p>In use now: ${formatLimits(now.low, now.high, quantity.unit) || 'none'} (${now.reason || now.basis || 'no source'}). What you enter here counts for this case
      only and is shown with its source wherever the verdict is.</p>
    <${TextField} name="low" label=${`At least (${quantity.unit})`} help="Leave empty if there is no lower limit." value=${form.low} onText=${set('low')} extra=${{ inputmode: 'decimal' }} />
    <${TextField} name="high" label=${`At most (${quantity.unit})`} help="Leave empty if there is no upper limit." value=${form.high} onText=${set('high')} extra=${{ inputmode: 'decimal' }} />
    <${TextField} name="reason" label="Where it comes from" help="For example: maker’s data sheet, with its date." value=${form.reason} onText=${set('reason')} />
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    ${own ? html`<${Button} act="drop-limit" onClick=${() => write(null)}>Back to the general starting value<//>` : null}
  <//>`;
}
