// Small calculators: numbers typed, the engine's answer beside them, its cautions below. Nothing is worked out here.
import { html, useApp, useEffect, useState } from './html.js';
import { TextField } from './field.js';
import { parseTyped } from '../format.js';

const WAIT_MS = 150;

/** Ask the engine whenever the request changes; null while it is not whole or not answered yet. */
export function useAnswer(name, request) {
  const { act } = useApp();
  const [answer, setAnswer] = useState(null);
  const question = request ? JSON.stringify(request) : '';
  useEffect(() => {
    setAnswer(null);
    if (!question) return undefined;
    let gone = false;
    const ask = () => act.call(name, JSON.parse(question)).catch((error) => ({ error: [{ field: '', text: error.message }] }));
    const timer = setTimeout(() => ask().then((found) => !gone && setAnswer(found)), WAIT_MS);
    return () => {
      gone = true;
      clearTimeout(timer);
    };
  }, [question]);
  return answer;
}

/** What the engine says against one field. */
export function problemOf(answer, field) {
  const rows = answer && answer.error ? answer.error.filter((p) => p.field === field) : [];
  return rows.map((p) => p.text).join(' ');
}

export function NumberField({ name, label, help, value, onText, answer }) {
  const text = value.trim();
  const error = text && parseTyped(text) === null ? `"${text}" is not a number; give digits, such as 2.5.` : problemOf(answer, name);
  return html`<${TextField} name=${name} label=${label} help=${help} value=${value} onText=${onText} error=${error} extra=${{ inputmode: 'decimal' }} />`;
}

/** {field: text} -> {field: number}; null where a wanted field is not a number yet. Empty fields are left out. */
export function numbersOf(texts, wanted) {
  const numbers = {};
  for (const [name, text] of Object.entries(texts)) {
    if (!text.trim()) continue;
    const value = parseTyped(text);
    if (value === null) return null;
    numbers[name] = value;
  }
  return wanted.every((name) => name in numbers) ? numbers : null;
}

/** Problems of fields that are not on the screen, so that none is swallowed. */
export function OtherProblems({ answer, shown }) {
  const rows = answer && answer.error ? answer.error.filter((p) => !shown.includes(p.field)) : [];
  return rows.length ? html`<p class="error" role="alert">${rows.map((p) => p.text).join(' ')}</p>` : null;
}

export function Figures({ rows }) {
  return html`<dl class="figures">${rows.filter(Boolean).map(([name, value, hook]) => html`<div><dt>${name}</dt><dd data-figure=${hook}>${value}</dd></div>`)}</dl>`;
}

export function Warnings({ rows }) {
  return html`${rows.map((text) => html`<p class="warn">${text}</p>`)}`;
}
