// The reader's room: a file of any length becomes points here, so that the screen stays alive. One file a worker.
import { readTrace } from './trace-read.js';

const REPORT_MS = 100;

addEventListener('message', async ({ data }) => {
  let reported = 0;
  const progress = (read) => {
    if (performance.now() - reported < REPORT_MS) return;
    reported = performance.now();
    postMessage({ progress: read });
  };
  try {
    postMessage({ found: await readTrace(data.file.stream(), data.rules, data.options, progress) });
  } catch (error) {
    const { code = 'unreadable', columns = [] } = error;
    postMessage({ problem: { code, columns, text: code === 'unreadable' && !error.code ? `The file could not be read: ${error.message}` : error.message } });
  }
});
