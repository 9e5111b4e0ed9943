// The ways to come by a value: typed, and whatever else this phone can do for the quantity at hand.
import { html } from './html.js';
import { Button } from './button.js';
import { address } from '../routes.js';

const reads = (prefix) => (quantity) => quantity.instruments.some((name) => name.startsWith(prefix));

// act, words, when; the address is the act's, with the quantity at its end where `own` says so
const WAYS = [
  { act: 'listen', words: 'By ear', own: true, when: reads('ear') },
  { act: 'film', words: 'By film', own: false, when: (quantity) => quantity.id === 'crank_rise_time' },
  { act: 'trace', words: 'By recorded trace', own: false, when: (quantity) => quantity.id === 'crank_rise_time' },
  { act: 'volts', words: 'From sensor volts', own: true, when: reads('rail_sensor') },
  { act: 'scan', words: 'From scan text', own: true, when: reads('scan_') },
];

/** Where a value of this quantity is typed. */
export function entryHref(id, checkId, quantityId) {
  return address('case', id, 'check', checkId, quantityId === 'injector_return' ? 'returns' : 'reading', quantityId);
}

export function OtherWays({ id, checkId, quantity }) {
  const ways = WAYS.filter((way) => way.when(quantity) && quantity.kind === 'number');
  if (!ways.length) return null;
  return html`<div class="pair pair-more">${ways.map((way) => html`<${Button} act=${way.act}
    href=${address('case', id, 'check', checkId, way.act, ...(way.own ? [quantity.id] : []))}>${way.words}<//>`)}</div>`;
}
