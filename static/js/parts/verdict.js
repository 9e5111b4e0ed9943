// A verdict is a word and a shape; colour only repeats it.
import { html } from './html.js';
import { VERDICT_WORDS } from '../format.js';

const SHAPES = {
  pass: html`<path d="M9 2.5A13.5 13.5 0 0 1 9 29.5Z M9 2.5h4a13.5 13.5 0 0 1 0 27h-4z" />`,
  fail: html`<path d="M3 4L29 16L3 28Z" />`,
  unclear: html`<path d="M16 4A12 12 0 0 0 16 28Z" fill="none" stroke="currentColor" stroke-width="3" />`,
};

export function VerdictShape({ verdict, size = 28 }) {
  return html`<svg class="shape" width=${size} height=${size} viewBox="0 0 32 32" fill="currentColor" aria-hidden="true">${SHAPES[verdict]}</svg>`;
}

/** @param {{verdict: {verdict: string, close?: boolean}, large?: boolean}} props */
export function VerdictMark({ verdict, large = false }) {
  return html`<span class=${`verdict verdict-${verdict.verdict}${large ? ' verdict-large' : ''}`} data-verdict=${verdict.verdict}>
    <${VerdictShape} verdict=${verdict.verdict} size=${large ? 56 : 26} />
    <span>${VERDICT_WORDS[verdict.verdict]}${verdict.close ? html`<span class="close-word">, close</span>` : null}</span>
  </span>`;
}
