// Columns of a recording chosen by hand, the unit of the pressure, and what a sensor gives at two pressures.
import { html, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextField } from '../parts/field.js';
import { parseTyped } from '../format.js';

const PRESSURE_UNITS = ['bar', 'kPa', 'MPa', 'psi'];
const TIME_UNITS = ['s', 'ms', 'us'];
const SENSOR = { v0: '0.5', b0: '0', v1: '4.5', b1: '' };

const named = (list) => list.map((id) => ({ id, name: id }));

function options(time, pressure, units, sensor) {
  const found = { time: String(time.index + 1), pressure: String(pressure.index + 1) };
  if (!time.unit && units.time) found.time_unit = units.time;
  if (pressure.dimension === 'voltage') found.sensor = [[parseTyped(sensor.v0), parseTyped(sensor.b0)], [parseTyped(sensor.v1), parseTyped(sensor.b1)]];
  else if (!pressure.unit || pressure.dimension !== 'pressure') found.pressure_unit = units.pressure;
  return found;
}

function SensorFields({ sensor, setSensor }) {
  const field = (name, label) => html`<${TextField} name=${`sensor-${name}`} label=${label} value=${sensor[name]} onText=${(text) => setSensor({ ...sensor, [name]: text })} extra=${{ inputmode: 'decimal' }} />`;
  return html`<p>The column is in volts. What does the sensor give at two pressures? The vehicle maker’s data say it.</p>
    <div class="pair">${field('v0', 'Volts, low')}${field('b0', 'is bar')}</div>
    <div class="pair">${field('v1', 'Volts, high')}${field('b1', 'is bar')}</div>`;
}

function isWhole(time, pressure, units, sensor) {
  if (!time || !pressure || time.index === pressure.index) return false;
  if (pressure.dimension === 'voltage') return ['v0', 'b0', 'v1', 'b1'].every((key) => parseTyped(sensor[key]) !== null) && sensor.v0 !== sensor.v1;
  return pressure.dimension === 'pressure' || Boolean(units.pressure);
}

/** @param {{columns: object[], onUse: (options: object) => void}} props */
export function TraceColumns({ columns, onUse }) {
  const [time, setTime] = useState(columns.find((c) => c.dimension === 'time') || null);
  const [pressure, setPressure] = useState(null);
  const [units, setUnits] = useState({ time: 's', pressure: '' });
  const [sensor, setSensor] = useState(SENSOR);
  const list = columns.map((c) => ({ id: c.index, name: c.header, help: `begins with ${c.example || 'nothing'}` }));
  const whole = isWhole(time, pressure, units, sensor);
  return html`<section data-columns=${columns.length}>
    <${Choices} name="time-column" label="Which column is the time?" options=${list} isChosen=${(i) => time !== null && time.index === i} onPick=${(i) => setTime(columns[i])} />
    ${time && !time.unit ? html`<${Choices} name="time-unit" label="Its unit" wrap=${true} options=${named(TIME_UNITS)} isChosen=${(u) => u === units.time} onPick=${(u) => setUnits({ ...units, time: u })} />` : null}
    <${Choices} name="pressure-column" label="Which column is the rail pressure?" options=${list} isChosen=${(i) => pressure !== null && pressure.index === i} onPick=${(i) => setPressure(columns[i])} />
    ${pressure && pressure.dimension === 'voltage' ? html`<${SensorFields} sensor=${sensor} setSensor=${setSensor} />` : null}
    ${pressure && pressure.dimension !== 'voltage' && pressure.dimension !== 'pressure' ? html`<${Choices} name="pressure-unit" label="Its unit" wrap=${true} options=${named(PRESSURE_UNITS)} isChosen=${(u) => u === units.pressure} onPick=${(u) => setUnits({ ...units, pressure: u })} />` : null}
    <${Button} act="trace-use" disabled=${!whole} onClick=${() => onUse(options(time, pressure, units, sensor))}>Read with these columns<//>
  </section>`;
}
