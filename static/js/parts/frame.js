// The sheet every screen is printed on: head with a visible way back, caution line, content, and the next step at the bottom.
import { html, useApp, useEffect } from './html.js';
import { Button } from './button.js';
import { CautionLine } from './caution.js';
import { StatusLines } from './bar.js';
import { parentAddress } from '../routes.js';

/**
 * Back leads up the tree of addresses unless `back` says otherwise; null = there is nothing above.
 * @param {{screen: string, title: string, back?: string|null, caution?: string, bottom?: any, aside?: any, quiet?: boolean, children: any}} props
 */
export function Frame({ screen, title, back, caution = 'general', bottom, aside, quiet = false, children }) {
  const { state } = useApp();
  const up = back === undefined ? parentAddress(state.route) : back;
  useEffect(() => { document.title = `${title} – railcase`; }, [title]);
  return html`<div class=${`sheet${aside ? ' sheet-wide' : ''}`} data-screen=${screen}>
    <header class="head">
      ${up ? html`<${Button} act="back" kind="quiet" href=${up} label="Back">‹ Back<//>` : html`<span class="mark" aria-hidden="true">railcase</span>`}
      ${screen === 'injury' ? null : html`<${Button} act="injury" kind="safety" href="#/injury">Jet hit skin?<//>`}
    </header>
    <${CautionLine} id=${caution} />
    <main class="body" tabindex="-1">
      <h1>${title}</h1>
      ${quiet ? null : html`<${StatusLines} />`}
      ${children}
    </main>
    ${aside ? html`<aside class="beside">${aside}</aside>` : null}
    ${bottom ? html`<footer class="bottom">${bottom}</footer>` : null}
  </div>`;
}

export function Waiting() {
  const { state } = useApp();
  return html`<${Frame} screen="waiting" title="One moment" quiet=${true}>
    ${state.blocked ? html`<p data-blocked="true">This app is still open in another tab, with an older version. Finish there what you are typing and
      close that tab: this one then goes on by itself.</p>` : html`<p role="status">Opening …</p>`}<//>`;
}

/** Rows behind one press. */
export function Fold({ act, title, open = false, children }) {
  return html`<details class="fold" open=${open}><summary data-act=${act}>${title}</summary><div class="fold-body">${children}</div></details>`;
}

/** Name of the person behind an id. */
export function personName(state, id) {
  const known = state.people.find((person) => person.id === id);
  if (known) return known.name;
  if (id === 'me' || id === state.person.id) return state.person.name || state.settings.name || 'this phone';
  return 'someone else';
}

export function PersonName({ id }) {
  return personName(useApp().state, id);
}
