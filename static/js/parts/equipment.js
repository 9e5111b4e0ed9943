// What a check needs, and what of it is not to hand today; the warmth of the fuel where it can be read.
import { html, useState } from './html.js';
import { Button } from './button.js';
import { TextField } from './field.js';

const WARMED = ['crank', 'decay', 'retest'];

/** Said plainly where it matters: the engine plans round it, the person may do the check all the same. */
export function Lacking({ check, kase }) {
  const lacking = check.equipment.filter((item) => (kase.lacking || []).includes(item));
  if (!lacking.length) return null;
  return html`<p class="warn" data-message="lacking">Not to hand today, you said: ${lacking.join('; ')}.</p>`;
}

function FuelTemperature({ id, kase, act }) {
  const known = kase.fuel_temperature_c;
  const [text, setText] = useState(known === null || known === undefined ? '' : String(known));
  const [trouble, setTrouble] = useState('');
  const save = async () => {
    const value = Number(text.trim().replace(',', '.'));
    if (text.trim() === '' || !(value >= -40 && value <= 150)) return setTrouble(`${text.trim() || 'Nothing'} is no fuel temperature; write -40 to 150.`);
    setTrouble('');
    return act.record([{ case: id, kind: 'circumstances_set', body: { fuel_temperature_c: value } }]);
  };
  return html`<${TextField} name="fuel_temperature" label="Fuel temperature, if it is shown (degrees C)" value=${text} error=${trouble} onText=${setText} extra=${{ inputmode: 'decimal' }} />
    <${Button} act="save-warmth" onClick=${save}>Save the temperature<//>`;
}

export function Equipment({ id, check, kase, act }) {
  const lacking = kase.lacking || [];
  const toggle = (item) => act.record([{ case: id, kind: 'circumstances_set', body: { lacking: lacking.includes(item) ? lacking.filter((l) => l !== item) : [...lacking, item] } }]);
  return html`<div class="stack">
    ${check.equipment.length ? html`<h2 class="minor">You need</h2><p>Press what you do not have today. Checks that need it are then not asked for.</p>` : null}
    ${check.equipment.map((item) => html`<${Button} key=${item} act="lack" pressed=${lacking.includes(item)} extra=${{ 'data-choice': item }} onClick=${() => toggle(item)}>
      <span class="choice-name">${item}</span><span class="choice-help">${lacking.includes(item) ? 'Not to hand today' : 'To hand'}</span><//>`)}
    ${WARMED.includes(check.id) ? html`<${FuelTemperature} id=${id} kase=${kase} act=${act} />` : null}
  </div>`;
}
