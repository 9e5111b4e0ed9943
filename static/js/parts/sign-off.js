// A technician's word under a check, for apprentices: who stood by, and when.
import { html, useApp, useState } from './html.js';
import { Button } from './button.js';
import { PersonName } from './frame.js';
import { formatWhen } from '../format.js';

export function SignOff({ id, check, kase }) {
  const { state, act } = useApp();
  const [busy, setBusy] = useState(false);
  const signed = (kase.signed || []).filter((s) => s.check === check.id);
  const { role } = state.person;
  const sign = async () => {
    setBusy(true);
    await act.record([{ case: id, kind: 'signed_off', body: { check: check.id, role } }]);
    setBusy(false);
  };
  const mine = signed.some((s) => s.by === state.person.id);
  return html`<div class="sign-off" data-signed=${signed.length}>
    ${signed.map((s) => html`<p>Signed off by <${PersonName} id=${s.by} />, ${formatWhen(s.at)}.</p>`)}
    ${role === 'apprentice' && signed.length === 0 ? html`<p class="help">A technician signs this check off on their own phone, after the next contact.</p>` : null}
    ${state.paired && role !== 'apprentice' && !mine ? html`<${Button} act="sign-off" disabled=${busy} onClick=${sign}>Sign off this check<//>` : null}
  </div>`;
}
