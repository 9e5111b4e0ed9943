// By film: the gauge or scan display is filmed, stepped through frame by frame, and a few pressures are typed.
import { html, useEffect, useRef, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Frame } from '../parts/frame.js';
import { openCamera } from '../capture/film-camera.js';
import { canStep } from '../capture/film-frames.js';
import { noMarks } from '../capture/film-marks.js';
import { holdAwake } from '../capture/camera.js';
import { byId, phaseOf } from '../plan.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { useCase } from './case.js';
import { FilmMarks } from './film-marks.js';

const READING = { step_bar: 5, display_s: 0, unit: 'bar' };

/** The camera's picture, with one press to start and one to stop. */
function Camera({ onFilm, onBack }) {
  const video = useRef(null);
  const camera = useRef(null);
  const [phase, setPhase] = useState('opening');
  const [problem, setProblem] = useState('');
  useEffect(() => {
    let gone = false;
    openCamera(video.current).then((opened) => {
      camera.current = opened;
      if (gone) opened.close();
      else setPhase('ready');
    }, (error) => setProblem(error.message));
    return () => { gone = true; if (camera.current) camera.current.close(); };
  }, []);
  const start = () => { camera.current.start(); setPhase('filming'); };
  const stop = async () => { setPhase('ending'); onFilm(await camera.current.stop()); };
  return html`<div class="stack" data-camera=${phase}>
    <video class="film" ref=${video} muted playsinline aria-label="What the camera sees"></video>
    ${problem ? html`<p class="error" role="alert" data-message="camera">${problem}</p>` : null}
    ${phase === 'ready' ? html`<p>Gauge or screen large in the picture, phone held still. Start the film, then crank.</p><${Button} act="film-start" kind="main" onClick=${start}>Start the film<//>` : null}
    ${phase === 'filming' ? html`<p role="status">Filming. Crank now, a few seconds, then stop the film.</p><${Button} act="film-stop" kind="main" onClick=${stop}>Stop the film<//>` : null}
    ${phase === 'filming' ? null : html`<${Button} act="film-back" onClick=${onBack}>Without the camera<//>`}
  </div>`;
}

function Choose({ onFilm, onCamera }) {
  const take = (event) => {
    const file = event.currentTarget.files[0];
    event.currentTarget.value = '';
    if (file) onFilm(file);
  };
  return html`<p>Film the gauge or the scan display while cranking, from before the starter turns. Then step through the film and type
      the pressure at a few frames.</p>
    <p>Slow motion, where the phone has it, is better. The sound helps to find the start: leave it on.</p>
    ${navigator.mediaDevices && globalThis.MediaRecorder ? html`<${Button} act="film-camera" onClick=${onCamera}>Film with this app<//>` : null}
    <label class="press press-plain press-file" data-act="film-file">Choose a film
      <input type="file" name="film" accept="video/*" onChange=${take} /></label>
    <p class="help after-press">The film stays on this phone. Two pictures of it, the marks and the curve go to the office.</p>`;
}

/** The film and its marks, on disk as they are made: {film, marks, reading} or null. */
function useKept(key) {
  const [kept, setKept] = useState(() => readDraft(key));
  return [kept, (next) => {
    setKept(next);
    keepDraft(key, next);
  }];
}

export function Film({ id, check: checkId }) {
  const { state } = useCase();
  const check = byId(state.catalogue.checks, checkId);
  const key = `film.${id}.${phaseOf(checkId)}`;
  const [kept, setKept] = useKept(key);
  const [filming, setFilming] = useState(false);
  useEffect(() => holdAwake(), []);
  const take = (film) => {
    setFilming(false);
    setKept({ film, marks: noMarks(), reading: kept ? kept.reading : READING });
  };
  if (kept && canStep()) return html`<${FilmMarks} id=${id} check=${check} kept=${kept} setKept=${setKept} onOther=${() => setKept(null)} />`;
  return html`<${Frame} screen="film" title="By film" caution=${check.cautions[0]} quiet=${true}>
    ${canStep() ? null : html`<p class="error" role="alert">This browser cannot say which frame of a film it shows. Use a newer one, or time it by thumb.</p>`}
    ${filming ? html`<${Camera} onFilm=${take} onBack=${() => setFilming(false)} />` : html`<${Choose} onFilm=${take} onCamera=${() => setFilming(true)} />`}
  <//>`;
}
