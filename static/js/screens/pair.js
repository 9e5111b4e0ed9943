// Join this phone to an office: by the link behind the office's square code, or by typing the short code; then the office
// compares the number that is shown here.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { TextField } from '../parts/field.js';
import { Frame } from '../parts/frame.js';
import { countUnsent } from '../state.js';
import { formatCount } from '../format.js';

const LOOK_MS = 3000;
const OVER = {
  refused: 'The office turned this phone away, or made the code void. Nothing on it is changed. Ask the office for a new code.',
  expired: 'The office did not answer in time. Nothing on this phone is changed. Ask the office for a new code.',
};

/** Letters and digits in two groups, however they were typed. A secret from a link is left alone. */
export function tidyCode(text) {
  const plain = text.toUpperCase().replace(/[^A-Z0-9]/g, '');
  return plain.length > 4 ? `${plain.slice(0, 4)}-${plain.slice(4, 8)}` : plain;
}

function Done({ state }) {
  return html`<${Frame} screen="pair" title="Paired" caution="general"
    bottom=${html`<${Button} act="to-cases" kind="main" href="#/">To the cases<//>`}>
    <p data-paired="true">This phone now sends to ${state.workshop ? state.workshop.name : 'the office'}, as ${state.person.name}.</p>
    <p>You can go on working with no signal: what you save waits here and is sent by itself.</p>
  <//>`;
}

/** Looks for the office's word every few seconds, as long as this is on screen; the question outlives the app. */
function Wait({ asked, onAnswer, act }) {
  useEffect(() => {
    let timer = 0;
    let shown = true;
    const look = async () => {
      const answer = await act.lookPairing().catch(() => asked);
      if (!shown) return;
      onAnswer(answer);
      timer = setTimeout(look, LOOK_MS);
    };
    timer = setTimeout(look, LOOK_MS);
    return () => { shown = false; clearTimeout(timer); };
  }, [asked.number]);
  const stop = () => act.forgetAsking().then(() => onAnswer({ status: '', text: '' }));
  return html`<${Frame} screen="pair" title="Ask the office" caution="general"
    bottom=${html`<${Button} act="stop-waiting" onClick=${stop}>Stop waiting<//>`}>
    <p>Tell the office the number that you see here. When theirs is the same they let this phone in, and this screen says so.</p>
    <p class="big-value" data-number=${asked.number}>${asked.number.slice(0, 2)} ${asked.number.slice(2)}</p>
    <p role="status">${asked.text || 'Waiting for the office …'}</p>
    <p>You can go back and work meanwhile; look in here again later.</p>
  <//>`;
}

function useAsking(act) {
  const [asked, setAsked] = useState({ status: '', text: '' });
  useEffect(() => { act.lookPairing().then((answer) => { if (answer.status !== 'none') setAsked(answer); }, () => {}); }, []);
  return [asked, setAsked];
}

export function Pair({ secret = '' }) {
  const { state, act } = useApp();
  const [code, setCode] = useState('');
  const [name, setName] = useState('');
  const [asked, setAsked] = useAsking(act);
  const [busy, setBusy] = useState(false);
  const given = secret || code;
  const pair = async () => {
    setBusy(true);
    setAsked(await act.pair(given, name.trim() || 'Phone').catch((error) => ({ status: 'failed', text: error.message })));
    setBusy(false);
  };
  // The secret must not stay in the address, where a screenshot or a shared link would carry it.
  useEffect(() => { if (secret) history.replaceState(null, '', '#/pair'); }, [secret]);
  if (asked.status === 'paired') return html`<${Done} state=${state} />`;
  const onAnswer = (answer) => {
    if (OVER[answer.status]) setCode(''); // it is used up
    setAsked(answer);
  };
  if (asked.status === 'waiting') return html`<${Wait} asked=${asked} onAnswer=${onAnswer} act=${act} />`;
  const unsent = countUnsent(state.outbox);
  const problem = OVER[asked.status] || asked.text;
  return html`<${Frame} screen="pair" title="Pair this phone" caution="general"
    bottom=${html`<${Button} act="pair-now" kind="main" disabled=${busy || given.length < 6} onClick=${pair}>${busy ? 'Asking …' : 'Pair'}<//>`}>
    ${problem ? html`<p class="error" role="alert">${problem}</p>` : null}
    <p>The office makes a code for you, good for a few minutes. Point the phone’s own camera at the square, or type the code here.</p>
    <p>If you want the app on the home screen, put it there first and pair it there: the home-screen app keeps its own storage.</p>
    ${unsent ? html`<p>${formatCount(unsent, 'entry', 'entries')} of this phone will be sent after pairing.</p>` : null}
    ${secret ? html`<p data-secret="true">The code came with the link.</p>`
    : html`<${TextField} name="code" label="Code from the office" value=${code} onText=${(text) => setCode(tidyCode(text))} extra=${{ autocapitalize: 'characters', spellcheck: false }} />`}
    <${TextField} name="device-name" label="A name for this phone" help="So that the office can tell phones apart." value=${name} onText=${setName} />
  <//>`;
}
