// Screens that few visits need: their files are read when they are first opened, so that the app itself opens sooner.
import { html, useEffect, useState } from './html.js';
import { Button } from './button.js';
import { Frame, Waiting } from './frame.js';

function NotRead({ text }) {
  return html`<${Frame} screen="not-read" title="This screen did not open">
    <p>${text}</p>
    <${Button} act="retry-start" kind="main" onClick=${() => location.reload()}>Open the app again<//>
  <//>`;
}

/**
 * @param {() => Promise<object>} load @param {string} name what the module exports
 * @returns a component that stands in for it
 */
export function later(load, name) {
  let Screen = null;
  return function Later(props) {
    const [failure, setFailure] = useState('');
    const [, setReady] = useState(Screen !== null);
    useEffect(() => {
      if (!Screen) load().then((module) => { Screen = module[name]; setReady(true); }, (error) => setFailure(error.message));
    }, []);
    if (failure) return html`<${NotRead} text=${failure} />`;
    return Screen ? html`<${Screen} ...${props} />` : html`<${Waiting} />`;
  };
}
