// Lines that tell the state of the app in plain words. A line appears only when there is something to do or to know.
import { html, useApp } from './html.js';
import { Button } from './button.js';
import { setMeta } from '../offline/db.js';
import { canUpdate, listRefused } from '../state.js';
import { sayCleared, sayShut } from '../sending.js';
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

function PairLine({ state, act }) {
  if (!state.pairAgain) return null;
  return html`<div class="line" data-line="pair-again" data-reason=${String(state.pairAgain)}><p>${sayShut(state.pairAgain)}</p>
    <div class="stack"><${Button} act="pair-again" href="#/pair">Pair again<//>
    <${Button} act="export" onClick=${() => act.exportAll()}>Put everything in a file<//></div></div>`;
}

/** Stays until it was read: what happened to the storage is not news for one screen only. */
function ClearedLine({ state, act }) {
  if (!state.cleared) return null;
  const read = () => setMeta('cleared', null).then(() => act.send({ type: 'cleared', cleared: null }), () => {});
  return html`<div class="line" data-line="cleared"><p>${sayCleared(state.cleared, state.paired)}</p>
    <div class="stack">${state.paired ? null : html`<${Button} act="pair-again" href="#/pair">Pair this phone<//>`}
    <${Button} act="cleared-read" onClick=${read}>I have read this<//></div></div>`;
}

function ClockLine({ state }) {
  return state.clockWarning ? html`<div class="line" data-line="clock"><p>${state.clockWarning.text}</p></div>` : null;
}

/** Refused by the office, not to be sent, or damaged: all of it on one screen. */
function AttentionLine({ state }) {
  const refused = listRefused(state.outbox).length + Object.keys(state.photos.problems).length;
  const damaged = state.aside.length;
  if (refused + damaged === 0) return null;
  const it = refused + damaged === 1 ? 'it' : 'them';
  return html`<div class="line" data-line="attention">
    ${refused ? html`<p>${formatCount(refused, 'entry or photo', 'entries or photos')} could not be taken by the office and ${refused === 1 ? 'needs' : 'need'} attention.</p>` : null}
    ${damaged ? html`<p>${formatCount(damaged, 'record')} on this phone ${damaged === 1 ? 'is' : 'are'} damaged and ${damaged === 1 ? 'does' : 'do'} not count.</p>` : null}
    <${Button} act="attention" href="#/attention">Look at ${it}<//></div>`;
}

export function StatusLines() {
  const { state, act } = useApp();
  return html`
    ${state.notice ? html`<div class="line" role="status" data-line="notice"><p>${state.notice}</p></div>` : null}
    <${SecureLine} />
    <${ClearedLine} state=${state} act=${act} />
    <${UpdateLine} state=${state} act=${act} />
    <${EngineLine} state=${state} act=${act} />
    <${PairLine} state=${state} act=${act} />
    <${ClockLine} state=${state} />
    <${AttentionLine} state=${state} />`;
}
