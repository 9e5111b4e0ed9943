// Safety words on every screen. The library's text is shown; the lines here stand in until it has loaded.
import { html, useApp } from './html.js';
import { byId } from '../plan.js';

const STAND_IN = {
  id: 'general', signal: 'WARNING', title: 'A fuel jet goes through skin and gloves',
  text: ['Never look for a leak with your hand. Keep clear of belts and fans. The vehicle maker’s instructions come first.'],
};

export function findCaution(catalogue, id) {
  return (catalogue && (byId(catalogue.cautions, id) || byId(catalogue.cautions, 'general'))) || STAND_IN;
}

/** The amber line; a press opens the whole text. */
export function CautionLine({ id }) {
  const { state } = useApp();
  const caution = findCaution(state.catalogue, id);
  return html`<details class="caution" data-caution=${caution.id}>
    <summary data-act="caution-open"><span class="signal"><span aria-hidden="true">▲</span> ${caution.signal}</span> <span>${caution.title}</span></summary>
    <div class="caution-text">${caution.text.map((line) => html`<p>${line}</p>`)}</div>
  </details>`;
}

/** The whole caution, open, as a panel to read before going on. */
export function CautionPanel({ caution }) {
  return html`<section class="caution-panel" data-caution=${caution.id}>
    <h2><span class="signal"><span aria-hidden="true">▲</span> ${caution.signal}</span> ${caution.title}</h2>
    ${caution.text.map((line) => html`<p>${line}</p>`)}
  </section>`;
}
