// The same thing measured before and after the repair, side by side.
import { html } from './html.js';
import { VerdictMark } from './verdict.js';
import { formatReading } from '../format.js';
import { compareReadings, verdictOf } from '../plan.js';

function Measured({ reading, quantity, assessment }) {
  if (!reading) return html`<td>Not measured</td>`;
  const verdict = verdictOf(assessment, reading.id);
  return html`<td><b class="compared">${formatReading(reading, quantity)}</b>${verdict ? html`<${VerdictMark} verdict=${verdict} />` : 'Not judged'}</td>`;
}

/** Nothing while nothing has been measured after the repair. */
export function Comparison({ kase, assessment, catalogue }) {
  const rows = compareReadings(kase, catalogue);
  if (!rows.length) return null;
  return html`<h2>Before and after the repair</h2>
    <table class="readings comparison" data-part="comparison"><thead><tr><th scope="col">Before</th><th scope="col">After</th></tr></thead>
      ${rows.map(({ quantity, before, after }) => html`<tbody key=${quantity.id} data-quantity=${quantity.id}>
        <tr><th scope="rowgroup" colspan="2">${quantity.name}</th></tr>
        <tr><${Measured} reading=${before} quantity=${quantity} assessment=${assessment} /><${Measured} reading=${after} quantity=${quantity} assessment=${assessment} /></tr>
      </tbody>`)}
    </table>`;
}
