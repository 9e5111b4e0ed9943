// The end of a case, in three parts that may lie days apart: conclude, repair, confirm. And the way back: reopen.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextArea } from '../parts/field.js';
import { Fold, Frame } from '../parts/frame.js';
import { Override } from '../parts/override.js';
import { PumpStanding, missingNames } from '../parts/pump.js';
import { RetestLine } from '../parts/retest.js';
import { Problems, useWriter } from '../parts/writer.js';
import { formatChance } from '../format.js';
import { PUMP_FAULT, conclusionBody, mayDecide, mayNamePump, namedPumpText } from '../gate.js';
import { byId, fitsVehicle } from '../plan.js';
import { address } from '../routes.js';
import { caseName, useCase } from './case.js';

function Standing({ conclusion, assessment, catalogue, decides }) {
  const likely = assessment ? assessment.suspects.slice(0, 3) : [];
  if (conclusion) return html`<p class="headline" data-conclusion=${conclusion.fault}>${conclusion.text}</p>`;
  return html`<p>The evidence does not settle it yet.${decides ? ' You can still conclude in your own words; the record shows what was open.' : ''}</p>
    ${likely.length ? html`<p>Most likely so far: ${likely.map((s) => `${(byId(catalogue.faults, s.fault) || { name: s.fault }).name.toLowerCase()} (${formatChance(s.probability)})`).join(', ')}.</p>` : null}`;
}

const NAMED = [
  { id: PUMP_FAULT, name: 'Name the high-pressure pump', help: 'The report says who answers for it, and why.' },
  { id: 'none', name: 'Name no part', help: 'Your words stand alone.' },
];

function ConcludePart({ id, assessment, act, catalogue, person }) {
  const conclusion = assessment && assessment.conclusion;
  const decides = mayDecide(person);
  const [named, setNamed] = useState('');
  const form = useWriter(id, 'concluded', act, `conclude.${id}`, conclusion ? conclusion.text : '');
  const chooses = Boolean(assessment && !conclusion && assessment.pump.override);
  const pick = (choice) => {
    const words = namedPumpText(missingNames(assessment.pump, catalogue));
    setNamed(choice);
    if (choice === PUMP_FAULT && !form.text.trim()) form.change(words);
    if (choice !== PUMP_FAULT && form.text === words) form.change('');
  };
  const body = () => conclusionBody(form.text.trim(), assessment, chooses && named === PUMP_FAULT ? PUMP_FAULT : null);
  const done = async () => { if (await form.save(body())) location.hash = address('case', id, 'result'); };
  return html`<section data-part="conclude">
    <${Standing} conclusion=${conclusion} assessment=${assessment} catalogue=${catalogue} decides=${decides} />
    ${assessment ? html`<${PumpStanding} pump=${assessment.pump} catalogue=${catalogue} />` : null}
    ${decides ? html`${chooses ? html`<${Choices} name="named" label="This conclusion" options=${NAMED} isChosen=${(choice) => choice === named} onPick=${pick} />` : null}
    <${TextArea} name="conclusion" label="Conclusion, as the customer should read it" value=${form.text} onText=${form.change} />
    <${Problems} rows=${form.problems} />
    <${Button} act="save-conclusion" kind="main" disabled=${!form.text.trim() || (chooses && !named)} onClick=${done}>Sign the conclusion<//>` : null}
    ${mayNamePump(person, assessment) ? html`<${Override} id=${id} pump=${assessment.pump} catalogue=${catalogue} act=${act} />` : null}
  </section>`;
}

function RepairPart({ id, act, open }) {
  const form = useWriter(id, 'repair_recorded', act, `repair.${id}`, '');
  const done = async () => { if (await form.save({ text: form.text.trim() })) location.hash = address('case', id); };
  return html`<${Fold} act="part-repair" title="Record the repair" open=${open}>
    <p>What was done to the vehicle. The tests are due again afterwards.</p>
    <${TextArea} name="repair" label="Repair" value=${form.text} onText=${form.change} rows=${3} />
    <${Problems} rows=${form.problems} />
    <${Button} act="save-repair" disabled=${!form.text.trim()} onClick=${done}>Save the repair<//>
  <//>`;
}

function ConfirmPart({ id, kase, act, catalogue, open }) {
  const faults = catalogue.faults.filter((f) => fitsVehicle(f, kase.vehicle)).map((f) => ({ id: f.id, name: f.name }));
  const [fault, setFault] = useState((kase.concluded && kase.concluded.fault) || '');
  const form = useWriter(id, 'outcome_confirmed', act, `confirm.${id}`, '');
  const done = async () => { if (await form.save({ fault, text: form.text.trim() })) location.hash = address('case', id, 'result'); };
  return html`<${Fold} act="part-confirm" title="Confirm what really fixed it" open=${open}>
    <p>The workshop learns from this which faults are common. Say it only when the vehicle is known to be well.</p>
    <${Choices} name="fault" label="It was" options=${faults} isChosen=${(f) => f === fault} onPick=${setFault} />
    <${TextArea} name="outcome" label="In your words (optional)" value=${form.text} onText=${form.change} rows=${3} />
    <${Problems} rows=${form.problems} />
    <${Button} act="save-outcome" disabled=${!fault} onClick=${done}>Confirm<//>
  <//>`;
}

function ReopenPart({ id, act, retest }) {
  const failed = Boolean(retest && retest.status === 'failed');
  const form = useWriter(id, 'reopened', act, `reopen.${id}`, failed ? retest.text : '');
  const done = async () => { if (await form.save({ reason: form.text.trim() })) location.hash = address('case', id); };
  return html`<${Fold} act="part-reopen" title="Open the case again" open=${failed}>
    <${TextArea} name="reopen" label="Why?" value=${form.text} onText=${form.change} rows=${failed ? 4 : 2} />
    <${Problems} rows=${form.problems} />
    <${Button} act="save-reopen" kind=${failed ? 'main' : 'plain'} disabled=${!form.text.trim()} onClick=${done}>Open the case again<//>
  <//>`;
}

export function Conclude({ id }) {
  const { state, act, kase, assessment } = useCase();
  const { catalogue } = state;
  const isOpen = kase.state === 'open';
  const retest = kase.state === 'repaired' && assessment ? assessment.retest : null;
  const failed = Boolean(retest && retest.status === 'failed');
  const decides = mayDecide(state.person);
  const reopen = isOpen || !decides ? null : html`<${ReopenPart} id=${id} act=${act} retest=${retest} />`;
  return html`<${Frame} screen="conclude" title=${`Conclude: ${caseName(kase)}`} caution="office_report">
    ${isOpen ? html`<${ConcludePart} id=${id} assessment=${assessment} act=${act} catalogue=${catalogue} person=${state.person} />`
    : failed ? null : html`<p class="headline">${kase.concluded ? kase.concluded.text : ''}</p>`}
    ${retest ? html`<${RetestLine} retest=${retest} />` : null}
    ${failed ? reopen : null}
    ${decides ? null : html`<p data-part="not-yours">A technician or the office signs the conclusion, confirms what fixed it and opens a case again. All you record reaches them.</p>`}
    <${RepairPart} id=${id} act=${act} open=${kase.state === 'concluded'} />
    ${decides ? html`<${ConfirmPart} id=${id} kase=${kase} act=${act} catalogue=${catalogue} open=${kase.state === 'repaired' && !failed} />` : null}
    ${failed ? null : reopen}
  <//>`;
}
