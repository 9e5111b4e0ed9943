// Picks the screen for the address. The injury card needs nothing but this file and its own words.
import { AppContext, Component, html, useEffect, useState } from './parts/html.js';
import { Button } from './parts/button.js';
import { Dialog } from './parts/dialog.js';
import { Frame, Waiting } from './parts/frame.js';
import { later } from './parts/later.js';
import { TEST_SCREENS } from './routes.js';
import { Attention } from './screens/attention.js';
import { Case } from './screens/case.js';
import { Cases } from './screens/cases.js';
import { Check } from './screens/check.js';
import { Conclude } from './screens/conclude.js';
import { Injury } from './screens/injury.js';
import { Limit } from './screens/limit.js';
import { Missing } from './screens/missing.js';
import { NewCase } from './screens/new-case.js';
import { Notes } from './screens/notes.js';
import { Pair } from './screens/pair.js';
import { Reading } from './screens/reading.js';
import { Readings } from './screens/readings.js';
import { Result } from './screens/result.js';
import { Settings } from './screens/settings.js';
import { Verdict } from './screens/verdict.js';

const SCREENS = {
  attention: Attention, case: Case, cases: Cases, check: Check, conclude: Conclude, injury: Injury, limit: Limit, missing: Missing,
  'new-case': NewCase, notes: Notes, pair: Pair, reading: Reading, readings: Readings, result: Result, settings: Settings,
  verdict: Verdict,
  timer: later(() => import('./screens/timer.js'), 'Timer'), listen: later(() => import('./screens/listen.js'), 'Listen'),
  returns: later(() => import('./screens/returns.js'), 'Returns'), scan: later(() => import('./screens/scan.js'), 'Scan'),
  volts: later(() => import('./screens/volts.js'), 'Volts'), resistor: later(() => import('./screens/resistor.js'), 'Resistor'),
  practice: later(() => import('./screens/practice.js'), 'PracticeStart'),
  'practice-car': later(() => import('./screens/practice.js'), 'PracticeCar'),
  'practice-name': later(() => import('./screens/practice.js'), 'PracticeName'),
  'practice-check': later(() => import('./screens/practice-check.js'), 'PracticeCheck'),
  'practice-shown': later(() => import('./screens/practice-check.js'), 'PracticeShown'),
  'practice-debrief': later(() => import('./screens/practice-debrief.js'), 'PracticeDebrief'),
  film: later(() => import('./screens/film.js'), 'Film'), trace: later(() => import('./screens/trace.js'), 'Trace'),
};
const NEEDS_CATALOGUE = ['case', 'conclude', 'new-case', 'readings', 'result', 'notes', 'practice-car', 'practice-check', 'practice-shown', 'practice-name', 'practice-debrief', ...TEST_SCREENS];

function StorageFailed({ text }) {
  return html`<${Frame} screen="storage-failed" title="This phone keeps nothing" caution="general">
    <p>The browser says: ${text}.</p>
    <p>Without storage nothing you enter can be kept, so the app does not let you start a case. Leave private browsing, free
      some space, or use another browser, then try again.</p>
    <p>The injury card works all the same: press “Jet hit skin?”.</p>
    <${Button} act="retry-start" kind="main" onClick=${() => location.reload()}>Try again<//>
  <//>`;
}

function CatalogueMissing({ text }) {
  return html`<${Frame} screen="catalogue-missing" title="Checks not here yet" caution="general">
    <p>${text}</p>
    <${Button} act="retry-start" kind="main" onClick=${() => location.reload()}>Try again<//>
  <//>`;
}

function CaseMissing() {
  return html`<${Frame} screen="case-missing" title="No such case" caution="general">
    <p>This phone does not know that case. If another phone made it, it appears after the next contact with the office.</p>
  <//>`;
}

function pick(state) {
  const { screen, params } = state.route;
  if (screen === 'injury') return html`<${Injury} />`;
  if (state.boot === 'failed') return html`<${StorageFailed} text=${state.bootError} />`;
  if (state.boot === 'starting') return html`<${Waiting} />`;
  if (NEEDS_CATALOGUE.includes(screen) && !state.catalogue) {
    return state.catalogueError ? html`<${CatalogueMissing} text=${state.catalogueError} />` : html`<${Waiting} />`;
  }
  if (params.id) {
    if (!state.open || state.open.id !== params.id) return html`<${Waiting} />`;
    if (state.open.entries.length === 0) return html`<${CaseMissing} />`;
    if (!state.open.case && !state.open.error) return html`<${Waiting} />`;
  }
  return html`<${SCREENS[screen]} key=${state.hash} ...${params} />`;
}

class Boundary extends Component {
  componentDidCatch(error) {
    this.setState({ error, at: this.props.address });
  }

  render({ children, address }, { error, at }) {
    if (!error || at !== address) return children;
    return html`<${Frame} screen="broken" title="This screen broke" caution="general">
      <p>What you saved is safe on this phone. The screen says: ${String(error.message || error)}</p>
      <${Button} act="retry-start" kind="main" onClick=${() => { location.hash = '#/'; location.reload(); }}>Open the app again<//>
      <${Button} act="export" onClick=${() => this.props.act.exportAll()}>Put everything in a file<//>
    <//>`;
  }
}

/** A new screen is announced from its top; a number entry is ready for a keyboard at once. */
function focusScreen() {
  const target = document.querySelector('.place input') || document.querySelector('main.body');
  if (target) target.focus({ preventScroll: true });
}

export function Root({ store, act }) {
  const [state, setState] = useState(store.get());
  useEffect(() => store.watch(setState), [store]);
  const { screen } = state.route;
  useEffect(() => {
    act.send({ type: 'capture', running: TEST_SCREENS.includes(screen) });
    scrollTo(0, 0);
    focusScreen();
  }, [screen, state.hash]);
  return html`<${AppContext.Provider} value=${{ state, act }}>
    <${Boundary} address=${state.hash} act=${act}>${pick(state)}<//>
    ${state.dialog ? html`<${Dialog} ...${state.dialog} />` : null}
  <//>`;
}
