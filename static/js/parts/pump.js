// Where the pump stands: in a word, and with the names of what is missing.
import { html } from './html.js';
import { PersonName } from './frame.js';
import { PUMP_WORDS, formatWhen } from '../format.js';
import { byId } from '../plan.js';

export function missingNames(pump, catalogue) {
  const names = pump.missing.map((id) => (byId(catalogue.quantities, id) || { name: id }).name.toLowerCase());
  return [...new Set(names)];
}

/** Who names the pump although it is not proven, and why; or that somebody did and nobody answers for it. */
export function PumpOverride({ pump }) {
  if (pump.warning) return html`<p class="warn" data-message="pump-named">${pump.warning}</p>`;
  if (!pump.override) return null;
  return html`<p class="warn" data-override="true">Named all the same by <${PersonName} id=${pump.override.by} />, ${formatWhen(pump.override.at)}: ${pump.override.reason}</p>`;
}

export function PumpStanding({ pump, catalogue }) {
  const missing = missingNames(pump, catalogue);
  return html`<div class="pump" data-pump=${pump.status}>
    <p><b>${PUMP_WORDS[pump.status]}.</b> ${pump.status === 'condemned' ? '' : pump.status === 'cleared' ? 'It has shown that it makes pressure.' : 'Do not replace it on this evidence.'}</p>
    ${missing.length && !pump.warning ? html`<p>Missing before it may be blamed: ${missing.join(', ')}.</p>` : null}
    <${PumpOverride} pump=${pump} />
  </div>`;
}
