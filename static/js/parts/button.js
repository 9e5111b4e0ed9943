import { html } from './html.js';

/**
 * Every press in the app. With `href` it is a link that looks and measures the same.
 * @param {{act: string, kind?: 'main'|'plain'|'quiet'|'safety', href?: string, onClick?: () => void, disabled?: boolean,
 *   pressed?: boolean, label?: string, children: any}} props
 */
export function Button({ act, kind = 'plain', href, onClick, disabled = false, pressed, label, extra = {}, children }) {
  const className = `press press-${kind}`;
  if (href) return html`<a class=${className} href=${href} data-act=${act} aria-label=${label} onClick=${onClick} ...${extra}>${children}</a>`;
  return html`<button type="button" class=${className} data-act=${act} aria-label=${label} onClick=${onClick}
    disabled=${disabled} aria-pressed=${pressed === undefined ? undefined : String(pressed)} ...${extra}>${children}</button>`;
}
