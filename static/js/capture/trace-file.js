// The page's side of reading a trace: a worker for each reading, progress, an end at any moment, and a closer look on demand.
import { trustedScript } from '../trust.js';
import { joinReduced } from './trace-read.js';

const WORKER = '/static/js/capture/trace-worker.js';
const MOST_LOOKS = 2;

/**
 * @param {File} file @param {object} rules @param {object} options
 * @returns {{done: Promise<{found?: object, problem?: object}>, cancel: () => void}} cancelled: done gives {}
 */
export function readTraceFile(file, rules, options, onProgress) {
  const worker = new Worker(trustedScript(WORKER), { type: 'module', name: 'trace' });
  let settle;
  const done = new Promise((resolve) => {
    settle = (answer) => { worker.terminate(); resolve(answer); };
  });
  worker.addEventListener('message', ({ data }) => {
    if (data.progress !== undefined) onProgress(data.progress / Math.max(1, file.size));
    else settle(data);
  });
  worker.addEventListener('error', (event) => {
    event.preventDefault();
    settle({ problem: { code: 'unreadable', columns: [], text: `The file could not be read: ${event.message || 'the reader did not start'}.` } });
  });
  worker.postMessage({ file, rules, options });
  return { done, cancel: () => settle({}) };
}

/**
 * Ask the engine, and read a part of the file anew where its points lie too far apart to tell.
 * @param {(name: string, input: object) => Promise<object>} call the engine's door
 * @param {object} question what the engine is told besides the points
 * @param {(window: [number, number]) => Promise<object|null>} lookCloser null: the person gave up
 * @returns {Promise<{answer: object, reduced: object}|null>}
 */
export async function analyse(call, reduced, question, lookCloser) {
  let points = reduced;
  for (let looks = 0; ; looks += 1) {
    const answer = await call('trace', { ...points, ...question });
    if (answer.error || !answer.ok.look_closer || looks >= MOST_LOOKS) return { answer, reduced: points };
    const part = await lookCloser(answer.ok.look_closer);
    if (!part) return null;
    points = joinReduced(points, part, answer.ok.look_closer);
  }
}
