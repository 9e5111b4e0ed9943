import { html, useApp, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextField } from '../parts/field.js';
import { Frame } from '../parts/frame.js';
import { formatCount, formatWhen } from '../format.js';
import { countUnsent } from '../state.js';
import { askPersistence } from '../offline/persist.js';
import { dialable } from './injury.js';

const THEMES = [{ id: 'auto', name: 'As the phone' }, { id: 'light', name: 'Light' }, { id: 'dark', name: 'Dark' }];
const UNITS = ['bar', 'psi', 'MPa', 'kPa'].map((id) => ({ id, name: id }));
const SYNC_WORDS = { idle: '', running: 'Sending now …', done: 'Last contact', offline: 'No contact with the server just now. It is tried again by itself.', failed: 'The last try failed' };

function Sending({ state, act }) {
  const unsent = countUnsent(state.outbox);
  const { sync } = state;
  const words = sync.status === 'done' ? `Last contact ${formatWhen(sync.at)}.` : sync.status === 'failed' ? `The last try failed: ${sync.text}` : SYNC_WORDS[sync.status];
  return html`<section><h2>Sending</h2>
    <p data-unsent=${unsent}>${unsent ? `${formatCount(unsent, 'entry', 'entries')} only on this phone.` : 'Nothing waits to be sent.'}</p>
    <p class="help" data-sync=${sync.status}>${words}</p>
    ${state.paired ? html`<${Button} act="sync" onClick=${act.syncNow}>Send now<//>` : null}
    <${Button} act="pair" href="#/pair">${state.paired ? 'Pair again' : 'Pair with an office'}<//>
    <${Button} act="export" onClick=${() => act.exportAll()}>Put everything in a file<//>
  </section>`;
}

function Storage({ state, act }) {
  const ask = async () => act.send({ type: 'persistence_known', persisted: await askPersistence() });
  const words = state.persisted === true ? 'The browser promised to keep what this app stores.'
    : 'The browser has not promised to keep what this app stores. It may clear it when space runs out or after a long pause. Put the app on the home screen and send often.';
  return html`<section><h2>Storage</h2><p data-persisted=${String(state.persisted)}>${words}</p>
    ${state.persisted === true ? null : html`<${Button} act="persist" onClick=${ask}>Ask the browser again<//>`}</section>`;
}

function Person({ state, act }) {
  const { person, workshop, settings } = state;
  if (state.paired) return html`<section><h2>Person</h2><p data-person=${person.id}>${person.name}, ${person.role}${workshop ? html`, ${workshop.name}` : null}</p></section>`;
  return html`<section><h2>Person</h2><${TextField} name="name" label="Your name" help="Shown on this phone until it is paired." value=${settings.name} onText=${(name) => act.changeSettings({ name })} /></section>`;
}

function Emergency({ state, act }) {
  const [number, setNumber] = useState(state.settings.emergency);
  const change = (text) => {
    setNumber(text);
    if (/\d{2,}/.test(text)) act.changeSettings({ emergency: text.trim() });
  };
  return html`<section><h2>Emergency number</h2>
    <${TextField} name="emergency" label="Number on the injury card" help=${`Dials ${dialable(number)}.`} value=${number} onText=${change} extra=${{ inputmode: 'tel' }}
      error=${/\d{2,}/.test(number) ? '' : `"${number}" is not a number that can be dialled; ${state.settings.emergency} stays in use.`} /></section>`;
}

export function Settings() {
  const { state, act } = useApp();
  const { settings, engine, update } = state;
  return html`<${Frame} screen="settings" title="Settings" caution="general">
    <${Person} state=${state} act=${act} />
    <${Sending} state=${state} act=${act} />
    <${Emergency} state=${state} act=${act} />
    <section><h2>Screen</h2><${Choices} name="theme" label="Light or dark" wrap=${true} options=${THEMES} isChosen=${(t) => t === settings.theme} onPick=${(theme) => act.changeSettings({ theme })} /></section>
    <section><h2>Units</h2><${Choices} name="pressure-unit" label="Pressure is entered in" wrap=${true} options=${UNITS} isChosen=${(u) => u === settings.pressure_unit}
      onPick=${(pressure_unit) => act.changeSettings({ pressure_unit, units: {} })} /></section>
    <${Storage} state=${state} act=${act} />
    <section><h2>This app</h2>
      <p data-engine=${engine.status}>${engine.status === 'ready' ? `Judging part ready, version ${engine.version}.` : engine.status === 'failed' ? `Judging part not running: ${engine.error}` : 'Judging part is starting.'}</p>
      <p data-offline-ready=${String(state.offlineReady)}>${state.offlineReady ? 'The app is stored on this phone and opens with no signal.' : 'Not yet stored for work with no signal. Keep this page open while there is one.'}</p>
      <p class="help">${update.waiting ? 'A new version is ready above.' : 'This is the newest version this phone knows.'}</p>
      <p class="help">Vehicle maker’s instructions, local rules and licensed practice come first.</p>
    </section>
  <//>`;
}
