import { html, useApp, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { TextField } from '../parts/field.js';
import { Frame } from '../parts/frame.js';
import { STATE_WORDS, caseTitle, formatCount, formatWhen } from '../format.js';
import { countQuestions } from '../offline/rows.js';
import { address } from '../routes.js';
import { countUnsent } from '../state.js';
import { readSending, sayEntries, sayPhotos, shortSending } from '../sending.js';

const STEP = 40;
const SEARCH_FROM = 9;

/** Cases whose name or registration holds every word. */
export function findCases(rows, text) {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  return rows.filter((row) => words.every((word) => `${row.label} ${row.registration}`.toLowerCase().includes(word)));
}

function CaseRow({ row, state }) {
  const unsent = countUnsent(state.outbox, row.id);
  const words = shortSending(state, row.id);
  const asked = countQuestions(row);
  const job = row.job && row.job === state.person.id;
  return html`<li class="row" data-case=${row.id} data-state=${row.state}>
    <${Button} act="open-case" kind="row" href=${address('case', row.id)}>
      <span class="row-main">${caseTitle(row)}${row.registration && row.label ? html`<span class="plate">${row.registration}</span>` : null}</span>
      ${job || asked ? html`<span class="row-note"><b data-job=${job ? 'new' : ''} data-asked=${asked}>${[job && 'New job from the office', asked && formatCount(asked, 'open question')].filter(Boolean).join(' · ')}</b></span>` : null}
      <span class="row-note">${row.duplicate ? 'Duplicate' : STATE_WORDS[row.state]} · ${formatWhen(row.updated_at)}${unsent ? html` · <b data-unsent=${unsent}>${words}</b>` : words ? ` · ${words}` : null}</span>
    <//>
  </li>`;
}

/** One line on what has not left this phone: the promise is that nobody is surprised by it. */
export function UnsentLine() {
  const { state } = useApp();
  const unsent = countUnsent(state.outbox);
  const { status } = readSending(state);
  if (status === 'kept') return html`<p class="help" data-unsent="0">This phone is not paired with an office. You can work all the same; pair it in Settings.</p>`;
  return html`<p class=${unsent ? 'unsent' : 'help'} data-unsent=${unsent} data-sending=${status}>${sayEntries(state)}</p>
    ${state.photos.waiting ? html`<p class="help" data-photos-waiting=${state.photos.waiting}>${sayPhotos(state)}</p>` : null}`;
}

export function Cases() {
  const { state } = useApp();
  const [text, setText] = useState('');
  const [most, setMost] = useState(STEP);
  const found = findCases(state.cases, text);
  return html`<${Frame} screen="cases" title="Cases" caution="general"
    bottom=${html`<${Button} act="new-case" kind="main" href="#/new">New case<//>`}>
    <${UnsentLine} />
    ${state.cases.length === 0 ? html`<p>No case on this phone yet. A case is one job on one vehicle: press “New case” to begin.</p>` : null}
    ${state.cases.length === 0 && !state.paired ? html`<p data-came-back="">Were there cases here before? Then the browser has cleared them. Pair this phone again in Settings: what had been sent to the office comes back.</p>` : null}
    ${state.cases.length >= SEARCH_FROM ? html`<${TextField} name="find" label="Find a vehicle" value=${text} onText=${setText} />` : null}
    ${state.cases.length && found.length === 0 ? html`<p>No case on this phone holds these words.</p>` : null}
    <ul class="rows">${found.slice(0, most).map((row) => html`<${CaseRow} key=${row.id} row=${row} state=${state} />`)}</ul>
    ${found.length > most ? html`<${Button} act="older" onClick=${() => setMost(most + STEP)}>Show ${Math.min(STEP, found.length - most)} more of ${found.length}<//>` : null}
    <${Button} act="settings" href="#/settings">Settings<//>
  <//>`;
}
