// What the attempts gave, by the engine: one line a target, each attempt, and a better way where the thumb is too coarse.
import { html, useApp, useEffect, useState } from './html.js';
import { Button } from './button.js';
import { attemptsTo } from '../capture/taps.js';
import { formatQuantity } from '../format.js';
import { address } from '../routes.js';

const seconds = (value) => formatQuantity(value, 's', 2);

/** @returns {(object|null)[]|null} one answer a target, null where no attempt reached it; null while it is asked */
export function useTimings(taps) {
  const { state, act } = useApp();
  const [timings, setTimings] = useState(null);
  const { own_sd_s = null, own_mean_s = null, own_goes = null } = state.settings;
  const asked = Array.from({ length: taps.targets }, (_, target) => attemptsTo(taps, target));
  const question = JSON.stringify([asked, own_sd_s]);
  useEffect(() => {
    setTimings(null);
    let gone = false;
    const ask = (rows) => (rows.length ? act.call('timing', { taps: rows, own_sd_s, own_mean_s, own_goes }) : null);
    Promise.all(asked.map(ask)).catch((error) => [{ error: [{ text: error.message }] }]).then((answers) => !gone && setTimings(answers));
    return () => { gone = true; };
  }, [question]);
  return timings;
}

function BetterWays({ id, checkId }) {
  return html`<div class="pair">
    <${Button} act="film" href=${address('case', id, 'check', checkId, 'film')}>By film<//>
    <${Button} act="trace" href=${address('case', id, 'check', checkId, 'trace')}>By recorded trace<//>
  </div>`;
}

function OneTarget({ timing, target, isMain }) {
  if (timing.error) return html`<p class="error" role="alert">${timing.error.map((p) => p.text).join(' ')}</p>`;
  const { value, standard_uncertainty, half_width_s, resolved, text } = timing.ok;
  return html`<p class=${isMain ? 'big-value' : 'minor-value'} data-timing=${value} data-uncertainty=${standard_uncertainty} data-target=${target.bar}>
      ${isMain ? '' : `${target.label}: `}${seconds(value)} ± ${seconds(half_width_s)}</p>
    ${isMain ? html`<p class=${resolved ? '' : 'warn'} data-resolved=${String(resolved)}>${text}</p>` : null}`;
}

export function Combined({ timings, moments, id, checkId }) {
  if (!timings) return html`<p class="help">Adding up …</p>`;
  const main = timings.length - 1;
  const order = [main, ...timings.keys()].filter((target, index) => index === 0 || target !== main);
  const coarse = timings[main] && timings[main].ok && timings[main].ok.better.length > 0;
  return html`${order.map((target) => (timings[target] ? html`<${OneTarget} timing=${timings[target]} target=${moments.targets[target]} isMain=${target === main} />` : null))}
    ${coarse && moments.cranks ? html`<${BetterWays} id=${id} checkId=${checkId} />` : null}`;
}

export function Attempts({ taps, moments, onRemove }) {
  if (!taps.attempts.length) return null;
  const say = (attempt) => attempt.marks.map((at_s, target) => (at_s === null ? `${moments.targets[target].short} not reached`
    : `${attempt.marks.length > 1 ? `${moments.targets[target].short} ` : ''}${seconds(at_s - attempt.start_s)}`)).join(' · ');
  return html`<ul class="rows" aria-label="Attempts">${taps.attempts.map((attempt, index) => html`<li class="row attempt" data-attempt=${index} data-start=${attempt.start}>
    <span>${say(attempt)}${attempt.start === 'ear' ? html`<span class="row-note"> from the heard start</span>` : null}</span>
    <${Button} act="attempt-remove" onClick=${() => onRemove(index)}>Remove<//></li>`)}</ul>`;
}
