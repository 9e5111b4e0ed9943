// How a rise is timed: who starts it, to which pressures, with tone and vibration or without. Kept for the next time.
import { html } from './html.js';
import { Button } from './button.js';
import { Choices } from './field.js';
import { Fold } from './frame.js';

export const DEFAULT_TIMING = { start: 'self', also_200: false, sound: true, vibrate: true };
export const STARTS = [
  { id: 'self', name: 'I crank and tap', help: 'You know when it comes.' },
  { id: 'count', name: 'Countdown', help: 'Three beeps; whoever holds the key cranks on the third.' },
  { id: 'helper', name: 'A helper cranks when ready', help: 'It comes as a surprise: good to about half a second only.' },
  { id: 'ear', name: 'Phone hears the starter', help: 'One tap less, and the better figure. Needs a quiet place.' },
];

export function TimingSetup({ timing, onTiming }) {
  const flip = (name) => () => onTiming({ ...timing, [name]: !timing[name] });
  const chosen = STARTS.find((s) => s.id === timing.start);
  return html`<${Fold} act="timing-setup" title=${`${chosen.name}${timing.also_200 ? ' · also 200 bar' : ''}`}>
    <${Choices} name="start" label="Who starts it" options=${STARTS} isChosen=${(s) => s === timing.start} onPick=${(start) => onTiming({ ...timing, start })} />
    <div class="stack">
      <${Button} act="also-200" pressed=${timing.also_200} onClick=${flip('also_200')}>Also time 200 bar: ${timing.also_200 ? 'yes' : 'no'}<//>
      <${Button} act="sound" pressed=${timing.sound} onClick=${flip('sound')}>Tone: ${timing.sound ? 'on' : 'off'}<//>
      <${Button} act="vibrate" pressed=${timing.vibrate} onClick=${flip('vibrate')}>Vibration: ${timing.vibrate ? 'on' : 'off'}<//>
    </div>
  <//>`;
}
