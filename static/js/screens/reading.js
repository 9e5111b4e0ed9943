// Enter one reading: choices as big buttons, numbers on a large pad, checked by the engine while it is typed.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices } from '../parts/field.js';
import { activeText, emptyForm, nextPlace, readingBody, typeText, whatIsMissing } from '../parts/entry-form.js';
import { Fold, Frame } from '../parts/frame.js';
import { Pad } from '../parts/pad.js';
import { holdAwake } from '../capture/camera.js';
import { formatLimits, formatQuantity, formatReading } from '../format.js';
import { byId, limitFor, phaseOf } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

export const STATE_NAMES = { cranking: 'While cranking', idling: 'At idle' };
const WAIT_MS = 120;
const NO_ANSWER = { text: '', doubt: null, problems: [] };

/** Ask the engine what it thinks of the value so far. */
function useLiveCheck(vehicle, body) {
  const { state, act } = useApp();
  const [live, setLive] = useState(NO_ANSWER);
  const question = body ? JSON.stringify(body) : '';
  useEffect(() => {
    setLive(NO_ANSWER);
    if (!question || state.engine.status !== 'ready') return undefined;
    let gone = false;
    const timer = setTimeout(async () => {
      const answer = await act.call('check_reading', { vehicle, reading: JSON.parse(question) }).catch(() => ({ ok: {} }));
      if (!gone) setLive(answer.error ? { ...NO_ANSWER, problems: answer.error } : { ...NO_ANSWER, ...describe(answer.ok) });
    }, WAIT_MS);
    return () => {
      gone = true;
      clearTimeout(timer);
    };
  }, [question, state.engine.status]);
  return live;
}

async function findDoubt(act, vehicle, reading) {
  const answer = await act.call('check_reading', { vehicle, reading }).catch(() => ({}));
  return answer.ok ? answer.ok.doubt || null : null;
}

function describe(ok) {
  const single = typeof ok.value === 'number' && typeof ok.standard_uncertainty === 'number';
  const text = single ? `${formatQuantity(ok.value, ok.unit)}, known to about ± ${formatQuantity(Number(ok.standard_uncertainty.toPrecision(2)), ok.unit)}` : '';
  return { text, doubt: ok.doubt || null };
}

function Places({ form, quantity, setForm }) {
  const type = (index) => (e) => setForm(typeText({ ...form, active: index }, e.currentTarget.value));
  const focus = (index) => () => setForm({ ...form, active: index });
  const place = (index, label, value, unit) => html`<label class=${`place${form.active === index ? ' place-active' : ''}`}>
    <span>${label}</span>
    <input name=${index === form.texts.length ? 'duration' : `value-${index}`} inputmode="none" autocomplete="off" value=${value} onInput=${type(index)} onFocus=${focus(index)} />
    <span class="unit">${unit}</span></label>`;
  const many = quantity.kind === 'list';
  return html`<div class=${many ? 'places places-many' : 'places'}>
    ${form.texts.map((text, i) => place(i, many ? `Cyl. ${i + 1}` : 'Value', text, form.unit))}
    ${quantity.needs_duration ? place(form.texts.length, 'Time', form.duration, 's') : null}
  </div>`;
}

export function Message({ live, problems, whole }) {
  const all = problems.length ? problems : live.problems;
  if (all.length) return html`<p class="error" role="alert" data-message="error">${all.map((p) => p.text).join(' ')}</p>`;
  if (live.doubt) return html`<p class="warn" role="status" data-message="doubt">${live.doubt}</p>`;
  return html`<p class="help live" role="status" data-message=${whole ? 'fine' : 'empty'}>${live.text || '\u00a0'}</p>`;
}

function NumberEntry({ form, quantity, setForm, message }) {
  return html`
    ${quantity.states.length ? html`<${Choices} name="state" label="Engine" wrap=${true} options=${quantity.states.map((s) => ({ id: s, name: STATE_NAMES[s] || s }))}
      isChosen=${(s) => s === form.condition} onPick=${(condition) => setForm({ ...form, condition })} />` : null}
    <${Places} form=${form} quantity=${quantity} setForm=${setForm} />
    ${message}
    ${quantity.units.length > 1 ? html`<div class="units" role="group" aria-label="Unit">${quantity.units.map((unit) => html`<${Button} act="unit" pressed=${form.unit === unit}
      onClick=${() => setForm({ ...form, unit })} extra=${{ 'data-unit': unit }}>${unit}<//>`)}</div>` : null}`;
}

/** The pad stands still at the bottom, whatever is said above it: a press must not land on a key that has just moved. */
export function NumberPad({ form, quantity, setForm }) {
  if (quantity.kind === 'choice') return null;
  const many = form.texts.length + (quantity.needs_duration ? 1 : 0) > 1;
  return html`<${Pad} text=${activeText(form)} onText=${(text) => setForm(typeText(form, text))}
    onNext=${many ? () => setForm({ ...form, active: nextPlace(form, quantity) }) : null} />`;
}

export function Instrument({ form, instruments, onPick }) {
  const chosen = byId(instruments, form.instrument);
  if (instruments.length < 2) return null;
  return html`<${Fold} act="instruments" title=${`Read with: ${chosen ? chosen.name.toLowerCase() : 'choose'}`}>
    <${Choices} name="instrument" label="Read with" options=${instruments.map((i) => ({ id: i.id, name: i.name, help: i.note }))} isChosen=${(i) => i === form.instrument} onPick=${onPick} /><//>`;
}

export function LimitHelp({ id, checkId, quantity, kase, catalogue }) {
  const limit = limitFor(catalogue, kase, quantity.id);
  const text = limit ? formatLimits(limit.low, limit.high, limit.unit || quantity.unit) : '';
  return html`<${Fold} act="how" title="How to take it, and the limit">
    <p>${quantity.help}</p>
    ${text ? html`<p>Limit: ${text} (${limit.reason || limit.basis}).</p>` : null}
    ${quantity.kind === 'number' ? html`<${Button} act="limit" href=${address('case', id, 'check', checkId, 'limit', quantity.id)}>Use the vehicle maker’s limit<//>` : null}
  <//>`;
}

function useActiveInView(active) {
  useEffect(() => {
    const place = document.querySelector('.place-active');
    if (place && active > 0) place.scrollIntoView({ block: 'nearest' });
  }, [active]);
}

function useForm(key, quantity, vehicle, settings) {
  const [form, setState] = useState(() => {
    const draft = readDraft(key);
    const fresh = emptyForm(quantity, vehicle, settings);
    return draft && draft.texts && draft.texts.length === fresh.texts.length ? { ...fresh, ...draft } : fresh;
  });
  return [form, (next) => {
    setState(next);
    keepDraft(key, next);
  }];
}

/** The form of one reading: what is typed, what the engine says of it, and saving it; used by every screen that enters one. */
export function useReadingForm(id, checkId, quantityId) {
  const { state, act, kase } = useCase();
  const { catalogue, settings } = state;
  const quantity = byId(catalogue.quantities, quantityId);
  const draftKey = `reading.${id}.${quantityId}.${phaseOf(checkId)}`;
  const [form, setForm] = useForm(draftKey, quantity, kase.vehicle, settings);
  const [problems, setProblems] = useState([]);
  const [busy, setBusy] = useState(false);
  useEffect(() => holdAwake(), []);
  useActiveInView(form.active);
  const missing = whatIsMissing(form, quantity);
  const body = missing ? null : readingBody(form, quantity, checkId);
  const live = useLiveCheck(kase.vehicle, body);
  const change = (next) => {
    setProblems([]);
    setForm(next);
  };
  const save = async () => {
    setBusy(true);
    const answer = await act.record([{ case: id, kind: 'reading_taken', body }]);
    setBusy(false);
    setProblems(answer.problems);
    if (!answer.saved) return;
    keepDraft(draftKey, null);
    act.changeSettings({ units: { ...settings.units, [quantityId]: form.unit }, instruments: { ...settings.instruments, [quantityId]: form.instrument } });
    location.hash = address('case', id, 'check', checkId, 'verdict', answer.saved[0].id);
  };
  // Asked afresh: a quick thumb may press Save before the answer to the last digit is there.
  const askOrSave = async () => {
    const doubt = state.engine.status === 'ready' ? await findDoubt(act, kase.vehicle, body) : null;
    if (!doubt) return save();
    const title = `Is it really ${formatReading(body, quantity)}?`;
    return act.send({ type: 'dialog', dialog: { name: 'doubt', title, text: doubt, yes: 'Yes, that is what it showed', no: 'No, correct it', onYes: save } });
  };
  return { kase, catalogue, quantity, check: byId(catalogue.checks, checkId), form, change, missing, live, problems, busy, askOrSave };
}

export function SaveReading({ missing, live, busy, askOrSave }) {
  return html`<${Button} act="save-reading" kind="main" disabled=${Boolean(missing) || busy || live.problems.length > 0} onClick=${askOrSave}>${missing || (live.problems.length ? 'Check the value' : 'Save')}<//>`;
}

export function Reading({ id, check: checkId, quantity: quantityId }) {
  const entry = useReadingForm(id, checkId, quantityId);
  const { kase, catalogue, quantity, check, form, change, missing, live, problems } = entry;
  const instruments = quantity.instruments.map((name) => byId(catalogue.instruments, name)).filter(Boolean);
  const message = html`<${Message} live=${live} problems=${problems} whole=${!missing} />`;
  return html`<${Frame} screen="reading" title=${quantity.name} caution=${check.cautions[0]} quiet=${true}
    bottom=${html`<${NumberPad} form=${form} quantity=${quantity} setForm=${change} /><${SaveReading} ...${entry} />`}>
    ${quantity.kind === 'choice'
    ? html`<${Choices} name="value" label=${quantity.help} options=${quantity.choices} isChosen=${(c) => c === form.choice} onPick=${(choice) => change({ ...form, choice })} />${message}`
    : html`<${NumberEntry} form=${form} quantity=${quantity} setForm=${change} message=${message} />`}
    <${Instrument} form=${form} instruments=${instruments} onPick=${(instrument) => change({ ...form, instrument })} />
    <${LimitHelp} id=${id} checkId=${checkId} quantity=${quantity} kase=${kase} catalogue=${catalogue} />
    <${Button} act="missing" href=${address('case', id, 'check', checkId, 'missing', quantityId)}>Could not measure<//>
  <//>`;
}
