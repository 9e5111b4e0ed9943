// Dummy load and outside drive: which resistor, how hot, and for how long a coil may be driven.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Figures, NumberField, OtherProblems, Warnings, numbersOf, useAnswer } from '../parts/calculator.js';
import { Fold, Frame } from '../parts/frame.js';
import { formatQuantity } from '../format.js';
import { byId, latestReading } from '../plan.js';
import { useCase } from './case.js';

const COILS = [['regulator_resistance', 'regulator'], ['metering_valve_resistance', 'metering valve']];

/** The coil that this check unplugs, with the resistance that was read. */
function knownCoil(kase, checkId) {
  const order = checkId === 'metering' ? [...COILS].reverse() : COILS;
  const reading = latestReading(kase, order[0][0]);
  return { name: order[0][1], text: reading && reading.value < 1000 ? String(reading.value) : '' };
}

function Load({ answer }) {
  if (!answer || !answer.ok) return null;
  const { resistor_ohm, rating_w, current_a, power_w, basis } = answer.ok;
  return html`<${Figures} rows=${[
    ['Resistor', formatQuantity(resistor_ohm, 'ohm'), 'resistor_ohm'],
    ['Rated for at least', rating_w === null ? 'share the load' : formatQuantity(rating_w, 'W'), 'rating_w'],
    ['Current', formatQuantity(Number(current_a.toPrecision(3)), 'A'), 'current_a'],
    ['Heat', formatQuantity(Number(power_w.toPrecision(3)), 'W'), 'power_w'],
  ]} /><${Warnings} rows=${answer.ok.warnings} /><p class="help">${basis}.</p>`;
}

function Drive({ answer }) {
  if (!answer || !answer.ok) return null;
  const { on_time_s, current_a, current_hot_a, power_w, basis } = answer.ok;
  return html`<${Figures} rows=${[
    ['Drive it for at most', formatQuantity(Number(on_time_s.toPrecision(2)), 's'), 'on_time_s'],
    ['Current, cold coil', formatQuantity(Number(current_a.toPrecision(3)), 'A'), 'current_a'],
    ['Current, hot coil', formatQuantity(Number(current_hot_a.toPrecision(3)), 'A'), 'current_hot_a'],
    ['Heat in the coil', formatQuantity(Number(power_w.toPrecision(3)), 'W'), 'power_w'],
  ]} /><${Warnings} rows=${answer.ok.warnings} /><p class="help">${basis}.</p>`;
}

const SHOWN = ['coil_ohm', 'supply_v', 'duty', 'start_c', 'most_a'];

export function Resistor({ id, check: checkId }) {
  const { state, kase } = useCase();
  const coil = knownCoil(kase, checkId);
  const [texts, setTexts] = useState({ coil_ohm: coil.text, supply_v: '12', duty: '', start_c: '', most_a: '' });
  const numbers = numbersOf(texts, ['coil_ohm', 'supply_v']);
  const load = useAnswer('dummy_load', numbers);
  const drive = useAnswer('outside_drive', numbers);
  const field = (name, label, help) => html`<${NumberField} name=${name} label=${label} help=${help} value=${texts[name]} answer=${drive && drive.error ? drive : load}
    onText=${(text) => setTexts({ ...texts, [name]: text })} />`;
  const check = byId(state.catalogue.checks, checkId);
  return html`<${Frame} screen="resistor" title="Dummy load and outside drive" caution="outside_drive" quiet=${true}
    bottom=${html`<${Button} act="to-check" kind="main" href=${`#/case/${encodeURIComponent(id)}/check/${encodeURIComponent(checkId)}`}>Back to: ${check.name}<//>`}>
    ${field('coil_ohm', `Resistance of the ${coil.name}, ohm`, coil.text ? 'As read in this case.' : 'Cold, across its two pins.')}
    ${field('supply_v', 'Supply, V', 'What drives it: battery or bench driver.')}
    <${Fold} act="more-fields" title="Duty, coil temperature, highest current">
      ${field('duty', 'On for which share of the time', '0 to 1; left empty it is 1, the worst.')}
      ${field('start_c', 'Coil before, degC', 'Left empty it is 60, a warm engine.')}
      ${field('most_a', 'Highest current the maker allows, A', 'Left empty it is unknown.')}
    <//>
    <${OtherProblems} answer=${load} shown=${SHOWN} />
    ${numbers ? null : html`<p class="help">Give resistance and supply.</p>`}
    ${load && load.ok ? html`<h2>On the control unit’s plug</h2>` : null}<${Load} answer=${load} />
    ${drive && drive.ok ? html`<h2>On the coil</h2>` : null}<${Drive} answer=${drive} />
  <//>`;
}
