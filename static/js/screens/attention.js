// Entries that the office could not take. They stay here, counted, until they go through or are put in a file.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Frame } from '../parts/frame.js';
import { getEntry } from '../offline/db.js';
import { formatReading, formatWhen } from '../format.js';
import { byId } from '../plan.js';
import { listRefused } from '../state.js';
import { address } from '../routes.js';

const KIND_WORDS = {
  case_opened: 'Case opened', vehicle_set: 'Vehicle details', complaint_set: 'Complaint', codes_set: 'Stored codes', limits_set: 'Limits',
  step_ticked: 'Step done', reading_taken: 'Reading', not_measured: 'Could not be measured', reading_voided: 'Reading struck out',
  note_added: 'Note', photo_added: 'Photo', caution_acknowledged: 'Caution read', signed_off: 'Sign-off', gate_overridden: 'Pump named all the same', concluded: 'Conclusion',
  repair_recorded: 'Repair', outcome_confirmed: 'Outcome', reopened: 'Opened again',
};

function describe(entry, catalogue) {
  const name = KIND_WORDS[entry.kind] || 'Entry';
  if (entry.kind !== 'reading_taken' || !catalogue) return name;
  const quantity = byId(catalogue.quantities, entry.body.quantity);
  return `${name}: ${quantity ? quantity.name.toLowerCase() : entry.body.quantity} ${formatReading(entry.body, quantity)}`;
}

function Refused({ row }) {
  const { state } = useApp();
  const [entry, setEntry] = useState(null);
  useEffect(() => { getEntry(row.id).then(setEntry, () => {}); }, [row.id]);
  return html`<li class="quantity" data-refused=${row.id}>
    <p class="quantity-name">${entry ? describe(entry, state.catalogue) : 'Entry'}</p>
    ${entry ? html`<p class="help">${formatWhen(entry.at)}</p>` : null}
    <p class="error">${row.problems.map((p) => p.text).join(' ')}</p>
    <${Button} act="open-case" href=${address('case', row.case)}>Open its case<//>
  </li>`;
}

function ProblemPhoto({ sha256, text }) {
  return html`<li class="quantity" data-refused=${sha256}><p class="quantity-name">Photo</p><p class="error">${text}</p></li>`;
}

const STORE_WORDS = { entries: 'Entry', cases: 'Row of the list of cases', outbox: 'Note of what waits' };

/** A record that is not whole any more; what is left of it goes into the file. */
function Damaged({ row }) {
  const record = typeof row.record === 'object' && row.record !== null ? row.record : {};
  const name = row.store === 'entries' ? KIND_WORDS[record.kind] : null;
  return html`<li class="quantity" data-aside=${`${row.store}:${row.key}`}><p class="quantity-name">${name || STORE_WORDS[row.store] || 'Record'}</p>
    <p class="help">Found damaged ${formatWhen(row.at)}. ${row.why}</p></li>`;
}

export function Attention() {
  const { state, act } = useApp();
  const rows = listRefused(state.outbox);
  const photos = Object.entries(state.photos.problems);
  const refused = rows.length + photos.length;
  return html`<${Frame} screen="attention" title="Needs attention" caution="general" quiet=${true}
    bottom=${refused ? html`<${Button} act="retry-refused" kind="main" onClick=${act.retryRefused}>Send them again<//>` : null}>
    ${refused ? html`<p>The office’s server did not take these. They are safe on this phone and still count here. Often a newer version
      of the app or of the server settles it; otherwise put everything in a file and hand it to the office.</p>` : null}
    <ul class="plain-list">${rows.map((row) => html`<${Refused} key=${row.id} row=${row} />`)}
      ${photos.map(([sha256, text]) => html`<${ProblemPhoto} key=${sha256} sha256=${sha256} text=${text} />`)}</ul>
    ${state.aside.length ? html`<h2>Damaged on this phone</h2><p>The storage of this phone gave these back damaged. They are set aside so that the
      rest goes on, and do not count. A damaged entry that had reached the office is whole there. Look through the case and record again what is missing.</p>
      <ul class="plain-list">${state.aside.map((row) => html`<${Damaged} key=${`${row.store}:${row.key}`} row=${row} />`)}</ul>` : null}
    ${refused + state.aside.length ? null : html`<p>Nothing needs attention.</p>`}
    <${Button} act="export" onClick=${() => act.exportAll()}>Put everything in a file<//>
  <//>`;
}
