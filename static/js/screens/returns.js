// Injector return: tubes that fill while typing, a clock for the collection, a photo of the tubes.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Collecting } from '../parts/collecting.js';
import { Choices } from '../parts/field.js';
import { typeText } from '../parts/entry-form.js';
import { Frame } from '../parts/frame.js';
import { TakePhoto } from '../parts/take-photo.js';
import { DEFAULT_TIMING } from '../parts/timer-setup.js';
import { Tubes } from '../parts/tubes.js';
import { byId } from '../plan.js';
import { address } from '../routes.js';
import { useCase } from './case.js';
import { Instrument, LimitHelp, Message, NumberPad, SaveReading, STATE_NAMES, useReadingForm } from './reading.js';

function Duration({ form, change }) {
  const index = form.texts.length;
  return html`<label class=${`place${form.active === index ? ' place-active' : ''}`}><span>Time</span>
    <input name="duration" inputmode="none" autocomplete="off" value=${form.duration} onInput=${(e) => change(typeText({ ...form, active: index }, e.currentTarget.value))}
      onFocus=${() => change({ ...form, active: index })} /><span class="unit">s</span></label>`;
}

export function Returns({ id, check: checkId, quantity: quantityId }) {
  const { state } = useCase();
  const entry = useReadingForm(id, checkId, quantityId);
  const { kase, catalogue, quantity, check, form, change, missing, live, problems } = entry;
  const [collecting, setCollecting] = useState(false);
  const wanted = { ...DEFAULT_TIMING, ...state.settings.timing };
  const instruments = quantity.instruments.map((name) => byId(catalogue.instruments, name)).filter(Boolean);
  const done = (seconds) => {
    setCollecting(false);
    if (seconds !== null) change({ ...form, duration: String(Number(seconds.toFixed(1))), active: 0 });
  };
  if (collecting) {
    return html`<${Frame} screen="returns" title=${quantity.name} caution="cranking" quiet=${true}>
      <${Collecting} condition=${form.condition} wanted=${wanted} onDone=${done} /><//>`;
  }
  return html`<${Frame} screen="returns" title=${quantity.name} caution=${check.cautions[0]} quiet=${true}
    bottom=${html`<${NumberPad} form=${form} quantity=${quantity} setForm=${change} /><${SaveReading} ...${entry} />`}>
    <${Tubes} form=${form} onType=${(index, text) => change(typeText({ ...form, active: index }, text))} onFocus=${(index) => change({ ...form, active: index })} />
    <div class="pair pair-half"><${Duration} form=${form} change=${change} /><${Button} act="collect" onClick=${() => setCollecting(true)}>Time it<//></div>
    <${Message} live=${live} problems=${problems} whole=${!missing} />
    <${Choices} name="state" label="Engine" wrap=${true} options=${quantity.states.map((s) => ({ id: s, name: STATE_NAMES[s] || s }))}
      isChosen=${(s) => s === form.condition} onPick=${(condition) => change({ ...form, condition })} />
    <${TakePhoto} id=${id} check=${checkId} caption=${quantity.name} label="Photo of the tubes" />
    <${Instrument} form=${form} instruments=${instruments} onPick=${(instrument) => change({ ...form, instrument })} />
    <${LimitHelp} id=${id} checkId=${checkId} quantity=${quantity} kase=${kase} catalogue=${catalogue} />
    <${Button} act="missing" href=${address('case', id, 'check', checkId, 'missing', quantityId)}>Could not measure<//>
  <//>`;
}
