// Take in a job, or correct its details. Layout and cylinders shape the checks; all the rest may wait.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextField } from '../parts/field.js';
import { Fold, Frame } from '../parts/frame.js';
import { listProfiles, profileName, safeDefault, usualProfile } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { uuid7 } from '../offline/rows.js';
import { address } from '../routes.js';

const UNKNOWN = 'unknown';
const CYLINDERS = ['3', '4', '5', '6', '8'];
const EMPTY = { description: '', registration: '', vin: '', layout: '', supply: '', cylinders: '', complaints: [], codes: '', limits: '' };

export function parseCodes(text) {
  return [...new Set(text.toUpperCase().split(/[\s,;]+/).filter(Boolean))];
}

/** The vehicle body of what was chosen: "Don't know" becomes the safe choice, and is named as assumed. */
export function vehicleBody(form, catalogue) {
  const body = { description: form.description.trim(), registration: form.registration.trim(), vin: form.vin.trim().toUpperCase(), assumed: [] };
  const take = (field, fallback, convert) => {
    const unknown = form[field] === UNKNOWN || form[field] === '';
    if (unknown) body.assumed.push(field);
    body[field] = convert(unknown ? fallback : form[field]);
  };
  take('layout', safeDefault(catalogue.layouts), String);
  take('supply', safeDefault(catalogue.supplies), String);
  take('cylinders', '4', Number);
  return body;
}

const usedProfile = (kase) => (kase && kase.limits && kase.limits.profile) || 'generic';

function formOf(kase) {
  const { vehicle } = kase;
  const assumed = vehicle.assumed || [];
  const pick = (field) => (assumed.includes(field) ? UNKNOWN : String(vehicle[field] ?? ''));
  return { description: vehicle.description || '', registration: vehicle.registration || '', vin: vehicle.vin || '',
    layout: pick('layout'), supply: pick('supply'), cylinders: pick('cylinders'),
    complaints: kase.complaints || [], codes: (kase.codes || []).join(' '), limits: usedProfile(kase) };
}

function withUnknown(list, fallbackName) {
  return [...list, { id: UNKNOWN, name: 'Don’t know', help: `Taken as “${fallbackName}” until you know better.` }];
}

function nameOf(list, id) {
  return list.find((item) => item.id === id).name;
}

function useVinWarning(vin, act, engine) {
  const [warning, setWarning] = useState('');
  useEffect(() => {
    if (!vin.trim() || engine !== 'ready') {
      setWarning('');
      return undefined;
    }
    let gone = false;
    const timer = setTimeout(async () => {
      const answer = await act.call('check_vin', { vin }).catch(() => ({}));
      if (!gone) setWarning(answer.ok ? answer.ok.warning || '' : (answer.error || []).map((p) => p.text).join(' '));
    }, 250);
    return () => {
      gone = true;
      clearTimeout(timer);
    };
  }, [vin, engine]);
  return warning;
}

function draftsFor(id, isNew, form, catalogue, usedLimits) {
  const drafts = isNew ? [{ case: id, kind: 'case_opened', body: {} }] : [];
  drafts.push({ case: id, kind: 'vehicle_set', body: vehicleBody(form, catalogue) });
  if (!isNew || form.complaints.length) drafts.push({ case: id, kind: 'complaint_set', body: { complaints: form.complaints } });
  if (!isNew || form.codes.trim()) drafts.push({ case: id, kind: 'codes_set', body: { codes: parseCodes(form.codes) } });
  const profile = form.limits || usualProfile(catalogue).id;
  const weights = isNew && catalogue.weights && catalogue.weights.at(-1); // what the workshop has learnt, the newest
  const body = { ...(profile !== usedLimits && { profile }), ...(weights && { weights: weights.id }) };
  if (Object.keys(body).length) drafts.push({ case: id, kind: 'limits_set', body });
  return drafts;
}

/** Shown only where the workshop has limits of its own. */
function LimitsChoice({ form, set, catalogue, used }) {
  const profiles = listProfiles(catalogue, used);
  if (profiles.length < 2) return null;
  const chosen = form.limits || usualProfile(catalogue).id;
  return html`<${Choices} name="limits" label="Limits to judge by" options=${profiles.map((p) => ({ id: p.id, name: profileName(p) }))}
    isChosen=${(id) => chosen === id} onPick=${(limits) => set({ limits })} />`;
}

function Compulsory({ form, set, catalogue }) {
  const pick = (field) => (id) => set({ [field]: id });
  const layoutName = nameOf(catalogue.layouts, safeDefault(catalogue.layouts));
  const supplyName = nameOf(catalogue.supplies, safeDefault(catalogue.supplies));
  return html`
    <${Choices} name="layout" label="How is the rail pressure set?" options=${withUnknown(catalogue.layouts, layoutName)} isChosen=${(id) => form.layout === id} onPick=${pick('layout')} />
    <${Choices} name="cylinders" label="Cylinders" wrap=${true} options=${[...CYLINDERS.map((n) => ({ id: n, name: n })), { id: UNKNOWN, name: 'Don’t know' }]}
      isChosen=${(id) => form.cylinders === id} onPick=${pick('cylinders')} />
    ${form.cylinders === UNKNOWN ? html`<p class="help">Taken as 4 until you know better.</p>` : null}
    <${Choices} name="supply" label="How does fuel get to the pump?" options=${withUnknown(catalogue.supplies, supplyName)} isChosen=${(id) => form.supply === id} onPick=${pick('supply')} />`;
}

function Optional({ form, set, catalogue, warning, errors }) {
  const toggle = (id) => set({ complaints: form.complaints.includes(id) ? form.complaints.filter((c) => c !== id) : [...form.complaints, id] });
  return html`
    <${Choices} name="complaints" label="What does it do? (all that fit)" options=${catalogue.complaints} isChosen=${(id) => form.complaints.includes(id)} onPick=${toggle} />
    <${TextField} name="registration" label="Registration" value=${form.registration} onText=${(registration) => set({ registration })} error=${errors.registration} />
    <${TextField} name="codes" label="Stored codes" help="As shown, with spaces between. Leave empty if none were read." value=${form.codes} onText=${(codes) => set({ codes })} error=${errors.codes} />
    <${TextField} name="vin" label="Vehicle identification number" value=${form.vin} onText=${(vin) => set({ vin })} error=${errors.vin} />
    ${warning ? html`<p class="warn" role="status" data-warning="vin">${warning} You can keep it as it is.</p>` : null}`;
}

/** With `id` it corrects a case that exists; without, it opens a new one. */
export function NewCase({ id }) {
  const { state, act } = useApp();
  const isNew = !id;
  const used = usedProfile(isNew ? null : state.open.case);
  const draftKey = `case.${id || 'new'}`;
  const [form, setForm] = useState(() => readDraft(draftKey) || (isNew ? EMPTY : formOf(state.open.case)));
  const [problems, setProblems] = useState([]);
  const [saving, setSaving] = useState(false);
  const warning = useVinWarning(form.vin, act, state.engine.status);
  const set = (change) => {
    const next = { ...form, ...change };
    setForm(next);
    keepDraft(draftKey, next);
  };
  const missing = [!form.layout && 'the pressure control', !form.cylinders && 'cylinders'].filter(Boolean);
  const save = async () => {
    setSaving(true);
    const caseId = id || uuid7(Date.now());
    const answer = await act.record(draftsFor(caseId, isNew, form, state.catalogue, used));
    setSaving(false);
    setProblems(answer.problems);
    if (!answer.saved) return;
    keepDraft(draftKey, null);
    location.hash = address('case', caseId);
  };
  const errors = {};
  for (const problem of problems) errors[problem.field.replace(/^body\./, '').replace(/[.[].*$/, '')] = problem.text;
  const button = missing.length ? `Choose ${missing.join(' and ')}` : isNew ? 'Open the case' : 'Save the details';
  return html`<${Frame} screen="new-case" title=${isNew ? 'New case' : 'Vehicle details'} caution="general"
    bottom=${html`<${Button} act="save-case" kind="main" disabled=${missing.length > 0 || saving} onClick=${save}>${button}<//>`}>
    <${TextField} name="description" label="Vehicle, in your words" help="For example: blue van, 2.0, tow bar" value=${form.description} onText=${(description) => set({ description })} error=${errors.description} />
    <${Compulsory} form=${form} set=${set} catalogue=${state.catalogue} />
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    <${Fold} act="more-details" title="More details (all optional)" open=${!isNew || Boolean(form.registration || form.vin || form.codes || form.complaints.length)}>
      <${Optional} form=${form} set=${set} catalogue=${state.catalogue} warning=${warning} errors=${errors} />
      <${LimitsChoice} form=${form} set=${set} catalogue=${state.catalogue} used=${used} />
    <//>
  <//>`;
}
