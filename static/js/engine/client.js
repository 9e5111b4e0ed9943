// The page's side of the engine: promises by number, a limit on every call, one restart, and a plain word when it fails.
import { trustedScript } from '../trust.js';

const WORKER = '/static/js/engine/worker.js';
const START_MS = 60000;
const CALL_MS = 20000;
const MOST_RESTARTS = 2;

/**
 * @param {(engine: {status: 'starting'|'ready'|'failed', version?: string, error?: string}) => void} changed
 */
export function createEngine(changed) {
  let worker = null;
  let catalogueText = '';
  let ready = null;
  let restarts = 0;
  let lastId = 0;
  const waiting = new Map();

  function settle(id, error, value) {
    const entry = waiting.get(id);
    if (!entry) return;
    waiting.delete(id);
    clearTimeout(entry.timer);
    if (error) entry.reject(error);
    else entry.resolve(value);
  }

  function failAll(error) {
    for (const id of [...waiting.keys()]) settle(id, error);
  }

  function post(name, text, limitMs) {
    return new Promise((resolve, reject) => {
      lastId += 1;
      const id = lastId;
      const timer = setTimeout(() => {
        settle(id, new Error('The engine did not answer.'));
        restart('The engine did not answer.');
      }, limitMs);
      waiting.set(id, { resolve, reject, timer });
      worker.postMessage({ id, name, text });
    });
  }

  function makeWorker() {
    worker = new Worker(trustedScript(WORKER), { type: 'module', name: 'engine' });
    worker.addEventListener('message', ({ data }) => {
      settle(data.id, data.failure ? new Error(data.failure) : null, data.text ?? data.version);
    });
    worker.addEventListener('error', (event) => {
      event.preventDefault();
      restart(event.message || 'The engine could not be loaded.');
    });
  }

  async function boot() {
    changed({ status: 'starting', error: '' });
    makeWorker();
    const version = await post('start', catalogueText, START_MS);
    changed({ status: 'ready', version, error: '' });
  }

  function give(error) {
    changed({ status: 'failed', error: error.message });
    throw error;
  }

  function restart(reason) {
    if (worker) worker.terminate();
    failAll(new Error(reason));
    if (restarts >= MOST_RESTARTS) {
      changed({ status: 'failed', error: reason });
      return;
    }
    restarts += 1;
    ready = boot().catch(give);
    ready.catch(() => {});
  }

  return {
    /** @param {string} text the catalogue, as the screens use it: both must speak of the same limits */
    start(text) {
      if (worker) worker.terminate();
      failAll(new Error('The engine was restarted.'));
      catalogueText = text;
      ready = boot().catch(give);
      ready.catch(() => {});
      return ready;
    },
    /** Try again from nothing, asked by the person. */
    retry() {
      restarts = 0;
      return this.start(catalogueText);
    },
    /**
     * @param {string} name a name of the engine's door
     * @returns {Promise<{ok?: any, error?: {code: string, field: string, text: string}[]}>} rejects only when the engine itself is broken
     */
    async call(name, input) {
      if (!ready) throw new Error('The engine has not been started.');
      await ready;
      return JSON.parse(await post(name, JSON.stringify(input), CALL_MS));
    },
  };
}
