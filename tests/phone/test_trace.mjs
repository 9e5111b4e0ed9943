// The phone's reader of recorded traces against the same files as the command's, whose truth is known.
import assert from 'node:assert/strict';
import { openAsBlob, mkdtempSync, readFileSync } from 'node:fs';
import { execFileSync } from 'node:child_process';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import test from 'node:test';
import { joinReduced, readTrace } from '../../static/js/capture/trace-read.js';
import { createBuckets } from '../../static/js/capture/trace-buckets.js';
import { createRows } from '../../static/js/capture/trace-rows.js';

const root = new URL('../..', import.meta.url).pathname;
const rules = JSON.parse(readFileSync(join(root, 'webapp/library/trace_columns.json'), 'utf8'));
const folder = mkdtempSync(join(tmpdir(), 'traces-'));
execFileSync(process.env.RAILCASE_TEST_PYTHON || 'python3', ['-m', 'tests.trace.dialects', folder], { cwd: root });
const truth = JSON.parse(readFileSync(join(folder, 'truth.json'), 'utf8'));
const streamOf = async (name) => (await openAsBlob(join(folder, `${name}.csv`))).stream();
const near = (a, b, by) => assert.ok(Math.abs(a - b) <= by, `${a} is not ${b} within ${by}`);

for (const dialect of truth.dialects) {
  test(`dialect ${dialect.name}`, async () => {
    const { reduced } = await readTrace(await streamOf(dialect.name), rules, dialect.options);
    const p = reduced.p || reduced.volts;
    assert.equal(reduced.samples, dialect.samples);
    assert.equal(reduced.dropped, dialect.dropped);
    near(reduced.t[0], dialect.first[0], 2e-3);
    near(p[0], dialect.first[1], 0.06);
    near(reduced.t.at(-1), dialect.last[0], 2e-3);
    near(p.at(-1), dialect.last[1], 0.06);
    assert.equal(Boolean(reduced.battery_v), dialect.has_battery);
    if (reduced.battery_v) near(reduced.battery_v[0], 12.6, 0.01);
  });
}

for (const bad of truth.bad) {
  test(`bad file ${bad.name}`, async () => {
    await assert.rejects(async () => readTrace(await streamOf(bad.name), rules), (error) => {
      assert.ok(error.message.includes(bad.names), error.message);
      return true;
    });
  });
}
