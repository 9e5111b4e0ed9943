// One job: what to do next and why, the ledger, and all checks.
import { html, useApp, useEffect } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Fold, Frame, PersonName } from '../parts/frame.js';
import { Ledger } from '../parts/ledger.js';
import { Circuit } from '../parts/circuit.js';
import { PumpOverride } from '../parts/pump.js';
import { RetestLine } from '../parts/retest.js';
import { STATE_WORDS, formatCount } from '../format.js';
import { byId, checkProgress, listChecks, nextCheck, profileName, roughCase } from '../plan.js';
import { address } from '../routes.js';
import { countUnsent } from '../state.js';
import { readSending, sayEntries } from '../sending.js';

const PROGRESS_WORDS = { done: 'Done', part: 'Begun', none: 'Not done', given_up: 'Could not be measured' };

/** The case as it stands; a bare one while the engine is away. */
export function useCase() {
  const { state, act } = useApp();
  const { open } = state;
  return { state, act, kase: open.case || roughCase(open.entries), assessment: open.case ? open.assessment : null };
}

export function vehicleLine(kase, catalogue) {
  const { vehicle } = kase;
  const assumed = vehicle.assumed || [];
  const say = (field, text) => (assumed.includes(field) ? `${text} (assumed)` : text);
  const layout = byId(catalogue.layouts, vehicle.layout);
  const profile = byId(catalogue.profiles, (kase.limits || {}).profile);
  return [vehicle.registration, layout && say('layout', layout.name.toLowerCase()), vehicle.cylinders && say('cylinders', `${vehicle.cylinders} cylinders`),
    profile && profile.base && `limits: ${profileName(profile)}`]
    .filter(Boolean).join(' · ');
}

export function caseName(kase) {
  return kase.vehicle.description || kase.vehicle.registration || 'Vehicle without a name';
}

/** What the office says of this case. Looking at a job tells it that the job has arrived. */
function FromOffice({ id, kase, state, act }) {
  const { job, job_seen: seen, open_questions: asked = [], merged_into: merged } = kase;
  const isMine = Boolean(job && !seen && job.to === state.person.id);
  useEffect(() => {
    if (isMine) act.record([{ case: id, kind: 'job_seen', body: {} }]);
  }, [isMine]);
  return html`${merged ? html`<p class="warn" data-duplicate=${merged.target}>The office joined this case with another one. <a data-act="joined-case" href=${address('case', merged.target)}>Go on there</a>.</p>` : null}
    ${job ? html`<p data-from-office=${job.to}>From the office, for <${PersonName} id=${job.to} />${job.note ? `: ${job.note}` : '.'}</p>` : null}
    ${asked.length ? html`<${Button} act="questions" href=${address('case', id, 'notes')}>Answer ${formatCount(asked.length, 'open question')}<//>` : null}`;
}

/** Concluded or later: what was concluded, and how the repair stands. */
function Closed({ kase, assessment }) {
  const { retest, pump } = assessment;
  const repaired = retest.status !== 'not_due';
  const said = kase.concluded ? kase.concluded.text : '';
  return html`${repaired ? html`<${RetestLine} retest=${retest} />` : null}
    <p class=${repaired ? '' : 'headline'}>${repaired && kase.state === 'repaired' ? 'Repaired' : STATE_WORDS[kase.state]}. ${said}</p>
    <${PumpOverride} pump=${pump} />`;
}

function Headline({ kase, assessment, next, trouble }) {
  if (!assessment) return html`<p class="headline">Verdicts and ledger are not worked out just now. Choose a check and record: nothing is lost.</p>
    ${trouble ? html`<p class="help" data-trouble="true">Reason: ${trouble}</p>` : null}`;
  if (kase.state !== 'open') return html`<${Closed} kase=${kase} assessment=${assessment} />`;
  if (assessment.conclusion) return html`<p class="headline" data-conclusion=${assessment.conclusion.fault}>${assessment.conclusion.text}</p>`;
  if (next) return html`<p class="headline">${next.reason}</p>`;
  return html`<p class="headline">The checks on the list can teach nothing more. Conclude in your own words, or take a reading again.</p>`;
}

function bottomAfterRepair(id, assessment) {
  const href = address('case', id, 'conclude');
  const status = assessment ? assessment.retest.status : 'due';
  if (status === 'failed') return html`<${Button} act="reopen-case" kind="main" href=${href}>Open the case again<//>`;
  if (status === 'passed') return html`<${Button} act="confirm" kind="main" href=${href}>Confirm what really fixed it<//>`;
  if (status === 'unclear' && assessment.next.length === 0) return html`<${Button} act="confirm" kind="main" href=${href}>Confirm without a full retest<//>`;
  return html`<${Button} act="next-check" kind="main" href=${address('case', id, 'check', 'retest')}>Next: test again after the repair<//>`;
}

function bottomFor(id, kase, assessment, next) {
  if (kase.state === 'repaired') return bottomAfterRepair(id, assessment);
  if (kase.state === 'concluded' || kase.state === 'confirmed') return html`<${Button} act="result" kind="main" href=${address('case', id, 'result')}>See the result<//>`;
  if (assessment && assessment.conclusion) return html`<${Button} act="conclude" kind="main" href=${address('case', id, 'conclude')}>Conclude<//>`;
  if (!next) return html`<${Button} act="conclude" kind="main" href=${address('case', id, 'conclude')}>Conclude in your own words<//>`;
  return html`<${Button} act="next-check" kind="main" href=${address('case', id, 'check', next.check)} extra=${{ 'data-check': next.check }}>
    Next: ${next.name} <span class="press-note">about ${next.minutes} min</span><//>`;
}

function CheckRow({ id, check, number, kase, catalogue, assessment, isNext }) {
  const progress = checkProgress(check, catalogue, kase, assessment);
  const count = progress.total && progress.status === 'part' ? ` ${progress.done} of ${progress.total}` : '';
  return html`<li class="row" data-check=${check.id} data-status=${progress.status}>
    <${Button} act="open-check" kind="row" href=${address('case', id, 'check', check.id)}>
      <span class="row-main row-numbered"><span class="row-mark" aria-hidden="true">${progress.status === 'done' ? '✓' : number}</span><span>${check.name}</span></span>
      <span class="row-note row-indent">${PROGRESS_WORDS[progress.status]}${count}${isNext ? ' · next' : ''} · ${check.minutes} min</span>
    <//>
  </li>`;
}

function firstUndone(checks, kase, catalogue) {
  const check = checks.find((c) => c.id !== 'retest' && checkProgress(c, catalogue, kase).status === 'none');
  return check ? { check: check.id, name: check.name, minutes: check.minutes, reason: check.purpose } : null;
}

const FIELD_WORDS = { description: 'the vehicle', registration: 'the registration', vin: 'the identification number', layout: 'the pressure control',
  supply: 'the supply', cylinders: 'the cylinders', complaints: 'the complaint', codes: 'the stored codes', profile: 'the limits', overrides: 'the limits', rule: 'the rule' };

/** What two people set differently: both values are shown, the latest counts. */
function Conflicts({ kase, catalogue }) {
  const named = [...catalogue.layouts, ...catalogue.supplies, ...catalogue.profiles];
  const name = (value) => profileName(byId(named, value) || { name: [value].flat().join(', ') });
  return (kase.conflicts || []).filter((c) => c.field !== 'overrides').map((c) => html`<div class="line" data-line="conflict" data-conflict=${c.field}>
    <p>Two phones entered ${FIELD_WORDS[c.field] || c.field} differently: ${c.values.map((v) => name(v.value) || 'nothing').join(' and ')}. The last one named counts;
      put it right under “Vehicle details”.</p></div>`);
}

function Remarks({ notes }) {
  const rows = [...new Set(notes)];
  return rows.length ? html`<${Fold} act="remarks" title=${formatCount(rows.length, 'remark')}><ul>${rows.map((note) => html`<li>${note}</li>`)}</ul><//>` : null;
}

export function Case({ id }) {
  const { state, act, kase, assessment } = useCase();
  const { catalogue } = state;
  const checks = listChecks(catalogue, kase.vehicle);
  const next = assessment ? nextCheck(assessment, catalogue) : firstUndone(checks, kase, catalogue);
  const unsent = countUnsent(state.outbox, id);
  return html`<${Frame} screen="case" title=${caseName(kase)} caution=${kase.state === 'repaired' ? 'cranking' : 'jets'}
    aside=${html`<${Ledger} kase=${kase} assessment=${assessment} />`} bottom=${bottomFor(id, kase, assessment, next)}>
    <p class="help">${vehicleLine(kase, catalogue)}</p>
    <${FromOffice} id=${id} kase=${kase} state=${state} act=${act} />
    <${Headline} kase=${kase} assessment=${assessment} next=${next} trouble=${state.open.error} />
    ${assessment && kase.state === 'open' && kase.repairs.length ? html`<p class="warn" data-message="stale">${assessment.retest.text}</p>` : null}
    <${Conflicts} kase=${kase} catalogue=${catalogue} />
    ${state.paired || unsent ? html`<p class=${unsent ? 'unsent' : 'help'} data-unsent=${unsent} data-sending=${readSending(state, id).status}>${sayEntries(state, id, ' of this case')}</p>` : null}
    <div class="narrow-only"><${Ledger} kase=${kase} assessment=${assessment} /></div>
    <${Circuit} assessment=${assessment} />
    <${Remarks} notes=${assessment ? assessment.notes : []} />
    <h2>All checks</h2>
    <ul class="rows">${checks.map((check, index) => html`<${CheckRow} key=${check.id} id=${id} check=${check} number=${index + 1} kase=${kase} catalogue=${catalogue} assessment=${assessment} isNext=${Boolean(next && next.check === check.id)} />`)}</ul>
    <h2>This case</h2>
    <div class="stack">
      <${Button} act="readings" href=${address('case', id, 'readings')}>All readings<//>
      <${Button} act="notes" href=${address('case', id, 'notes')}>Notes and photos<//>
      <${Button} act="details" href=${address('case', id, 'details')}>Vehicle details<//>
      <${Button} act="conclude" href=${address('case', id, 'conclude')}>Conclude, repair, confirm<//>
      <${Button} act="result" href=${address('case', id, 'result')}>Result to show or share<//>
    </div>
  <//>`;
}
