// Lines that tell the state of the app in plain words. A line appears only when there is something to do or to know.
import { html, useApp } from './html.js';
import { Button } from './button.js';
import { canUpdate, listRefused } from '../state.js';
import { formatCount } from '../format.js';

function UpdateLine({ state, act }) {
  if (state.update.replaced) {
    return html`<div class="line" data-line="replaced"><p>A newer version runs in another tab. Open the app again here when it suits you.</p>
      <${Button} act="reload" onClick=${() => location.reload()}>Open again<//></div>`;
  }
  if (!canUpdate(state)) return null;
  return html`<div class="line" data-line="update"><p>A new version is ready. Nothing you saved changes.</p>
    <${Button} act="update-accept" onClick=${act.acceptUpdate}>Update now<//></div>`;
}

function EngineLine({ state, act }) {
  if (state.engine.status !== 'failed') return null;
  return html`<div class="line" data-line="engine"><p>The judging part does not run on this phone just now. You can still record
    readings; they are judged later, here or at the office.</p>
    <${Button} act="engine-retry" onClick=${act.retryEngine}>Try to start it<//></div>`;
}

function SecureLine() {
  if (globalThis.isSecureContext) return null;
  return html`<div class="line" data-line="insecure"><p>This address is not a secure one (https). The app cannot work without a signal from
    here, and cannot take photos. Ask the office for the secure address.</p></div>`;
}

export function StatusLines() {
  const { state, act } = useApp();
  const refused = listRefused(state.outbox).length;
  return html`
    ${state.notice ? html`<div class="line" role="status" data-line="notice"><p>${state.notice}</p></div>` : null}
    <${SecureLine} />
    <${UpdateLine} state=${state} act=${act} />
    <${EngineLine} state=${state} act=${act} />
    ${state.pairAgain ? html`<div class="line" data-line="pair-again"><p>The office no longer knows this phone. Everything stays here; pair it again to send.</p>
      <${Button} act="pair-again" href="#/pair">Pair again<//></div>` : null}
    ${refused ? html`<div class="line" data-line="attention"><p>${formatCount(refused, 'entry', 'entries')} could not be taken by the office and ${refused === 1 ? 'needs' : 'need'} attention.</p>
      <${Button} act="attention" href="#/attention">Look at ${refused === 1 ? 'it' : 'them'}<//></div>` : null}`;
}
