import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextField } from '../parts/field.js';
import { Frame } from '../parts/frame.js';
import { formatCount, formatWhen } from '../format.js';
import { countUnsent } from '../state.js';
import { sayEntries, sayPhotos } from '../sending.js';
import { forgetPhotos, listSentPhotos } from '../offline/db.js';
import { askPersistence, readSpace } from '../offline/persist.js';
import { dialable } from './injury.js';

const THEMES = [{ id: 'auto', name: 'As the phone' }, { id: 'light', name: 'Light' }, { id: 'dark', name: 'Dark' }];
const UNITS = ['bar', 'psi', 'MPa', 'kPa'].map((id) => ({ id, name: id }));
const SYNC_WORDS = { idle: '', shut: '', running: 'Sending now …', elsewhere: 'Another tab of this app is sending.' };

function sayContact({ sync }) {
  if (sync.status === 'done') return `Last contact ${formatWhen(sync.at)}.`;
  if (sync.status === 'failed') return `The last try failed: ${sync.text} It is tried again by itself.`;
  if (sync.status === 'offline') return `${sync.text} It is tried again by itself. If there is a signal and this stays, look whether date and time of this phone are right.`;
  return SYNC_WORDS[sync.status];
}

function Sending({ state, act }) {
  const unsent = countUnsent(state.outbox);
  return html`<section><h2>Sending</h2>
    <p data-unsent=${unsent}>${sayEntries(state) || 'Nothing waits to be sent.'}</p>
    ${state.photos.waiting ? html`<p data-photos-waiting=${state.photos.waiting}>${sayPhotos(state)}</p>` : null}
    <p class="help" data-sync=${state.sync.status}>${sayContact(state)}</p>
    ${state.paired ? html`<${Button} act="sync" onClick=${act.syncNow}>Send now<//>` : null}
    <${Button} act="pair" href="#/pair">${state.paired ? 'Pair again' : 'Pair with an office'}<//>
    <${Button} act="export" onClick=${() => act.exportAll()}>Put everything in a file<//>
  </section>`;
}

const sayBytes = (bytes) => (bytes < 1e9 ? `${(bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0)} MB` : `${(bytes / 1e9).toFixed(0)} GB`);

/** Photos that the office has may leave this phone: the way out when it is full. */
function Space() {
  const [space, setSpace] = useState(null);
  const [photos, setPhotos] = useState([]);
  const [done, setDone] = useState('');
  const look = () => Promise.all([readSpace().then(setSpace), listSentPhotos().then(setPhotos, () => {})]);
  useEffect(() => { look(); }, []);
  const free = async () => {
    try {
      await forgetPhotos(photos.map((photo) => photo.sha256));
      setDone('They are removed here, and come back from the office when you look at them.');
    } catch {
      setDone('The browser did not remove them. Close and open the app, then try again.');
    }
    await look();
  };
  const size = photos.reduce((sum, photo) => sum + photo.size, 0);
  return html`${space ? html`<p class="help" data-space="true">This app uses ${sayBytes(space.used)}; the browser allows about ${sayBytes(space.quota)}.</p>` : null}
    ${photos.length ? html`<${Button} act="free-space" onClick=${free}>Remove ${formatCount(photos.length, 'photo')} that the office has, ${sayBytes(size)}<//>` : null}
    ${done ? html`<p role="status">${done}</p>` : null}`;
}

function Storage({ state, act }) {
  const ask = async () => act.send({ type: 'persistence_known', persisted: await askPersistence() });
  const words = state.persisted === true ? 'The browser promised to keep what this app stores.'
    : 'The browser has not promised to keep what this app stores. It may clear it when space runs out, after a long pause, or at the end of private browsing. Put the app on the home screen and send often.';
  return html`<section><h2>Storage</h2><p data-persisted=${String(state.persisted)}>${words}</p>
    <${Space} />
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
    <section><h2>Practice</h2><${Button} act="practice" href="#/practice">Find the fault of a made-up car<//></section>
    <section><h2>This app</h2>
      <p data-engine=${engine.status}>${engine.status === 'ready' ? `Judging part ready, version ${engine.version}.` : engine.status === 'failed' ? `Judging part not running: ${engine.error}` : 'Judging part is starting.'}</p>
      <p data-offline-ready=${String(state.offlineReady)}>${state.offlineReady ? 'The app is stored on this phone and opens with no signal.' : 'Not yet stored for work with no signal. Keep this page open while there is one.'}</p>
      <p class="help">${update.waiting ? 'A new version is ready above.' : 'This is the newest version this phone knows.'}</p>
      <p class="help">Vehicle maker’s instructions, local rules and licensed practice come first.</p>
    </section>
  <//>`;
}
