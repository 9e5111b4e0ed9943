import { html } from './html.js';
import { Button } from './button.js';
import { pressKey } from '../format.js';

const KEYS = ['7', '8', '9', 'back', '4', '5', '6', 'clear', '1', '2', '3', '-', '0', '.'];
const LABELS = { '-': 'minus', '.': 'decimal point', back: 'delete last digit' };
const FACES = { '-': '−', '.': '.', back: '⌫', clear: 'Clear' };

/**
 * The number pad: four rows, so that value, pad and the save press fit one small screen.
 * @param {{text: string, onText: (text: string) => void, onNext?: () => void}} props onNext only where there are several fields
 */
export function Pad({ text, onText, onNext }) {
  const press = (key) => onText(key === 'clear' ? '' : pressKey(text, key));
  return html`<div class=${`pad${onNext ? ' pad-next' : ''}`} role="group" aria-label="Number pad">
    ${KEYS.map((key) => html`<${Button} act=${`key-${key}`} label=${LABELS[key]} onClick=${() => press(key)}>${FACES[key] || key}<//>`)}
    ${onNext ? html`<${Button} act="next-place" onClick=${onNext}>Next<//>` : null}
  </div>`;
}
