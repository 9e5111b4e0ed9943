import { html } from './html.js';
import { Button } from './button.js';
import { Fold } from './frame.js';
import { findCaution } from './caution.js';

/**
 * One step of a check: one action, a press to tick it or to enter its value, and the reason behind another press.
 * @param {{step: any, number: number, done: boolean, current: boolean, spare: boolean, catalogue: any, children?: any, onTick: () => void}} props
 */
export function BigStep({ step, number, done, current, spare, catalogue, onTick, children }) {
  const caution = step.caution ? findCaution(catalogue, step.caution) : null;
  return html`<li class=${`step${done ? ' step-done' : ''}${current ? ' step-current' : ''}`} data-step=${step.id} data-done=${String(done)}>
    ${caution ? html`<p class="step-caution"><span class="signal"><span aria-hidden="true">▲</span> ${caution.signal}</span> ${caution.title}</p>` : null}
    ${onTick ? html`<${Button} act="tick" pressed=${done} onClick=${onTick}>
      <span class="step-box" aria-hidden="true">${done ? '✓' : number}</span><span>${step.text}</span>
    <//>` : html`<p class="step-text"><span class="step-box" aria-hidden="true">${done ? '✓' : number}</span><span>${step.text}</span></p>`}
    ${spare ? html`<p class="spare">Not needed so far. Enter it all the same if you have it.</p>` : null}
    ${children}
    ${step.why ? html`<${Fold} act="why" title="Why?"><p>${step.why}</p><//>` : null}
  </li>`;
}
