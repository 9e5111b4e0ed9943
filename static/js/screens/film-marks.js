// A film in hand: mark the start, type pressures at frames, see the rise, save it with two pictures.
import { html, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices } from '../parts/field.js';
import { FilmPlayer, useFilm } from '../parts/film-player.js';
import { Fold, Frame } from '../parts/frame.js';
import { Pad } from '../parts/pad.js';
import { RiseResult } from '../parts/rise-result.js';
import { shrinkPhoto } from '../capture/camera.js';
import { filmQuestion, isEnough, markPressure, markStart, removePressure, stillsOf, whatIsMissing } from '../capture/film-marks.js';
import { judgedTime, riseDraft, riseReading, targetsFor } from '../capture/trace-entry.js';
import { formatQuantity, parseTyped } from '../format.js';
import { limitFor, phaseOf } from '../plan.js';
import { keepDraft } from '../offline/drafts.js';
import { saveFile } from '../offline/export.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

const FINENESS = [1, 5, 10, 20].map((bar) => ({ id: bar, name: `${bar} bar` }));
const UNITS = ['bar', 'MPa', 'kPa', 'psi'].map((unit) => ({ id: unit, name: unit }));
const DISPLAYS = [{ id: 0, name: 'A needle, or figures that never stand still' }, { id: 0.1, name: 'Figures, about ten a second' },
  { id: 0.3, name: 'Figures, about three a second' }, { id: 1, name: 'Figures, about one a second' }];
const MOST_HEARD = 6000;

/** What the marks say, by the engine. */
function useResult(marks, reading, targets, call) {
  const [result, setResult] = useState(null);
  const question = isEnough(marks) ? JSON.stringify(filmQuestion(marks, reading, targets)) : '';
  useEffect(() => {
    setResult(null);
    if (!question) return undefined;
    let gone = false;
    call('film', JSON.parse(question)).then((answer) => !gone && setResult(answer), (error) => !gone && setResult({ error: [{ text: error.message }] }));
    return () => { gone = true; };
  }, [question]);
  return result;
}

function MarkList({ marks, frames, onRemove }) {
  if (marks.pressures.length === 0) return null;
  return html`<ul class="rows" aria-label="Marked frames">${marks.pressures.map((p) => html`<li class="row attempt" key=${p.at_s} data-mark=${p.at_s.toFixed(4)}>
    <${Button} act="mark-go" kind="quiet" onClick=${() => frames.land(p.at_s)}>${p.at_s.toFixed(3)} s: ${formatQuantity(Number(p.bar.toFixed(1)), 'bar')}<//>
    <${Button} act="mark-remove" onClick=${() => onRemove(p.at_s)}>Remove<//></li>`)}</ul>`;
}

function HowRead({ reading, onChange }) {
  const pick = (name, label, options, key, wrap = false) => html`<${Choices} name=${name} label=${label} wrap=${wrap} options=${options} isChosen=${(v) => v === reading[key]} onPick=${(v) => onChange({ ...reading, [key]: v })} />`;
  return html`<${Fold} act="how-read" title=${`Read to ${reading.step_bar} bar, in ${reading.unit}`}>
    ${pick('fineness', 'How finely can it be read?', FINENESS, 'step_bar', true)}
    ${pick('film-unit', 'What it shows', UNITS, 'unit', true)}
    ${pick('display', 'What was filmed?', DISPLAYS, 'display_s')}<//>`;
}

/** Marks of the start: this frame (the bottom press, while there is none), or where the engine's ear hears the starter. */
function StartPresses({ player, marks, cylinders, call, onSeen, onStart, onProblem }) {
  const { frames, sound } = player;
  const heard = async () => {
    const answer = await call('hear', { levels: sound.levels.slice(0, MOST_HEARD), rate_hz: 1 / sound.bin_s, cylinders });
    if (answer.error || answer.ok.onset_s === null) return onProblem(answer.error ? answer.error.map((p) => p.text).join(' ') : answer.ok.text);
    await frames.goTo(answer.ok.onset_s);
    return onStart({ at_s: answer.ok.onset_s, from: 'sound', gap_s: await frames.gapHere(), u_s: answer.ok.onset_u_s });
  };
  return html`<div class="pair">
    ${marks.start ? html`<${Button} act="mark-start" onClick=${onSeen}>Start is here instead<//>` : null}
    ${sound && sound.levels.length ? html`<${Button} act="mark-heard" onClick=${heard}>Find the start by ear<//>` : null}
  </div>
  ${marks.start ? html`<p data-start=${marks.start.from}>Start: ${marks.start.at_s.toFixed(3)} s, by ${marks.start.from === 'sound' ? 'ear' : 'eye'}.</p>` : html`<p>Step to the first frame on which the engine turns, then press “Cranking starts here”.</p>`}`;
}

async function takeStill(player, still) {
  await player.frames.land(still.at_s);
  return shrinkPhoto(player.video.current);
}

/** Reading, then the curve that names it, then two pictures. @returns {{saved: boolean, problems: object[], shown: string|null}} */
async function saveFilm({ act, id, check, player, kept, result }) {
  const first = await act.record([riseReading(id, check.id, 'film', result)]);
  if (!first.saved) return first;
  const readings = first.saved.filter((entry) => entry.kind === 'reading_taken').map((entry) => entry.id);
  const rise = { source: 'film', name: kept.film.name || 'film', points: result.curve, found_start_s: null, readings };
  const second = await act.record([riseDraft(id, check.id, rise, result)]);
  const problems = [...second.problems];
  for (const still of stillsOf(kept.marks, judgedTime(result).target_bar)) {
    const photo = await takeStill(player, still);
    const body = { sha256: photo.sha256, type: photo.type, size: photo.size, caption: still.caption, check: check.id };
    problems.push(...(await act.record([{ case: id, kind: 'photo_added', body }], photo)).problems);
  }
  return { saved: second.saved, problems, shown: readings[0] || null };
}

function Typing({ text, unit, setText }) {
  return html`<p class="typed" data-typed=${text}>${text || '–'} <span class="unit">${unit}</span></p><${Pad} text=${text} onText=${setText} />`;
}

export function FilmMarks({ id, check, kept, setKept, onOther }) {
  const { state, act, kase } = useCase();
  const player = useFilm(kept.film);
  const [typed, setTyped] = useState(null);
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const { marks, reading } = kept;
  const targets = targetsFor(limitFor(state.catalogue, kase, 'crank_pressure'));
  const result = useResult(marks, reading, targets, act.call);
  const change = (next) => { setProblem(''); setKept({ ...kept, marks: next }); };
  const keepTyped = async () => {
    const answer = await act.call('convert', { value: parseTyped(typed), from: reading.unit, to: 'bar' });
    if (answer.error) return setProblem(answer.error.map((p) => p.text).join(' '));
    const { frames } = player;
    setTyped(null);
    return change(markPressure(marks, { at_s: frames.at(), bar: answer.ok.value, gap_s: await frames.gapHere() }));
  };
  const save = async () => {
    setBusy(true);
    const answer = await saveFilm({ act, id, check, player, kept, result: result.ok }).catch((error) => ({ problems: [{ text: error.message }] }));
    setBusy(false);
    setProblem(answer.problems.map((p) => p.text).join(' '));
    if (!answer.saved) return;
    keepDraft(`film.${id}.${phaseOf(check.id)}`, null);
    location.hash = answer.shown ? address('case', id, 'check', check.id, 'verdict', answer.shown) : address('case', id, 'check', check.id);
  };
  const seen = async () => change(markStart(marks, { at_s: player.frames.at(), from: 'picture', gap_s: await player.frames.gapHere() }));
  const other = () => (marks.pressures.length === 0 ? onOther() : act.send({ type: 'dialog', dialog: { name: 'film-other', title: 'Take another film?',
    text: 'The marks on this film go with it.', yes: 'Take another', no: 'Keep this one', onYes: onOther } }));
  const missing = whatIsMissing(marks);
  const time = result && result.ok ? judgedTime(result.ok) : null;
  const typing = typed !== null;
  const bottom = typing ? html`<${Typing} text=${typed} unit=${reading.unit} setText=${setTyped} />
      <div class="pair"><${Button} act="mark-cancel" onClick=${() => setTyped(null)}>Cancel<//><${Button} act="mark-keep" kind="main" disabled=${parseTyped(typed) === null} onClick=${keepTyped}>Keep<//></div>`
    : html`<div class="pair"><${Button} act="mark-type" kind=${marks.start && !time ? 'main' : 'plain'} disabled=${!player.frames} onClick=${() => setTyped('')}>Type pressure<//>
      ${marks.start ? null : html`<${Button} act="mark-start" kind="main" disabled=${!player.frames} onClick=${seen}>Cranking starts here<//>`}
      ${time ? html`<${Button} act="save-film" kind="main" disabled=${busy} onClick=${save}>${time.seconds === null ? 'Save: not reached' : `Save ${formatQuantity(Number(time.seconds.toFixed(2)), 's')}`}<//>` : null}</div>`;
  return html`<${Frame} screen="film" title="By film" caution=${check.cautions[0]} quiet=${true} bottom=${bottom}>
    <div class=${typing ? 'film-typing' : ''}><${FilmPlayer} player=${player} start=${marks.start ? marks.start.at_s : null} compact=${typing} /></div>
    ${problem ? html`<p class="error" role="alert" data-message="film-error">${problem}</p>` : null}
    ${typing || !player.frames ? null : html`
      <${StartPresses} player=${player} marks=${marks} cylinders=${kase.vehicle.cylinders || 4} call=${act.call} onSeen=${seen} onStart=${(start) => change(markStart(marks, start))} onProblem=${setProblem} />
      ${missing && marks.start ? html`<p class="headline">${missing}.</p>` : null}
      <${MarkList} marks=${marks} frames=${player.frames} onRemove=${(at_s) => change(removePressure(marks, at_s))} />
      ${result && result.error ? html`<p class="error" role="alert">${result.error.map((p) => p.text).join(' ')}</p>` : null}
      ${result && result.ok ? html`<${RiseResult} result=${result.ok} curve=${{ points: result.ok.curve }} spots=${marks.pressures.map((p) => [p.at_s, p.bar])} name=${kept.film.name || 'Film'} />` : null}
      <${HowRead} reading=${reading} onChange=${(next) => setKept({ ...kept, reading: next })} />
      <${Button} act="film-keep" onClick=${() => saveFile(kept.film.name || 'film.webm', kept.film, kept.film.type)}>Save the film as a file<//>
      <${Button} act="film-other" onClick=${other}>Another film<//>`}
  <//>`;
}
