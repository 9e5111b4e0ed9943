// Join this phone to an office: by the link behind the office's square code, or by typing the short code.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { TextField } from '../parts/field.js';
import { Frame } from '../parts/frame.js';
import { countUnsent } from '../state.js';
import { formatCount } from '../format.js';

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

export function Pair({ secret = '' }) {
  const { state, act } = useApp();
  const [code, setCode] = useState('');
  const [name, setName] = useState('');
  const [problem, setProblem] = useState('');
  const [status, setStatus] = useState('');
  const given = secret || code;
  const pair = async () => {
    setStatus('busy');
    setProblem('');
    const text = await act.pair(given, name.trim() || 'Phone').catch((error) => error.message);
    setProblem(text);
    setStatus(text ? '' : 'done');
  };
  // The secret must not stay in the address, where a screenshot or a shared link would carry it.
  useEffect(() => { if (secret) history.replaceState(null, '', '#/pair'); }, [secret]);
  if (status === 'done') return html`<${Done} state=${state} />`;
  const unsent = countUnsent(state.outbox);
  return html`<${Frame} screen="pair" title="Pair this phone" caution="general"
    bottom=${html`<${Button} act="pair-now" kind="main" disabled=${status === 'busy' || given.length < 6} onClick=${pair}>${status === 'busy' ? 'Pairing …' : 'Pair'}<//>`}>
    <p>The office makes a code for you, good for a few minutes. Point the phone’s own camera at the square, or type the code here.</p>
    <p>If you want the app on the home screen, put it there first and pair it there: the home-screen app keeps its own storage.</p>
    ${unsent ? html`<p>${formatCount(unsent, 'entry', 'entries')} of this phone will be sent after pairing.</p>` : null}
    ${secret ? html`<p data-secret="true">The code came with the link.</p>`
    : html`<${TextField} name="code" label="Code from the office" value=${code} onText=${(text) => setCode(tidyCode(text))} extra=${{ autocapitalize: 'characters', spellcheck: false }} />`}
    <${TextField} name="device-name" label="A name for this phone" help="So that the office can tell phones apart." value=${name} onText=${setName} />
    ${problem ? html`<p class="error" role="alert">${problem}</p>` : null}
  <//>`;
}
