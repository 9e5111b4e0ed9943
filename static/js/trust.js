// The only addresses that may ever become running code besides the page's own modules.
const ALLOWED = ['/sw.js', '/static/js/engine/worker.js', '/static/js/capture/trace-worker.js'];

function checkedAddress(url) {
  if (!ALLOWED.includes(url)) throw new TypeError(`not an allowed script address: ${url}`);
  return url;
}

const policy = globalThis.trustedTypes
  ? globalThis.trustedTypes.createPolicy('app', { createScriptURL: checkedAddress })
  : { createScriptURL: checkedAddress };

/** @param {string} url one of ALLOWED */
export function trustedScript(url) {
  return policy.createScriptURL(url);
}
