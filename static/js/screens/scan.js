// Standard scan responses typed or pasted; the engine decodes them, and a value that fits is taken as the reading.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { OtherProblems, useAnswer } from '../parts/calculator.js';
import { TextArea } from '../parts/field.js';
import { Fold, Frame } from '../parts/frame.js';
import { formatQuantity } from '../format.js';
import { byId, phaseOf } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const EXAMPLE = '41 23 0B B8';
const NAMES = { coolant_temperature: 'Coolant', fuel_pressure: 'Fuel pressure, low side', intake_pressure: 'Intake pressure, absolute', engine_speed: 'Engine speed',
  rail_pressure_manifold: 'Rail pressure against the intake', rail_pressure: 'Rail pressure', module_voltage: 'Voltage at the control unit',
  rail_pressure_absolute: 'Rail pressure, absolute', commanded_rail_pressure: 'Commanded rail pressure', rail_temperature: 'Fuel in the rail' };

/** A second rail has its own names, ending in _b. */
export function nameOf(name) {
  return NAMES[name] || (name.endsWith('_b') ? `${nameOf(name.slice(0, -2))}, second rail` : name);
}

function useSaving(id, checkId, quantity, draftKey) {
  const { act } = useCase();
  const [busy, setBusy] = useState(false);
  const [problems, setProblems] = useState([]);
  const save = async (row) => {
    setBusy(true);
    const body = { quantity: quantity.id, value: row.value, unit: row.unit, check: checkId };
    const instrument = quantity.instruments.find((name) => name.startsWith('scan_'));
    if (instrument) body.instrument = instrument;
    if (phaseOf(checkId) !== 'before') body.phase = phaseOf(checkId);
    const answer = await act.record([{ case: id, kind: 'reading_taken', body }]);
    setBusy(false);
    setProblems(answer.problems);
    if (!answer.saved) return;
    keepDraft(draftKey, null);
    location.hash = address('case', id, 'check', checkId, 'verdict', answer.saved[0].id);
  };
  return { busy, problems, save };
}

function Value({ row, fits, isChosen, onPick }) {
  const words = html`<span class="choice-name">${nameOf(row.name)}</span><span class="choice-help">${formatQuantity(Number(row.value.toPrecision(6)), row.unit)}</span>`;
  if (!fits) return html`<p class="scan-other"><b>${nameOf(row.name)}</b> ${formatQuantity(Number(row.value.toPrecision(6)), row.unit)}</p>`;
  return html`<${Button} act="pick-scan" pressed=${isChosen} onClick=${onPick} extra=${{ 'data-choice': row.name, 'data-value': row.value }}>${words}<//>`;
}

export function Scan({ id, check: checkId, quantity: quantityId }) {
  const { state } = useCase();
  const quantity = byId(state.catalogue.quantities, quantityId);
  const draftKey = `scan.${id}.${checkId}`;
  const [text, setText] = useState(() => readDraft(draftKey) || '');
  const [chosen, setChosen] = useState(null);
  const answer = useAnswer('decode_scan', text.trim() ? { text } : null);
  const { busy, problems, save } = useSaving(id, checkId, quantity, draftKey);
  const change = (next) => {
    setText(next);
    setChosen(null);
    keepDraft(draftKey, next || null);
  };
  const values = answer && answer.ok ? answer.ok.values : [];
  const fitting = values.filter((row) => quantity.units.includes(row.unit));
  const taken = chosen !== null ? fitting[chosen] : fitting.length === 1 ? fitting[0] : null;
  return html`<${Frame} screen="scan" title=${`${quantity.name}, from scan text`} caution="cranking" quiet=${true}
    bottom=${html`<${Button} act="save-scan" kind="main" disabled=${!taken || busy} onClick=${() => save(taken)}>${taken ? `Save ${formatQuantity(Number(taken.value.toPrecision(6)), taken.unit)}` : fitting.length ? 'Choose a value' : 'Type or paste a response'}<//>`}>
    <${TextArea} name="scan-text" label="Response of the control unit, in hex" value=${text} onText=${change} rows=${4} />
    <${OtherProblems} answer=${answer} shown=${[]} />
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    <div class="stack" role="group" aria-label="Decoded values">${values.map((row) => html`<${Value} row=${row} fits=${fitting.includes(row)} isChosen=${row === taken} onPick=${() => setChosen(fitting.indexOf(row))} />`)}</div>
    ${answer && answer.ok ? (answer.ok.warnings || []).map((words) => html`<p class="warn">${words}</p>`) : null}
    <${Fold} act="how" title="What can be read"><p>Answers of the standard service 01, as a serial adapter prints them, one a line, spaces or none. “${EXAMPLE}” is a rail pressure of 300 bar.</p><//>
  <//>`;
}
