// The result to show, share or print.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Comparison } from '../parts/comparison.js';
import { Frame, personName } from '../parts/frame.js';
import { Ledger } from '../parts/ledger.js';
import { PumpStanding } from '../parts/pump.js';
import { RetestLine } from '../parts/retest.js';
import { VerdictMark } from '../parts/verdict.js';
import { saveFile } from '../offline/export.js';
import { formatReading, formatState, formatWhen } from '../format.js';
import { byId, verdictOf } from '../plan.js';
import { DOES_NOT_SAY, mainSentence, resultText } from '../result-text.js';
import { address } from '../routes.js';
import { caseName, useCase, vehicleLine } from './case.js';

function ResultReadings({ kase, assessment, catalogue }) {
  return html`<h2>Readings</h2><table class="readings"><thead><tr><th scope="col">What</th><th scope="col">Value</th><th scope="col">Verdict</th></tr></thead><tbody>
    ${kase.readings.map((reading) => {
    const quantity = byId(catalogue.quantities, reading.quantity);
    const verdict = verdictOf(assessment, reading.id);
    return html`<tr data-quantity=${reading.quantity}><td>${quantity ? quantity.name : reading.quantity}${reading.phase === 'after_repair' ? ' (after repair)' : ''}</td>
        <td>${formatReading(reading, quantity)}</td><td>${verdict ? html`<${VerdictMark} verdict=${verdict} />` : 'superseded'}</td></tr>`;
  })}</tbody></table>`;
}

async function share(text, name) {
  if (navigator.share) {
    try {
      await navigator.share({ title: name, text });
      return '';
    } catch (error) {
      if (error.name === 'AbortError') return '';
    }
  }
  saveFile(`${name.replace(/[^\w-]+/g, '-').toLowerCase()}.txt`, text, 'text/plain');
  return 'Saved as a text file: this browser cannot share.';
}

export function Result({ id }) {
  const { state, kase, assessment } = useCase();
  const { catalogue } = state;
  const [said, setSaid] = useState('');
  const onShare = async () => setSaid(await share(resultText(kase, assessment, catalogue, (id) => personName(state, id)), `Diagnosis ${caseName(kase)}`));
  return html`<${Frame} screen="result" title=${`Result: ${caseName(kase)}`} caution="office_report"
    aside=${html`<${Ledger} kase=${kase} assessment=${assessment} />`}
    bottom=${html`<${Button} act="share" kind="main" onClick=${onShare}>Share the result<//>`}>
    <p class="help">${vehicleLine(kase, catalogue)} · ${formatState(kase.state, assessment && assessment.retest)} · ${formatWhen(kase.updated_at)}</p>
    <p class="headline" data-conclusion=${kase.concluded ? kase.concluded.fault || 'own-words' : ''}>${mainSentence(kase, assessment)}</p>
    ${assessment && assessment.retest.status !== 'not_due' ? html`<${RetestLine} retest=${assessment.retest} />` : null}
    <${Comparison} kase=${kase} assessment=${assessment} catalogue=${catalogue} />
    ${said ? html`<p role="status">${said}</p>` : null}
    ${assessment ? html`<${PumpStanding} pump=${assessment.pump} catalogue=${catalogue} />` : null}
    <div class="narrow-only"><${Ledger} kase=${kase} assessment=${assessment} /></div>
    <${ResultReadings} kase=${kase} assessment=${assessment} catalogue=${catalogue} />
    ${assessment && assessment.notes.length ? html`<h2>Remarks</h2><ul>${[...new Set(assessment.notes)].map((note) => html`<li>${note}</li>`)}</ul>` : null}
    <h2>What this does not say</h2><ul>${DOES_NOT_SAY.map((text) => html`<li>${text}</li>`)}</ul>
    <div class="stack no-print">
      <${Button} act="print" onClick=${() => print()}>Print<//>
      <${Button} act="conclude" href=${address('case', id, 'conclude')}>Conclude, repair, confirm<//>
    </div>
  <//>`;
}
