// How the repair stands: the engine's sentence, with the word and shape of a verdict where there is one.
import { html } from './html.js';
import { VerdictShape } from './verdict.js';

const SHAPES = { passed: 'pass', failed: 'fail', unclear: 'unclear' };

export function RetestLine({ retest }) {
  return html`<p class="headline retest" data-retest=${retest.status}>${SHAPES[retest.status] ? html`<${VerdictShape} verdict=${SHAPES[retest.status]} />` : null}<span>${retest.text}</span></p>`;
}
