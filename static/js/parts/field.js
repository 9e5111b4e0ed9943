// Form pieces: a text line, a longer text, and choices as big buttons.
import { html } from './html.js';
import { Button } from './button.js';

export function TextField({ name, label, help, value, onText, error, extra = {} }) {
  return html`<label class="field" data-field=${name}>
    <span class="field-label">${label}</span>
    <input name=${name} value=${value} onInput=${(e) => onText(e.currentTarget.value)} autocomplete="off"
      aria-invalid=${error ? 'true' : undefined} ...${extra} />
    ${help ? html`<span class="help">${help}</span>` : null}
    ${error ? html`<span class="error" role="alert">${error}</span>` : null}
  </label>`;
}

export function TextArea({ name, label, value, onText, rows = 4 }) {
  return html`<label class="field" data-field=${name}><span class="field-label">${label}</span>
    <textarea name=${name} rows=${rows} value=${value} onInput=${(e) => onText(e.currentTarget.value)}></textarea></label>`;
}

/** One or several of a few, each a full-width press with its help below the name. */
export function Choices({ name, label, options, isChosen, onPick, wrap = false }) {
  return html`<fieldset class=${`choices${wrap ? ' choices-wrap' : ''}`} data-field=${name}>
    <legend>${label}</legend>
    ${options.map((o) => html`<${Button} act=${`pick-${name}`} pressed=${isChosen(o.id)} onClick=${() => onPick(o.id)} extra=${{ 'data-choice': o.id }}>
      <span class="choice-name">${o.name}</span>${o.help ? html`<span class="choice-help">${o.help}</span>` : null}
    <//>`)}
  </fieldset>`;
}
