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

export function Attention() {
  const { state, act } = useApp();
  const rows = listRefused(state.outbox);
  return html`<${Frame} screen="attention" title="Needs attention" caution="general" quiet=${true}
    bottom=${rows.length ? html`<${Button} act="retry-refused" kind="main" onClick=${act.retryRefused}>Send them again<//>` : null}>
    ${rows.length ? html`<p>The office’s server did not take these. They are safe on this phone and still count here. Often a newer version
      of the app or of the server settles it; otherwise put everything in a file and hand it to the office.</p>` : html`<p>Nothing needs attention.</p>`}
    <ul class="plain-list">${rows.map((row) => html`<${Refused} key=${row.id} row=${row} />`)}</ul>
    <${Button} act="export" onClick=${() => act.exportAll()}>Put everything in a file<//>
  <//>`;
}
