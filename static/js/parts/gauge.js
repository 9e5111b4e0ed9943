// A pressure gauge that follows a curve: a half ring with a hand, and the limit marked on it.
import { html } from './html.js';

const ROUND = 50; // bar; the scale ends on a multiple of it
const SWEEP = 180;
const FIVE = [0, 1, 2, 3, 4, 5];

/** Where the scale ends [bar]. */
export function scaleEnd(points, target) {
  return ROUND * Math.ceil(Math.max(target * 1.2, ...points.map((p) => p[1])) / ROUND);
}

/** The pressure of a curve [[s, bar]] at a time, straight between its points. */
export function barAt(points, seconds) {
  const after = points.findIndex(([t]) => t >= seconds);
  if (after < 0) return points[points.length - 1][1];
  if (after === 0) return points[0][1];
  const [[t0, p0], [t1, p1]] = [points[after - 1], points[after]];
  return p0 + ((p1 - p0) * (seconds - t0)) / (t1 - t0);
}

const turn = (bar, end) => `rotate(${(SWEEP * Math.min(bar, end)) / end} 100 100)`;

/** @param {{bar: number, end: number, target: number}} props */
export function Gauge({ bar, end, target }) {
  return html`<svg class="gauge" viewBox="0 0 200 118" role="img" aria-label=${`${Math.round(bar)} bar`}>
    <path class="gauge-ring" d="M14 100A86 86 0 0 1 186 100" />
    ${FIVE.map((i) => html`<line class="gauge-tick" x1="14" y1="100" x2="26" y2="100" transform=${turn((end * i) / 5, end)} />`)}
    <line class="gauge-limit" x1="8" y1="100" x2="34" y2="100" transform=${turn(target, end)} />
    <line class="gauge-hand" x1="100" y1="100" x2="30" y2="100" transform=${turn(bar, end)} />
    <circle class="gauge-pin" cx="100" cy="100" r="7" />
    <text class="gauge-figure" x="14" y="116">0</text><text class="gauge-figure" x="186" y="116" text-anchor="end">${end} bar</text>
  </svg>`;
}
