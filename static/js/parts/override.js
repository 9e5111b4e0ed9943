// Naming the pump although evidence is missing: quiet, in writing, and never offered to an apprentice.
import { html, useState } from './html.js';
import { Button } from './button.js';
import { TextArea } from './field.js';
import { missingNames } from './pump.js';
import { Problems, useWriter } from './writer.js';
import { reasonLacks } from '../gate.js';
import { formatCount } from '../format.js';

function Missing({ pump, catalogue }) {
  const missing = missingNames(pump, catalogue);
  if (!missing.length) return html`<p>Everything has been measured, but it does not prove the pump.</p>`;
  return html`<p>Nobody has measured:</p><ul data-missing=${missing.length}>${missing.map((name) => html`<li>${name}</li>`)}</ul>`;
}

function OverrideForm({ id, pump, catalogue, act, onLeave }) {
  const form = useWriter(id, 'gate_overridden', act, `override.${id}`, '');
  const [busy, setBusy] = useState(false);
  const lacks = reasonLacks(form.text);
  const save = async () => {
    setBusy(true);
    await form.save({ reason: form.text.trim() });
    setBusy(false);
  };
  return html`<section class="pump" data-part="override">
    <h2 class="minor">Name the pump all the same</h2>
    <${Missing} pump=${pump} catalogue=${catalogue} />
    <p>You may be right. If not, a good pump is paid for. Your name, the time and your reason stand in the report.</p>
    <${TextArea} name="override" label="Why do you name it without this evidence?" value=${form.text} onText=${form.change} rows=${4} />
    <p class="help" role="status" data-lacks=${lacks}>${lacks ? `${formatCount(lacks, 'more character', 'more characters')} needed.` : 'Long enough.'}</p>
    <${Problems} rows=${form.problems} />
    <div class="stack">
      <${Button} act="save-override" disabled=${lacks > 0 || busy} onClick=${save}>I answer for naming the pump<//>
      <${Button} act="leave-override" kind="quiet" onClick=${onLeave}>Leave it, measure first<//>
    </div>
  </section>`;
}

export function Override(props) {
  const [open, setOpen] = useState(false);
  if (open) return html`<${OverrideForm} ...${props} onLeave=${() => setOpen(false)} />`;
  return html`<${Button} act="open-override" kind="quiet" onClick=${() => setOpen(true)}>Name the pump all the same<//>`;
}
