// A film with its sound below, to be gone through frame by frame: buttons, a slider, and a press on the sound.
import { html, useEffect, useRef, useState } from './html.js';
import { Button } from './button.js';
import { createFrames, openFilm } from '../capture/film-frames.js';
import { listenTo, soundPath } from '../capture/film-sound.js';

const STRIP = { width: 320, height: 64 };
const STEPS = [[-10, '−10', 'Ten frames back'], [-1, '−1', 'One frame back'], [1, '+1', 'One frame on'], [10, '+10', 'Ten frames on']];

/** Opens a film in a video element. @returns {{video, frames, at: number, duration: number, sound: object|null, trouble: string}} */
export function useFilm(film) {
  const video = useRef(null);
  const [found, setFound] = useState({ frames: null, duration: 0, sound: null, trouble: '' });
  const [at, setAt] = useState(0);
  useEffect(() => {
    const url = URL.createObjectURL(film);
    let gone = false;
    openFilm(video.current, url).then(async (duration) => {
      if (gone) return;
      const frames = createFrames(video.current, setAt);
      setFound((f) => ({ ...f, frames, duration }));
      await frames.goTo(0);
      const sound = await listenTo(film);
      if (!gone) setFound((f) => ({ ...f, sound: sound || { levels: [], bin_s: 1 } }));
    }).catch((error) => setFound((f) => ({ ...f, trouble: error.message })));
    return () => { gone = true; URL.revokeObjectURL(url); };
  }, [film]);
  return { video, at, ...found };
}

function Line({ at_s, duration, kind }) {
  const x = (at_s / duration) * STRIP.width;
  return html`<line class=${kind} x1=${x} x2=${x} y1="0" y2=${STRIP.height} />`;
}

/** The whole film's loudness; a press goes there. */
function SoundStrip({ sound, at, duration, start, onGo }) {
  if (!sound) return html`<p class="help">Listening to the film …</p>`;
  if (sound.levels.length === 0) return html`<p class="help" data-sound="none">This film has no sound.</p>`;
  const press = (event) => {
    const box = event.currentTarget.getBoundingClientRect();
    onGo(((event.clientX - box.left) / box.width) * duration);
  };
  return html`<svg class="sound" data-sound=${sound.levels.length} data-act="sound-strip" viewBox=${`0 0 ${STRIP.width} ${STRIP.height}`} preserveAspectRatio="none" role="img" aria-label="How loud the film is" onClick=${press}>
    <path class="sound-wave" d=${soundPath(sound, 0, duration, STRIP.width, STRIP.height)} />
    ${start === null ? null : html`<${Line} at_s=${start} duration=${duration} kind="sound-start" />`}
    <${Line} at_s=${at} duration=${duration} kind="sound-now" />
  </svg>`;
}

/** @param {{player: object, start: number|null, compact: boolean}} props compact: only the picture, while a pressure is typed */
export function FilmPlayer({ player, start, compact }) {
  const { video, frames, at, duration, sound, trouble } = player;
  const slide = (event) => frames.goTo(Number(event.currentTarget.value));
  return html`<div class="player" data-at=${at.toFixed(4)} data-ready=${String(Boolean(frames))}>
    <video class="film" ref=${video} muted playsinline preload="auto" aria-label="The film"></video>
    ${trouble ? html`<p class="error" role="alert" data-message="film-problem">${trouble}</p>` : null}
    ${compact || !frames ? null : html`
      <${SoundStrip} sound=${sound} at=${at} duration=${duration} start=${start} onGo=${frames.goTo} />
      <input class="scrub" type="range" name="scrub" min="0" max=${duration} step="0.001" value=${at} aria-label="Go through the film" onInput=${slide} />
      <p class="film-time"><span>Frame at ${at.toFixed(3)} s</span>${start === null ? null : html`<span>${(at - start).toFixed(3)} s from the start</span>`}</p>
      <div class="start-keys">${STEPS.map(([count, face, label]) => html`<${Button} act=${`frame-${count}`} label=${label} onClick=${() => frames.step(count)}>${face}<//>`)}</div>`}
  </div>`;
}
