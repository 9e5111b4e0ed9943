// A pressure curve with its start, targets and levels. The chart library is read when the first chart is opened.
import { html, useEffect, useRef, useState } from './html.js';
import { Button } from './button.js';
import { dragTo, firstView, panBy, zoomBy } from '../capture/trace-view.js';
import { formatNumber } from '../format.js';

const HEIGHT_PX = 300;
const FONT = '18px system-ui, sans-serif';
const CSS = '/static/vendor/uplot.css';

async function loadLibrary() {
  if (!document.querySelector(`link[href="${CSS}"]`)) document.head.append(Object.assign(document.createElement('link'), { rel: 'stylesheet', href: CSS }));
  return (await import('../../vendor/uplot.mjs')).uPlot;
}

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function line(chart, points, dash, stroke, width) {
  const paper = chart.ctx;
  const { left, top } = chart.bbox;
  paper.save();
  paper.beginPath();
  paper.rect(left, top, chart.bbox.width, chart.bbox.height);
  paper.clip();
  Object.assign(paper, { strokeStyle: stroke, lineWidth: width * devicePixelRatio });
  paper.setLineDash(dash.map((d) => d * devicePixelRatio));
  paper.beginPath();
  points.forEach(([x, y], i) => (i ? paper.lineTo(x, y) : paper.moveTo(x, y)));
  paper.stroke();
  paper.restore();
}

function word(chart, text, x, y, align = 'left') {
  const paper = chart.ctx;
  paper.save();
  Object.assign(paper, { font: `700 ${18 * devicePixelRatio}px system-ui, sans-serif`, textAlign: align, lineJoin: 'round',
    strokeStyle: colour('--paper'), fillStyle: colour('--ink'), lineWidth: 4 * devicePixelRatio });
  paper.strokeText(text, x, y);
  paper.fillText(text, x, y);
  paper.restore();
}

/** A ring where a pressure was typed. */
function spot(chart, x, y) {
  const paper = chart.ctx;
  paper.save();
  Object.assign(paper, { strokeStyle: colour('--ink'), fillStyle: colour('--paper'), lineWidth: 3 * devicePixelRatio });
  paper.beginPath();
  paper.arc(x, y, 6 * devicePixelRatio, 0, 2 * Math.PI);
  paper.fill();
  paper.stroke();
  paper.restore();
}

/** Start, targets and levels, drawn over the curve; words beside them, never a colour alone. */
function drawMarks(chart, marks) {
  const { left, top, width, height } = chart.bbox;
  const x = (s) => chart.valToPos(s, 'x', true);
  const y = (bar) => chart.valToPos(bar, 'y', true);
  const ink = colour('--ink');
  for (const level of marks.levels) {
    line(chart, [[left, y(level.bar)], [left + width, y(level.bar)]], [2, 6], colour('--hair'), 2);
    word(chart, level.name, left + width - 6 * devicePixelRatio, y(level.bar) - 6 * devicePixelRatio, 'right');
  }
  for (const target of marks.targets) {
    line(chart, [[left, y(target.bar)], [left + width, y(target.bar)]], [10, 6], colour('--bad'), 2);
    word(chart, `${formatNumber(target.bar)} bar`, left + 6 * devicePixelRatio, y(target.bar) - 6 * devicePixelRatio);
    if (target.at_s !== null) line(chart, [[x(target.at_s), y(target.bar)], [x(target.at_s), top + height]], [10, 6], colour('--bad'), 2);
  }
  for (const [at_s, bar] of marks.spots) spot(chart, x(at_s), y(bar));
  line(chart, [[x(0), top], [x(0), top + height]], [], ink, 3);
  if (x(0) >= left && x(0) <= left + width) word(chart, 'start', x(0) + 6 * devicePixelRatio, top + 16 * devicePixelRatio);
}

function optionsFor(place, marks) {
  const axis = { stroke: colour('--ink'), font: FONT, grid: { stroke: colour('--faint'), width: 1 }, ticks: { stroke: colour('--hair') } };
  const { low, high } = marks.yRange;
  return {
    width: place.clientWidth, height: HEIGHT_PX, padding: [12, 12, 0, 0], legend: { show: false },
    cursor: { show: false }, scales: { x: { time: false }, y: { range: [low, high] } },
    axes: [{ ...axis, size: 40, space: 70 }, { ...axis, size: 56, space: 44 }],
    series: [{}, { stroke: colour('--action'), width: 3, points: { show: false } }, { stroke: colour('--hair'), width: 1 }, { stroke: colour('--hair'), width: 1 }],
    bands: [{ series: [3, 2], fill: colour('--faint') }],
    hooks: { draw: [(chart) => drawMarks(chart, marks)] },
  };
}

function yRange(points, high, targets) {
  const all = [...points.map((p) => p[1]), ...(high || []), ...targets.map((t) => t.bar)].filter((v) => v !== null);
  const top = all.reduce((most, v) => Math.max(most, v), 10);
  return { low: Math.min(0, all.reduce((least, v) => Math.min(least, v), 0)), high: top * 1.12 };
}

/** Fingers and mouse on the chart: one moves it, two stretch it. The buttons do the same. */
function usePointers(place, view, setView, whole) {
  const fingers = useRef(new Map());
  const began = useRef(null);
  const share = (event) => (event.clientX - place.current.getBoundingClientRect().left) / place.current.clientWidth;
  const restart = () => { began.current = { view, was: [...fingers.current.values()] }; };
  const drop = (event) => { fingers.current.delete(event.pointerId); restart(); };
  return {
    onPointerDown(event) {
      event.currentTarget.setPointerCapture(event.pointerId);
      fingers.current.set(event.pointerId, share(event));
      restart();
    },
    onPointerMove(event) {
      if (!fingers.current.has(event.pointerId)) return;
      fingers.current.set(event.pointerId, share(event));
      setView(dragTo(began.current.view, began.current.was, [...fingers.current.values()], whole));
    },
    onPointerUp: drop, onPointerCancel: drop,
  };
}

/**
 * @param {{points: [number, number][], low?: number[], high?: number[], start_s: number, targets: {bar: number, at_s: number|null}[],
 *   levels?: {bar: number, name: string}[], spots?: [number, number][], label: string, children?: any}} props
 *   points in seconds of the record; targets' at_s counts from the start, as the chart's axis does
 */
export function Chart({ points, low, high, start_s, targets, levels = [], spots = [], label, children }) {
  const place = useRef(null);
  const drawn = useRef(null);
  const [trouble, setTrouble] = useState('');
  const whole = [points[0][0] - start_s, points[points.length - 1][0] - start_s];
  const last = targets.reduce((most, t) => (t.at_s === null ? most : Math.max(most ?? 0, t.at_s)), null);
  const [view, setView] = useState(() => firstView(whole, 0, last));
  const question = JSON.stringify([start_s, targets, levels, spots, points.length, points[points.length - 1]]);
  useEffect(() => {
    let gone = false;
    loadLibrary().then((Plot) => {
      if (gone) return;
      const data = [points.map((p) => p[0] - start_s), points.map((p) => p[1]), low || points.map(() => null), high || points.map(() => null)];
      drawn.current = new Plot(optionsFor(place.current, { targets, levels, spots: spots.map(([s, bar]) => [s - start_s, bar]), yRange: yRange(points, high, targets) }), data, place.current);
      drawn.current.setScale('x', { min: view[0], max: view[1] });
    }).catch((error) => setTrouble(error.message));
    return () => {
      gone = true;
      if (drawn.current) drawn.current.destroy();
      drawn.current = null;
    };
  }, [question]);
  useEffect(() => { if (drawn.current) drawn.current.setScale('x', { min: view[0], max: view[1] }); }, [view[0], view[1]]);
  const middle = (view[0] + view[1]) / 2;
  const pointers = usePointers(place, view, setView, whole);
  return html`<div class="chart" data-chart="true" data-view=${`${view[0].toFixed(3)} ${view[1].toFixed(3)}`}>
    ${trouble ? html`<p class="error" role="alert">The chart could not be drawn: ${trouble}</p>` : null}
    <div class="chart-place" ref=${place} role="img" aria-label=${label} ...${pointers}></div>
    <p class="help chart-axis">bar over seconds from the start</p>
    <div class="chart-keys">
      <${Button} act="chart-left" label="Earlier" onClick=${() => setView(panBy(view, -0.4, whole))}>‹<//>
      <${Button} act="chart-closer" onClick=${() => setView(zoomBy(view, 0.5, middle, whole))}>Closer<//>
      <${Button} act="chart-wider" onClick=${() => setView(zoomBy(view, 2, middle, whole))}>Wider<//>
      <${Button} act="chart-right" label="Later" onClick=${() => setView(panBy(view, 0.4, whole))}>›<//>
    </div>
    ${children}
  </div>`;
}
