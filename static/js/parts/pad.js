import { html } from './html.js';
import { Button } from './button.js';
import { pressKey } from '../format.js';

const KEYS = ['7', '8', '9', '4', '5', '6', '1', '2', '3', '-', '0', '.'];
const LABELS = { '-': 'minus', '.': 'decimal point' };
const FACES = { '-': '−', '.': '.' };

/** The number pad. @param {{text: string, onText: (text: string) => void}} props */
export function Pad({ text, onText }) {
  return html`<div class="pad" role="group" aria-label="Number pad">
    ${KEYS.map((key) => html`<${Button} act=${`key-${key}`} label=${LABELS[key]} onClick=${() => onText(pressKey(text, key))}>${FACES[key] || key}<//>`)}
    <${Button} act="key-clear" onClick=${() => onText('')}>Clear<//>
    <${Button} act="key-back" label="delete last digit" onClick=${() => onText(pressKey(text, 'back'))}>⌫<//>
  </div>`;
}
