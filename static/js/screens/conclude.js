// The end of a case, in three parts that may lie days apart: conclude, repair, confirm. And the way back: reopen.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextArea } from '../parts/field.js';
import { Fold, Frame } from '../parts/frame.js';
import { PumpStanding } from '../parts/pump.js';
import { formatChance } from '../format.js';
import { byId, fitsVehicle } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { address } from '../routes.js';
import { caseName, useCase } from './case.js';

/** What is signed as the conclusion: the words, and what the engine said at that moment. */
export function conclusionBody(text, assessment) {
  const body = { text, fault: assessment && assessment.conclusion ? assessment.conclusion.fault : null };
  if (!assessment) return body;
  return { ...body, engine: assessment.engine, limits: assessment.limits, pump: assessment.pump.status,
    verdicts: assessment.verdicts.map((v) => ({ reading: v.reading, verdict: v.verdict })) };
}

function useWriter(id, kind, act, draftKey, start) {
  const [text, setText] = useState(() => readDraft(draftKey) ?? start);
  const [problems, setProblems] = useState([]);
  const change = (next) => {
    setText(next);
    keepDraft(draftKey, next);
  };
  const save = async (body) => {
    const answer = await act.record([{ case: id, kind, body }]);
    setProblems(answer.problems);
    if (answer.saved) keepDraft(draftKey, null);
    return Boolean(answer.saved);
  };
  return { text, change, problems, save };
}

function Problems({ rows }) {
  return rows.length ? html`<p class="error" role="alert">${rows.map((p) => p.text).join(' ')}</p>` : null;
}

function ConcludePart({ id, kase, assessment, act, catalogue }) {
  const conclusion = assessment && assessment.conclusion;
  const form = useWriter(id, 'concluded', act, `conclude.${id}`, conclusion ? conclusion.text : '');
  const done = async () => { if (await form.save(conclusionBody(form.text.trim(), assessment))) location.hash = address('case', id, 'result'); };
  const likely = assessment ? assessment.suspects.slice(0, 3) : [];
  return html`<section data-part="conclude">
    ${conclusion ? html`<p class="headline" data-conclusion=${conclusion.fault}>${conclusion.text}</p>` : html`<p>The evidence does not settle it yet. You can still conclude in your own words; the
      record shows what was open.</p>
      ${likely.length ? html`<p>Most likely so far: ${likely.map((s) => `${(byId(catalogue.faults, s.fault) || { name: s.fault }).name.toLowerCase()} (${formatChance(s.probability)})`).join(', ')}.</p>` : null}`}
    ${assessment ? html`<${PumpStanding} pump=${assessment.pump} catalogue=${catalogue} />` : null}
    <${TextArea} name="conclusion" label="Conclusion, as the customer should read it" value=${form.text} onText=${form.change} />
    <${Problems} rows=${form.problems} />
    <${Button} act="save-conclusion" kind="main" disabled=${!form.text.trim()} onClick=${done}>Sign the conclusion<//>
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

function ReopenPart({ id, act }) {
  const form = useWriter(id, 'reopened', act, `reopen.${id}`, '');
  const done = async () => { if (await form.save({ reason: form.text.trim() })) location.hash = address('case', id); };
  return html`<${Fold} act="part-reopen" title="Open the case again">
    <${TextArea} name="reopen" label="Why?" value=${form.text} onText=${form.change} rows=${2} />
    <${Problems} rows=${form.problems} />
    <${Button} act="save-reopen" disabled=${!form.text.trim()} onClick=${done}>Open again<//>
  <//>`;
}

export function Conclude({ id }) {
  const { state, act, kase, assessment } = useCase();
  const { catalogue } = state;
  const isOpen = kase.state === 'open';
  return html`<${Frame} screen="conclude" title=${`Conclude: ${caseName(kase)}`} caution="office_report">
    ${isOpen ? html`<${ConcludePart} id=${id} kase=${kase} assessment=${assessment} act=${act} catalogue=${catalogue} />`
    : html`<p class="headline">${kase.concluded ? kase.concluded.text : ''}</p>`}
    <${RepairPart} id=${id} act=${act} open=${kase.state === 'concluded'} />
    <${ConfirmPart} id=${id} kase=${kase} act=${act} catalogue=${catalogue} open=${kase.state === 'repaired'} />
    ${isOpen ? null : html`<${ReopenPart} id=${id} act=${act} />`}
  <//>`;
}
