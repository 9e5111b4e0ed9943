// A question that must be answered before going on. Drawn over the sheet; focus goes in, and Escape says no.
import { html, useApp, useEffect, useRef } from './html.js';
import { Button } from './button.js';

/** @param {{name: string, title: string, text: string, yes?: string, no?: string, onYes?: () => void, unsaved?: object[], photos?: object[]}} props */
export function Dialog({ name, title, text, yes, no = 'Close', onYes, unsaved, photos }) {
  const { act } = useApp();
  const box = useRef(null);
  const close = () => act.send({ type: 'dialog', dialog: null });
  useEffect(() => {
    const dialog = box.current;
    if (dialog && !dialog.open) dialog.showModal();
    return () => dialog && dialog.close();
  }, []);
  const answerYes = () => {
    close();
    onYes();
  };
  return html`<dialog ref=${box} class="dialog" data-dialog=${name} aria-label=${title} onCancel=${close}>
    <h2>${title}</h2>
    <p>${text}</p>
    <div class="stack">
      ${unsaved ? html`<${Button} act="export" onClick=${() => act.exportAll(unsaved, photos)}>Put everything in a file<//>` : null}
      ${yes ? html`<${Button} act="dialog-yes" kind="main" onClick=${answerYes}>${yes}<//>` : null}
      <${Button} act="dialog-no" onClick=${close}>${no}<//>
    </div>
  </dialog>`;
}
