// Practice: choose a car with a hidden fault, look at it, say what it is. Nothing here touches a real case.
import { html, useApp, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Choices, TextField } from '../parts/field.js';
import { Fold, Frame } from '../parts/frame.js';
import { Ledger } from '../parts/ledger.js';
import { VerdictMark } from '../parts/verdict.js';
import { formatReading } from '../format.js';
import { byId, fitsVehicle, listChecks, verdictOf } from '../plan.js';
import { keepRun, readRun, startRun, usePracticeCar } from '../practice.js';

const CARS = 50;
const GRADES = [
  { id: 'plain', name: 'Plain', help: 'One fault, and a gross one.' },
  { id: 'usual', name: 'Usual', help: 'One fault of any size, or none.' },
  { id: 'faint', name: 'Faint', help: 'One small fault, or none.' },
  { id: 'double', name: 'Double', help: 'Two faults at once.' },
];
const TITLES = Object.fromEntries(GRADES.map((grade) => [grade.id, grade.name]));
const anyCar = () => String(1 + Math.floor(Math.random() * CARS));

/** Every practice screen says so, at the top and in its title. */
export function Practice({ screen, title, back = '#/practice', caution, bottom, aside, children }) {
  return html`<${Frame} screen=${screen} title=${`Practice: ${title}`} back=${back} caution=${caution} bottom=${bottom} aside=${aside} quiet=${true}>
    <p class="practice-mark" data-practice="true">Practice. No real car, no real case.</p>${children}<//>`;
}

export function NoCar() {
  return html`<${Practice} screen="practice-none" title="no car yet"><p>Choose a car first.</p>
    <${Button} act="practice" kind="main" href="#/practice">Choose a car<//><//>`;
}

export function Trouble({ text }) {
  return html`<p role="status">${text ? `The car does not answer: ${text}` : 'The car is being made ready …'}</p>`;
}

export function carName({ grade, car }) {
  return `${TITLES[grade]} ${car}`;
}

/** Choose how hard, and which car: whoever takes the same number has the same car. */
export function PracticeStart() {
  const [run] = useState(readRun);
  const [grade, setGrade] = useState('plain');
  const [number, setNumber] = useState(anyCar);
  const car = Number(number);
  const sound = Number.isInteger(car) && car >= 1 && car <= CARS;
  const take = () => { startRun(grade, car); location.hash = '#/practice/car'; };
  return html`<${Practice} screen="practice" title="find the fault" back="#/"
    bottom=${html`<${Button} act="practice-take" kind="main" disabled=${!sound} onClick=${take}>Take this car<//>`}>
    <p>A made-up car with a hidden fault answers every check as a real one would. Minutes count, and a pump replaced in vain costs.</p>
    ${run && !run.named ? html`<${Button} act="practice-on" href="#/practice/car">Go on with car ${carName(run)}<//>` : null}
    <${Choices} name="grade" label="How hard" options=${GRADES} isChosen=${(id) => id === grade} onPick=${setGrade} />
    <${TextField} name="car" label=${`Car, 1 to ${CARS}`} help="The same number is the same car for everybody." value=${number} onText=${setNumber}
      error=${sound ? '' : `“${number}” is no car: a whole number from 1 to ${CARS}.`} extra=${{ inputmode: 'numeric' }} />
  <//>`;
}

/** What was read of a quantity and how it is judged, or why it could not be read. */
export function FoundRow({ quantity, reading, assessment, reason = '' }) {
  const verdict = reading && verdictOf(assessment, reading.id);
  return html`<li class="row practice-found" data-reading=${quantity.id}><span class="row-main">${quantity.name}: <b>${reading ? formatReading(reading, quantity) : reason}</b></span>
    ${verdict ? html` <${VerdictMark} verdict=${verdict} />` : null}</li>`;
}

function Found({ kase, assessment, catalogue }) {
  if (kase.readings.length === 0) return html`<p>Nothing measured yet. Which check first?</p>`;
  return html`<ul class="rows">${kase.readings.map((reading) => html`<${FoundRow} quantity=${byId(catalogue.quantities, reading.quantity)} reading=${reading} assessment=${assessment} />`)}</ul>`;
}

/** The car on the floor: what its driver says, what was found, and all the checks that can be done to it. */
export function PracticeCar() {
  const { run, look, assessment, trouble } = usePracticeCar();
  const { state } = useApp();
  if (!run) return html`<${NoCar} />`;
  if (!look || !assessment) return html`<${Practice} screen="practice-car" title=${carName(run)}><${Trouble} text=${trouble} /><//>`;
  const { catalogue } = state;
  const kase = { ...look.case, steps: {} };
  const { vehicle } = kase;
  const complaint = byId(catalogue.complaints, kase.complaints[0]).name;
  const done = new Set(run.path.map((row) => row.check));
  const checks = listChecks(catalogue, vehicle).filter((check) => check.quantities.length && check.id !== 'retest');
  return html`<${Practice} screen="practice-car" title=${carName(run)}
    aside=${html`<${Ledger} kase=${kase} assessment=${assessment} />`}
    bottom=${html`<${Button} act="practice-name" kind="main" href="#/practice/name">Say what it is<//>`}>
    <p class="headline">${complaint}. ${byId(catalogue.layouts, vehicle.layout).name}, ${vehicle.cylinders} cylinders.
      ${kase.codes.length ? ` Codes stored: ${kase.codes.join(', ')}.` : ' No code stored.'}</p>
    <p data-minutes=${look.minutes}>${look.minutes} minutes so far${run.path.length ? `, ${run.path.length} checks` : ''}.</p>
    <${Found} kase=${kase} assessment=${assessment} catalogue=${catalogue} />
    <h2>Checks</h2>
    <ul class="rows">${checks.map((check) => html`<li class="row" data-check=${check.id}><${Button} act="practice-check" kind="row" href=${`#/practice/check/${check.id}`}>
      <span class="row-main">${check.name}</span><span class="row-note">${done.has(check.id) ? 'Done · ' : ''}about ${check.minutes} minutes</span><//></li>`)}</ul>
    <div class="practice-ledger"><${Fold} act="practice-ledger" title="What the evidence rules out so far"><${Ledger} kase=${kase} assessment=${assessment} /><//></div>
  <//>`;
}

/** Name the fault; then comes the debrief, and the car is done. */
export function PracticeName() {
  const { run, look, trouble } = usePracticeCar();
  const { state } = useApp();
  const [fault, setFault] = useState('');
  if (!run) return html`<${NoCar} />`;
  if (!look) return html`<${Practice} screen="practice-name" title="what is it?" back="#/practice/car"><${Trouble} text=${trouble} /><//>`;
  const faults = state.catalogue.faults.filter((f) => fitsVehicle(f, look.case.vehicle) && f.id !== 'none_of_these').map(({ id, name }) => ({ id, name }));
  const done = () => { keepRun({ ...run, named: fault }); location.hash = '#/practice/debrief'; };
  return html`<${Practice} screen="practice-name" title="what is it?" back="#/practice/car"
    bottom=${html`<${Button} act="practice-done" kind="main" disabled=${!fault} onClick=${done}>That is my finding<//>`}>
    <${Choices} name="fault" label="This car has" options=${faults} isChosen=${(id) => id === fault} onPick=${setFault} />
  <//>`;
}
