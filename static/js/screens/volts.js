// Rail pressure from the sensor's own volts, by two points of its data sheet and the reference that was read.
import { html, useState } from '../parts/html.js';
import { Figures, NumberField, OtherProblems, Warnings, numbersOf, useAnswer } from '../parts/calculator.js';
import { Button } from '../parts/button.js';
import { Frame } from '../parts/frame.js';
import { formatQuantity } from '../format.js';
import { byId, latestReading, phaseOf } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const NO_SENSOR = { low_v: '0.5', low_bar: '0', high_v: '4.5', high_bar: '' };
const WANTED = ['volts', 'low_v', 'low_bar', 'high_v', 'high_bar'];

function knownReference(kase) {
  const reading = latestReading(kase, 'sensor_reference_voltage');
  if (!reading) return '';
  return String(reading.unit === 'mV' ? reading.value / 1000 : reading.value);
}

function requestOf(texts) {
  const found = numbersOf(texts, WANTED);
  if (!found) return null;
  const request = { volts: found.volts, sensor: [[found.low_v, found.low_bar], [found.high_v, found.high_bar]] };
  if (found.reference_v !== undefined) request.reference_v = found.reference_v;
  return request;
}

function useSaving({ id, checkId, quantity, bar, sensor }) {
  const { act } = useCase();
  const [busy, setBusy] = useState(false);
  const [problems, setProblems] = useState([]);
  const save = async () => {
    setBusy(true);
    const body = { quantity: quantity.id, value: Number(bar.toFixed(1)), unit: 'bar', instrument: 'rail_sensor', check: checkId };
    if (phaseOf(checkId) !== 'before') body.phase = phaseOf(checkId);
    const answer = await act.record([{ case: id, kind: 'reading_taken', body }]);
    setBusy(false);
    setProblems(answer.problems);
    if (!answer.saved) return;
    act.changeSettings({ sensor });
    location.hash = address('case', id, 'check', checkId, 'verdict', answer.saved[0].id);
  };
  return { busy, problems, save };
}

export function Volts({ id, check: checkId, quantity: quantityId }) {
  const { state, kase } = useCase();
  const quantity = byId(state.catalogue.quantities, quantityId);
  const [texts, setTexts] = useState({ ...NO_SENSOR, ...state.settings.sensor, volts: '', reference_v: knownReference(kase) });
  const answer = useAnswer('sensor_pressure', requestOf(texts));
  const { volts, reference_v, ...sensor } = texts;
  const bar = answer && answer.ok ? answer.ok.bar : null;
  const { busy, problems, save } = useSaving({ id, checkId, quantity, bar, sensor });
  const field = (name, label, help) => html`<${NumberField} name=${name} label=${label} help=${help} value=${texts[name]} answer=${answer}
    onText=${(text) => setTexts({ ...texts, [name]: text })} />`;
  return html`<${Frame} screen="volts" title=${`${quantity.name}, from volts`} caution="electrical" quiet=${true}
    bottom=${html`<${Button} act="save-volts" kind="main" disabled=${bar === null || busy} onClick=${save}>${bar === null ? 'Enter volts and sensor data' : `Save ${formatQuantity(Number(bar.toFixed(1)), 'bar')}`}<//>`}>
    ${field('volts', 'Sensor signal, V', 'Against the sensor’s own earth pin, probed from the back.')}
    ${field('reference_v', 'Reference as read, V', 'Left empty, 5 V is assumed, and that is said.')}
    <h2 class="minor">Two points of the sensor’s data</h2>
    <div class="pair pair-half">${field('low_v', 'Low, V')}${field('low_bar', 'Low, bar')}${field('high_v', 'High, V')}${field('high_bar', 'High, bar')}</div>
    <p class="help">From the vehicle maker’s data: sensors differ, and none is assumed.</p>
    <${OtherProblems} answer=${answer} shown=${['volts', 'reference_v']} />
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    ${bar === null ? null : html`<p class="big-value" data-bar=${bar}>${formatQuantity(Number(bar.toFixed(1)), 'bar')}</p>
      <${Figures} rows=${[answer.ok.reference_assumed ? null : ['Without the reference as read', formatQuantity(Number(answer.ok.bar_at_nominal.toFixed(1)), 'bar'), 'bar_at_nominal']]} />
      <${Warnings} rows=${answer.ok.warnings} />`}
  <//>`;
}
