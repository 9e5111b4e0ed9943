// Cranking speed by ear: the place is heard first, then one burst; no number where the place is too loud for one.
import { html, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Fold, Frame } from '../parts/frame.js';
import { LevelBar, useHearing } from '../parts/hearing.js';
import { holdAwake } from '../capture/camera.js';
import { formatQuantity } from '../format.js';
import { byId, phaseOf } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const LISTENING = ['opening', 'checking', 'ready', 'cranking'];

function readingOf(id, check, quantity, heard) {
  const body = { quantity: quantity.id, value: Math.round(heard.speed_rpm), unit: 'rpm', instrument: 'ear', check: check.id,
    standard_uncertainty: Number(heard.speed_u_rpm.toFixed(1)) };
  if (phaseOf(check.id) !== 'before') body.phase = phaseOf(check.id);
  return { case: id, kind: 'reading_taken', body };
}

function Heard({ heard }) {
  if (typeof heard.speed_rpm !== 'number') return null;
  const spent = typeof heard.end_s === 'number' ? ` It cranked for ${(heard.end_s - heard.onset_s).toFixed(1)} s.` : '';
  return html`<p class="big-value" data-speed=${heard.speed_rpm} data-uncertainty=${heard.speed_u_rpm}>${formatQuantity(Math.round(heard.speed_rpm), 'rpm')} ± ${formatQuantity(Math.round(2 * heard.speed_u_rpm), 'rpm')}</p>
    <p class="help">Nineteen times in twenty it is within these bounds.${spent}</p>`;
}

function Bottom({ heard, busy, onListen, onStop, onSave }) {
  if (heard.status === 'heard' && typeof heard.speed_rpm === 'number') return html`<${Button} act="save-heard" kind="main" disabled=${busy} onClick=${onSave}>Save ${formatQuantity(Math.round(heard.speed_rpm), 'rpm')}<//>`;
  if (LISTENING.includes(heard.status)) return html`<${Button} act="listen-stop" kind="main" onClick=${onStop}>Stop listening<//>`;
  return html`<${Button} act="listen-start" kind="main" onClick=${onListen}>${heard.status === 'off' ? 'Listen' : 'Listen again'}<//>`;
}

export function Listen({ id, check: checkId, quantity: quantityId }) {
  const { state, act, kase } = useCase();
  const quantity = byId(state.catalogue.quantities, quantityId);
  const check = byId(state.catalogue.checks, checkId);
  const { vehicle } = kase;
  const cylinders = vehicle.cylinders || 4;
  const unsure = !vehicle.cylinders || (vehicle.assumed || []).includes('cylinders');
  const { heard, listen, stop } = useHearing(cylinders);
  const [busy, setBusy] = useState(false);
  const [problems, setProblems] = useState([]);
  const [stopped, setStopped] = useState(true);
  useEffect(() => holdAwake(), []);
  const shown = stopped && LISTENING.includes(heard.status) ? { ...heard, status: 'off', text: '' } : heard;
  const onListen = () => {
    setStopped(false);
    listen();
  };
  const onStop = () => {
    setStopped(true);
    stop();
  };
  const onSave = async () => {
    setBusy(true);
    const answer = await act.record([readingOf(id, check, quantity, heard)]);
    setBusy(false);
    setProblems(answer.problems);
    if (answer.saved) location.hash = address('case', id, 'check', checkId, 'verdict', answer.saved[0].id);
  };
  const trouble = ['failed', 'noisy', 'too_loud', 'deaf'].includes(shown.status);
  return html`<${Frame} screen="listen" title=${`${quantity.name} by ear`} caution="cranking" quiet=${true}
    bottom=${html`<${Bottom} heard=${shown} busy=${busy} onListen=${onListen} onStop=${onStop} onSave=${onSave} />`}>
    ${shown.status === 'off' ? html`<p>Lay the phone near the engine, clear of belts and fans. Switch off what makes noise. The phone listens to the place first
      and says when to crank, for five seconds.</p>` : html`<${LevelBar} level=${shown.level} />`}
    <p class=${trouble ? 'warn' : 'headline'} role="status" data-heard=${shown.status}>${shown.text}</p>
    <${Heard} heard=${shown} />
    <p class=${unsure ? 'warn' : 'help'}>Counted with ${cylinders} cylinders, four-stroke.${unsure ? ' That is assumed: put it right under “Vehicle details”, or the speed is wrong.' : ''}</p>
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    <${Fold} act="how" title="How it works"><p>Each compression slows the starter and changes its sound. The phone counts that beat; half as many beats as
      cylinders make one turn. No sound is kept, and none leaves the phone.</p><//>
    <${Button} act="enter" href=${address('case', id, 'check', checkId, 'reading', quantityId)}>Enter a speed from another instrument<//>
  <//>`;
}
