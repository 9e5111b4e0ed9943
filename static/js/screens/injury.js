// The injury card. Works before storage, catalogue and engine do: its words are in this file.
import { html, useApp } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { Frame } from '../parts/frame.js';

// Kept word for word like webapp/library/injury.json, which a test compares: the card must not wait for a file.
export const CARD = {
  do: [
    'Stop the engine. Get away from the fuel.',
    'Call the emergency number now, even if it looks like a pinprick and does not hurt.',
    'Say: high-pressure fuel injection injury. Ask for a hospital with hand surgery.',
    'Sit or lie still. Hold the limb still and raised. Cover the wound lightly.',
    'Take watch and rings off the injured hand if they come off easily.',
    "Note the time. Take the fuel's safety sheet along if it is at hand.",
    'Do not travel alone and do not drive yourself.',
  ],
  tell: [
    'That it was a jet of fuel under high pressure.',
    'Which fuel, and what was in it.',
    'The pressure, as well as you know it.',
    'The time it happened.',
    'Where it went in, and which way the jet came.',
    'Last food and drink, medicines, last tetanus jab.',
  ],
  never: [
    'Never wait for pain or swelling: hours matter.',
    'Never squeeze, cut or suck the wound.',
    'Never soak it in hot water.',
    'Never eat or drink before a doctor agrees.',
    "Never let anyone send you home without a surgeon's opinion.",
  ],
};

/** Digits, plus, star and hash only: what a telephone can dial. */
export function dialable(number) {
  return String(number || '').replace(/[^\d+*#]/g, '') || '112';
}

function Lines({ title, lines, ordered = false }) {
  const items = lines.map((line) => html`<li>${line}</li>`);
  return html`<section class="card-part"><h2>${title}</h2>${ordered ? html`<ol>${items}</ol>` : html`<ul>${items}</ul>`}</section>`;
}

export function Injury() {
  const { state } = useApp();
  const number = dialable(state.settings.emergency);
    return html`<${Frame} screen="injury" title="Jet hit skin: an emergency" back=${state.cameFrom} caution="injury" quiet=${true}
    bottom=${html`<${Button} act="call" kind="safety" href=${`tel:${number}`}>Call ${state.settings.emergency || number}<//>`}>
    <${Lines} title="Do now" lines=${CARD.do} ordered=${true} />
    <${Lines} title="Tell them" lines=${CARD.tell} />
    <${Lines} title="Never" lines=${CARD.never} />
    <p class="help">Put together from published medical and safety sources; parts of it still want a clinician’s check. It never
      replaces the emergency service.</p>
  <//>`;
}
