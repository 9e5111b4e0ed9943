import { html, useApp } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Frame } from '../parts/frame.js';
import { STATE_WORDS, caseTitle, formatCount, formatWhen } from '../format.js';
import { address } from '../routes.js';
import { countUnsent } from '../state.js';

const FIRST_SHOWN = 40;

function CaseRow({ row, outbox }) {
  const unsent = countUnsent(outbox, row.id);
  return html`<li class="row" data-case=${row.id} data-state=${row.state}>
    <${Button} act="open-case" kind="row" href=${address('case', row.id)}>
      <span class="row-main">${caseTitle(row)}${row.registration && row.label ? html`<span class="plate">${row.registration}</span>` : null}</span>
      <span class="row-note">${STATE_WORDS[row.state]} · ${formatWhen(row.updated_at)}${unsent ? html` · <b data-unsent=${unsent}>${unsent} only on this phone</b>` : null}</span>
    <//>
  </li>`;
}

/** One line on what has not left this phone: the promise is that nobody is surprised by it. */
export function UnsentLine() {
  const { state } = useApp();
  const unsent = countUnsent(state.outbox);
  if (unsent === 0 && state.paired) return html`<p class="help" data-unsent="0">Everything has reached the office.</p>`;
  if (unsent === 0) return html`<p class="help" data-unsent="0">This phone is not paired with an office. You can work all the same; pair it in Settings.</p>`;
  const them = unsent === 1 ? 'it' : 'them';
  const why = state.pairAgain ? `Pair this phone again to send ${them}.` : !state.paired ? `Pair this phone in Settings to send ${them}.`
    : state.sync.status === 'running' ? 'Sending now …' : 'Sent without your doing when there is a signal.';
  return html`<p class="unsent" data-unsent=${unsent}>${formatCount(unsent, 'entry', 'entries')} only on this phone. ${why}</p>`;
}

export function Cases() {
  const { state } = useApp();
  const shown = state.cases.slice(0, FIRST_SHOWN);
  const rest = state.cases.slice(FIRST_SHOWN);
  return html`<${Frame} screen="cases" title="Cases" caution="general"
    bottom=${html`<${Button} act="new-case" kind="main" href="#/new">New case<//>`}>
    <${UnsentLine} />
    ${state.cases.length === 0 ? html`<p>No case on this phone yet. A case is one job on one vehicle: press “New case” to begin.</p>` : null}
    <ul class="rows">${shown.map((row) => html`<${CaseRow} key=${row.id} row=${row} outbox=${state.outbox} />`)}</ul>
    ${rest.length ? html`<details class="fold"><summary data-act="older">${formatCount(rest.length, 'older case')}</summary>
      <ul class="rows">${rest.map((row) => html`<${CaseRow} key=${row.id} row=${row} outbox=${state.outbox} />`)}</ul></details>` : null}
    <${Button} act="settings" href="#/settings">Settings<//>
  <//>`;
}
