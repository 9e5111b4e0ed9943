// One field a cylinder, drawn as a tube that fills while its figure is typed.
import { html } from './html.js';
import { parseTyped } from '../format.js';

const FULL = 72; // the fullest tube leaves the cylinder's name free
const LEAST_SCALE = 10;

/** Filled share of each tube, 0 to 100, against the fullest. @param {string[]} texts */
export function fillOf(texts) {
  const values = texts.map((text) => Math.max(0, parseTyped(text) || 0));
  const most = Math.max(LEAST_SCALE, ...values);
  return values.map((value) => (FULL * value) / most);
}

function Tube({ index, text, unit, fill, isActive, onText, onFocus }) {
  return html`<label class=${`place tube${isActive ? ' place-active' : ''}`} data-cylinder=${index + 1} data-fill=${Math.round(fill)}>
    <svg class="tube-drawing" viewBox="0 0 10 100" preserveAspectRatio="none" aria-hidden="true">
      <rect class="tube-level" x="0" width="10" y=${100 - fill} height=${fill} /><rect class="tube-edge" x="0" width="10" y=${100 - fill} height=${fill ? 3 : 0} /></svg>
    <span class="tube-number">Cyl. ${index + 1}</span>
    <input name=${`value-${index}`} aria-label=${`Cylinder ${index + 1}, ${unit}`} placeholder=${unit} inputmode="none" autocomplete="off" value=${text} onInput=${onText} onFocus=${onFocus} /></label>`;
}

/** @param {{form: object, onType: (index: number, text: string) => void, onFocus: (index: number) => void}} props */
export function Tubes({ form, onType, onFocus }) {
  const fills = fillOf(form.texts);
  const columns = form.texts.length === 5 || form.texts.length === 6 ? 3 : Math.min(4, form.texts.length);
  return html`<div class=${`tubes tubes-${columns}${form.texts.length > columns ? ' tubes-rows' : ''}`}>${form.texts.map((text, index) => html`<${Tube} key=${index} index=${index} text=${text} unit=${form.unit} fill=${fills[index]}
    isActive=${form.active === index} onText=${(e) => onType(index, e.currentTarget.value)} onFocus=${() => onFocus(index)} />`)}</div>`;
}
