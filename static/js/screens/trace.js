// By trace: a recording of a logger or oscilloscope is read on the phone; the rise it shows is looked at, mended and saved.
import { html, useEffect, useRef, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Frame } from '../parts/frame.js';
import { RiseResult, StartKeys } from '../parts/rise-result.js';
import { analyse, readTraceFile } from '../capture/trace-file.js';
import { judgedTime, pressureReading, riseDraft, riseReading, targetsFor } from '../capture/trace-entry.js';
import { formatQuantity } from '../format.js';
import { byId, limitFor, phaseOf } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { address } from '../routes.js';
import { useCase } from './case.js';
import { TraceColumns } from './trace-columns.js';

function FilePress({ act, words, onFile }) {
  const take = (event) => {
    const file = event.currentTarget.files[0];
    event.currentTarget.value = '';
    if (file) onFile(file);
  };
  return html`<label class="press press-plain press-file" data-act=${act}>${words}
    <input type="file" name="trace" accept=".csv,.txt,.tsv,.log,text/*" onChange=${take} /></label>`;
}

function Reading({ share, onCancel }) {
  return html`<p role="status">Reading the recording …</p>
    <progress class="progress" max="1" value=${share} aria-label="How much is read"></progress>
    <p class="help">${Math.round(share * 100)} %</p>
    <${Button} act="trace-cancel" onClick=${onCancel}>Stop reading<//>`;
}

/** What is known about the file in hand: {name, reduced, chosen, columns, notes, start_s} or null. */
function useKept(key) {
  const [kept, setKept] = useState(() => readDraft(key));
  return [kept, (next) => {
    setKept(next);
    keepDraft(key, next);
  }];
}

/** Everything that reads: the state of it, and how to begin and stop. */
function useReader({ call, rules, question, onRead }) {
  const [state, setState] = useState({ phase: 'idle', share: 0, problem: null, file: null });
  const job = useRef(null);
  useEffect(() => () => job.current && job.current.cancel(), []);
  const run = (file, options, base) => {
    job.current = readTraceFile(file, rules, options, (share) => setState((s) => ({ ...s, share: base + share / 2 })));
    return job.current.done;
  };
  const read = async (file, options = {}) => {
    setState({ phase: 'reading', share: 0, problem: null, file });
    const { found, problem } = await run(file, options, 0);
    if (!found) return setState({ phase: problem ? 'problem' : 'idle', share: 0, problem: problem || null, file });
    const looked = await analyse(call, found.reduced, question, async (window) => {
      const part = await run(file, { ...options, window }, 0.5);
      return part.found ? part.found.reduced : null;
    }).catch((error) => ({ answer: { error: [{ text: error.message }] } }));
    if (!looked) return setState({ phase: 'idle', share: 0, problem: null, file });
    const { answer } = looked;
    if (answer.error) return setState({ phase: 'problem', share: 0, problem: { text: answer.error.map((p) => p.text).join(' '), columns: found.columns }, file });
    onRead({ name: file.name, reduced: looked.reduced, chosen: found.chosen, columns: found.columns, notes: found.warnings }, answer.ok);
    return setState({ phase: 'idle', share: 0, problem: null, file });
  };
  return { ...state, read, cancel: () => job.current && job.current.cancel() };
}

function Intro() {
  return html`<p>Choose the CSV file of a logger, an oscilloscope or a scan program: time and rail pressure, best with the battery voltage
    beside them. The phone reads it by itself.</p>
    <p class="help">Battery voltage or starter current shows the start of cranking; without them the start is taken from the pressure.</p>`;
}

function pointsOf({ reduced }) {
  const bar = (x) => {
    if (!reduced.sensor) return x;
    const [[v0, b0], [v1, b1]] = reduced.sensor;
    return b0 + ((x - v0) * (b1 - b0)) / (v1 - v0);
  };
  const lists = { p: reduced.p || reduced.volts, low: reduced.p_low, high: reduced.p_high };
  return { points: reduced.t.map((t, i) => [t, bar(lists.p[i])]), low: lists.low && lists.low.map(bar), high: lists.high && lists.high.map(bar) };
}

function saveWords(result) {
  const time = judgedTime(result);
  const pressure = result.crank_pressure ? formatQuantity(Math.round(result.crank_pressure.value), 'bar') : '';
  const seconds = time.seconds === null ? 'not reached' : formatQuantity(Number(time.seconds.toFixed(2)), 's');
  return `Save ${[pressure, seconds].filter(Boolean).join(' and ')}`;
}

/** Readings first; the curve names them. @returns the id of the reading to show, or null */
async function saveTrace({ act, id, checkId, kept, result, found_start_s }) {
  const drafts = [pressureReading(id, checkId, 'trace', result.crank_pressure), riseReading(id, checkId, 'trace', result)].filter(Boolean);
  const answer = await act.record(drafts);
  if (!answer.saved) return answer;
  const readings = answer.saved.filter((entry) => entry.kind === 'reading_taken').map((entry) => entry.id);
  const rise = { source: 'trace', name: kept.name, points: pointsOf(kept).points, found_start_s, readings };
  const curve = await act.record([riseDraft(id, checkId, rise, result)]);
  return { saved: curve.saved && answer.saved, problems: curve.problems, shown: readings[readings.length - 1] || null };
}

export function Trace({ id, check: checkId }) {
  const { state, act, kase } = useCase();
  const { catalogue } = state;
  const check = byId(catalogue.checks, checkId);
  const key = `trace.${id}.${phaseOf(checkId)}`;
  const [kept, setKept] = useKept(key);
  const [result, setResult] = useState(null);
  const [problems, setProblems] = useState([]);
  const [busy, setBusy] = useState(false);
  const question = { targets: targetsFor(limitFor(catalogue, kase, 'crank_pressure')), cylinders: kase.vehicle.cylinders || null };
  const reader = useReader({ call: act.call, rules: catalogue.trace_columns, question,
    onRead: (next, answer) => { setResult({ first: answer, now: answer }); setKept({ ...next, start_s: null }); } });
  useEffect(() => {
    if (!kept || result) return;
    const asked = kept.start_s === null ? {} : { start_s: kept.start_s };
    Promise.all([act.call('trace', { ...kept.reduced, ...question }), act.call('trace', { ...kept.reduced, ...question, ...asked })])
      .then(([first, now]) => (first.ok && now.ok ? setResult({ first: first.ok, now: now.ok }) : setKept(null)), (error) => setProblems([{ text: error.message }]));
  }, [kept]);
  const moveStart = async (start_s) => {
    setKept({ ...kept, start_s });
    const answer = await act.call('trace', { ...kept.reduced, ...question, ...(start_s === null ? {} : { start_s }) });
    setProblems(answer.error || []);
    if (answer.ok) setResult({ ...result, now: answer.ok });
  };
  const save = async () => {
    setBusy(true);
    const found_start_s = kept.start_s === null ? null : result.first.start_s;
    const answer = await saveTrace({ act, id, checkId, kept, result: result.now, found_start_s });
    setBusy(false);
    setProblems(answer.problems);
    if (!answer.saved) return;
    keepDraft(key, null);
    location.hash = answer.shown ? address('case', id, 'check', checkId, 'verdict', answer.shown) : address('case', id, 'check', checkId);
  };
  const busyReading = reader.phase === 'reading';
  const ready = kept && result && !busyReading && reader.phase !== 'problem';
  return html`<${Frame} screen="trace" title="By recorded trace" caution=${check.cautions[0]} quiet=${true}
    bottom=${ready ? html`<${Button} act="save-trace" kind="main" disabled=${busy} onClick=${save}>${saveWords(result.now)}<//>` : null}>
    ${busyReading ? html`<${Reading} share=${reader.share} onCancel=${reader.cancel} />` : null}
    ${!ready && reader.phase === 'idle' ? html`<${Intro} />` : null}
    ${reader.phase === 'problem' ? html`<p class="error" role="alert" data-message="trace-problem">${reader.problem.text}</p>
      ${reader.problem.columns.length ? html`<${TraceColumns} columns=${reader.problem.columns} onUse=${(options) => reader.read(reader.file, options)} />` : null}` : null}
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    ${ready ? html`<${RiseResult} key=${kept.name} result=${result.now} curve=${pointsOf(kept)} name=${kept.name} notes=${kept.notes}>
      <${StartKeys} start_s=${result.now.start_s} found_s=${result.first.start_s} by_hand=${kept.start_s !== null} onMove=${moveStart} />
      ${reader.file ? html`<details class="fold"><summary data-act="trace-columns">Wrong column?</summary><div class="fold-body">
        <p>Read as: time from “${kept.chosen.time}”, pressure from “${kept.chosen.pressure}”.</p>
        <${TraceColumns} columns=${kept.columns} onUse=${(options) => reader.read(reader.file, options)} /></div></details>` : null}<//>` : null}
    ${busyReading ? null : html`<${FilePress} act="trace-file" words=${ready || reader.problem ? 'Choose another recording' : 'Choose a recording'} onFile=${(file) => reader.read(file)} />`}
  <//>`;
}
