// A rise as it was read from a trace or a film: the curve, the figures, and what to beware of. Used by both screens.
import { html } from './html.js';
import { Button } from './button.js';
import { Chart } from './chart.js';
import { formatNumber, formatQuantity } from '../format.js';

const START_WORDS = { battery_voltage: 'from the battery voltage', starter_current: 'from the starter current', pressure: 'from the pressure itself',
  hand: 'set by hand', picture: 'from the picture', sound: 'from the sound' };
const STEPS_S = [-0.05, -0.01, 0.01, 0.05];

const figure = (value, digits, unit) => (typeof value === 'number' ? formatQuantity(Number(value.toFixed(digits)), unit) : null);

/** A time with no more digits than are known, and how well it is known (about 95 %). */
export function formatTime({ seconds, standard_uncertainty }) {
  if (seconds === null) return 'not reached';
  const digits = standard_uncertainty < 0.005 ? 3 : 2;
  const least = 10 ** -digits;
  return `${seconds.toFixed(digits)} ± ${formatQuantity(Number(Math.max(least, 2 * standard_uncertainty).toFixed(digits)), 's')}`;
}

function rowsOf(result) {
  const times = result.time_to.map((row) => [`To ${formatNumber(row.target_bar)} bar`, formatTime(row)]);
  const cranking = result.cranking && figure(result.cranking.speed_rpm, 0, 'rpm');
  return [...times, ['Steady', figure(result.steady_bar, 0, 'bar')], ['Highest', figure(result.peak_bar ?? result.highest_bar, 0, 'bar')], ['At rest', figure(result.rest_bar, 0, 'bar')],
    ['Ripple', result.ripple_bar ? `± ${figure(result.ripple_bar, 1, 'bar')}` : null], ['Cranking speed', cranking],
    ['Start', `${figure(result.start_s, 3, 's')}, ${START_WORDS[result.start_from] || result.start_from}`]].filter(([, value]) => value);
}

/** Move the start of cranking by hand; what was found stays in the record. */
export function StartKeys({ start_s, found_s, by_hand, onMove }) {
  const name = (step) => `${step < 0 ? '−' : '+'}${Math.abs(step)}`;
  return html`<section><h2>Is the start right?</h2>
    <p>Move it by so many seconds:</p>
    <div class="start-keys">${STEPS_S.map((step) => html`<${Button} act=${`start-${step}`} label=${`Move the start by ${step} seconds`} onClick=${() => onMove(Number((start_s + step).toFixed(4)))}>${name(step)}<//>`)}</div>
    ${by_hand ? html`<p class="help" data-start="hand">Moved by hand; found at ${figure(found_s, 3, 's')}. Both are kept in the record.</p>
      <${Button} act="start-found" onClick=${() => onMove(null)}>Take the found start again<//>` : null}
  </section>`;
}

/**
 * @param {{result: object, curve: {points: [number, number][], low?: number[], high?: number[]}, name: string, notes?: string[], spots?: [number, number][], children: any}} props
 */
export function RiseResult({ result, curve, name, notes = [], spots = [], children }) {
  const targets = result.time_to.map((row) => ({ bar: row.target_bar, at_s: row.seconds }));
  const levels = typeof result.steady_bar === 'number' ? [{ bar: result.steady_bar, name: 'steady' }] : [];
  const label = `Rail pressure over time. ${rowsOf(result).map((row) => row.join(' ')).join('. ')}`;
  return html`<div data-rise=${result.time_to.map((row) => row.seconds).join(' ')}>
    <p class="help trace-name">${name}</p>
    <${Chart} ...${curve} start_s=${result.start_s} targets=${targets} levels=${levels} label=${label} spots=${spots} />
    ${[...notes, ...result.warnings].map((text) => html`<p class="warn" data-message="rise-warning">${text}</p>`)}
    <dl class="figures">${rowsOf(result).map(([what, value]) => html`<div><dt>${what}</dt><dd>${value}</dd></div>`)}</dl>
    ${children}
  </div>`;
}
