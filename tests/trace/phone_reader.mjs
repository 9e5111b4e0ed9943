// The phone's reader of traces under Node: node phone_reader.mjs FOLDER < jobs.json > answers.json
// A job is {name, options, window}; its answer {reduced} (with a window: the whole, that part read anew) or {problem}.
import { openAsBlob, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { joinReduced, readTrace } from '../../static/js/capture/trace-read.js';

const rules = JSON.parse(readFileSync(new URL('../../webapp/library/trace_columns.json', import.meta.url), 'utf8'));
const open = async (name) => (await openAsBlob(join(process.argv[2], name))).stream();

async function readOne({ name, options, window }) {
  try {
    const { reduced, warnings } = await readTrace(await open(name), rules, options);
    if (!window) return { reduced, warnings };
    const part = await readTrace(await open(name), rules, { ...options, window });
    return { reduced: joinReduced(reduced, part.reduced, window), warnings };
  } catch (error) {
    if (!error.code) throw error;
    return { problem: error.message };
  }
}

const answers = [];
for (const job of JSON.parse(readFileSync(0, 'utf8'))) answers.push(await readOne(job));
process.stdout.write(JSON.stringify(answers));
