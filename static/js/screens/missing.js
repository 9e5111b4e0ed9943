// "Could not measure": said with a reason, so that missing evidence is never taken for good evidence.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextField } from '../parts/field.js';
import { Frame } from '../parts/frame.js';
import { byId, phaseOf } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const REASONS = [
  { id: 'out of reach', name: 'Out of reach' },
  { id: 'no tool for it here', name: 'No tool for it here' },
  { id: 'not safe to do now', name: 'Not safe to do now' },
  { id: 'engine cannot be cranked', name: 'Engine cannot be cranked' },
  { id: 'value kept jumping', name: 'Value kept jumping' },
];

export function Missing({ id, check: checkId, quantity: quantityId }) {
  const { state, act } = useCase();
  const quantity = byId(state.catalogue.quantities, quantityId);
  const check = byId(state.catalogue.checks, checkId);
  const [reason, setReason] = useState('');
  const [problems, setProblems] = useState([]);
  const save = async () => {
    const answer = await act.record([{ case: id, kind: 'not_measured', body: { quantity: quantityId, reason: reason.trim(), phase: phaseOf(checkId) } }]);
    setProblems(answer.problems);
    if (answer.saved) location.hash = address('case', id, 'check', checkId);
  };
  return html`<${Frame} screen="missing" title=${`Could not measure: ${quantity.name.toLowerCase()}`} caution=${check.cautions[0]}
    bottom=${html`<${Button} act="save-missing" kind="main" disabled=${!reason.trim()} onClick=${save}>${reason.trim() ? 'Save the reason' : 'Choose a reason'}<//>`}>
    <p>It counts as missing evidence, never as a good result. You can still measure it later.</p>
    <${Choices} name="reason" label="Why not?" options=${REASONS} isChosen=${(r) => r === reason} onPick=${setReason} />
    <${TextField} name="reason-text" label="Or in your words" value=${REASONS.some((r) => r.id === reason) ? '' : reason} onText=${setReason} />
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
  <//>`;
}
