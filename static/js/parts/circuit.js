// The ledger as a drawing: the fuel's way from tank to injectors and back, our own plain drawing after ISO 1219-1.
// Each part carries shape and word; a press opens its row in the ledger. Parts that this layout has not are not drawn.
import { html } from './html.js';
import { LEDGER_WORDS } from '../format.js';
import { StatusShape } from './ledger.js';

const FLOW_X = 62;
const BACK_X = 14;
const ROW = 72;

// In the order of the flow. flow: is the supply or pressure line drawn here; back: what the return line does here.
const PARTS = [
  { id: 'fuel', flow: 'starts', back: 'ends', draw: html`<path d="M38 26V52H86V26" /><path d="M38 38H86" stroke-dasharray="5 4" />` },
  { id: 'supply', flow: 'through', back: 'passes', draw: html`<path class="ground" d="M62 6L78 20L62 34L46 20Z" /><path d="M50 20H74" stroke-dasharray="4 3" /><circle class="ground" cx="62" cy="52" r="15" /><path class="solid" d="M54 58H70L62 67Z" />` },
  { id: 'metering_valve', flow: 'through', back: 'passes', draw: html`<path d="M48 24Q60 36 48 48M76 24Q64 36 76 48" /><path d="M40 56L82 16M82 16L73 18M82 16L81 25" />` },
  { id: 'pump', flow: 'through', back: 'passes', draw: html`<circle class="ground" cx="62" cy="36" r="23" /><path class="solid" d="M51 47H73L62 59Z" /><path d="M85 33H94M85 39H94" />` },
  { id: 'lines', flow: 'through', back: 'passes', draw: html`<path d="M50 26H74M50 46H74" /><path class="ground" d="M54 30H70V42H54Z" />` },
  { id: 'sensor', flow: 'through', back: 'passes', draw: html`<path d="M34 36H90" stroke-width="11" /><path d="M82 30V16" /><circle class="ground" cx="82" cy="11" r="9" /><path d="M78 15L86 7" />` },
  { id: 'regulator', flow: 'through', back: 'joins', draw: html`<path class="ground" d="M46 20H78V52H46Z" /><path d="M72 36H52M52 36L59 31M52 36L59 41" /><path d="M78 26L84 30L78 34L84 38L78 42" /><path d="M46 36H14" stroke-dasharray="5 4" />` },
  { id: 'relief_valve', flow: 'through', back: 'joins', draw: html`<path class="ground" d="M46 20H78V52H46Z" /><path d="M72 36H52M52 36L59 31M52 36L59 41" /><path d="M78 26L86 31L78 36L86 41L78 46" /><path d="M46 36H14" stroke-dasharray="5 4" />` },
  { id: 'injectors', flow: 'ends', back: 'starts', draw: html`<path d="M38 22H86" /><path d="M40 22V46M54 22V46M70 22V46M84 22V46" /><path class="solid" d="M35 46H45L40 58ZM49 46H59L54 58ZM65 46H75L70 58ZM79 46H89L84 58Z" /><path d="M38 22H14" stroke-dasharray="5 4" />` },
  { id: 'control', flow: 'none', back: 'none', draw: html`<path d="M40 18H84V54H40Z" /><path d="M48 18V8M62 18V8M76 18V8" stroke-dasharray="4 3" />` },
  { id: 'battery', flow: 'none', back: 'none', draw: html`<path d="M40 24H84V54H40Z" /><path d="M48 24V17H56V24M68 24V17H76V24M47 38H57M67 38H77M72 33V43" />` },
];

const FLOW = { starts: [45, ROW], through: [0, ROW], ends: [0, 22] };
const BACK = { ends: [14, ROW], passes: [0, ROW], joins: [0, ROW], starts: [0, 22] };

function Line({ x, span, dashed }) {
  return span ? html`<path d=${`M${x} ${span[0]}V${span[1]}`} stroke-dasharray=${dashed ? '5 4' : undefined} />` : null;
}

function openRow(id) {
  const rows = [...document.querySelectorAll(`.ledger-row[data-component="${id}"]`)];
  const row = rows.find((r) => r.getBoundingClientRect().height > 0);
  if (!row) return;
  row.open = true;
  row.scrollIntoView({ block: 'center' });
  row.querySelector('summary').focus();
}

function Part({ part, row }) {
  return html`<li><button type="button" class=${`part part-${row.status}`} data-act="circuit-part" data-part=${part.id} data-status=${row.status} onClick=${() => openRow(part.id)}>
    <svg class="part-drawing" width="96" height=${ROW} viewBox=${`0 0 96 ${ROW}`} fill="none" stroke="currentColor" stroke-width="2.5" aria-hidden="true">
      <${Line} x=${FLOW_X} span=${FLOW[part.flow]} /><${Line} x=${BACK_X} span=${BACK[part.back]} dashed=${true} />
      ${part.back === 'ends' ? html`<path d="M14 14H48V34" stroke-dasharray="5 4" />` : null}
      ${part.draw}
    </svg>
    <span class="part-words"><span class="part-name">${row.name}</span><span class="part-status"><${StatusShape} status=${row.status} />${LEDGER_WORDS[row.status]}</span></span>
  </button></li>`;
}

/** @param {{assessment: any}} props */
export function Circuit({ assessment }) {
  if (!assessment) return null;
  const rows = new Map(assessment.ledger.map((row) => [row.component, row]));
  return html`<details class="fold circuit"><summary data-act="circuit">The circuit, drawn</summary>
    <ul class="parts">${PARTS.filter((part) => rows.has(part.id)).map((part) => html`<${Part} key=${part.id} part=${part} row=${rows.get(part.id)} />`)}</ul>
    <p class="help">Full line: supply and pressure. Dashed: return to the tank. Press a part for its evidence.</p>
  </details>`;
}
