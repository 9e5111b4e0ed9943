// What has left the phone, in words: nobody is surprised by what is only here.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { readSending, sayCleared, sayEntries, sayPhotos, sayShut, shortSending } from '../../static/js/sending.js';
import { initialState, reduce } from '../../static/js/state.js';

const row = (id, kase = 'a', problems = null) => ({ id, case: kase, seq: 1, problems });
const refused = (id, kase = 'a') => row(id, kase, [{ code: 'x', field: '', text: 'no' }]);

function state(outbox, change = {}, sync = {}) {
  const first = initialState();
  return { ...first, outbox, paired: true, ...change, sync: { ...first.sync, ...sync } };
}

const ROWS = [
  { name: 'all gone', state: state([]), status: 'sent', short: 'sent', says: /has reached the office/ },
  { name: 'nothing to send, no office', state: state([], { paired: false }), status: 'kept', short: '', says: /^$/ },
  { name: 'waits for a signal', state: state([row('1'), row('2')], {}, { status: 'offline' }), status: 'waiting', short: '2 only on this phone', says: /2 entries only on this phone\. Sent without your doing/ },
  { name: 'being sent', state: state([row('1')], {}, { status: 'running' }), status: 'sending', short: 'sending 1', says: /Sending now/ },
  { name: 'sent by another tab', state: state([row('1')], {}, { status: 'elsewhere' }), status: 'sending', short: 'sending 1', says: /Another tab/ },
  { name: 'the last try failed', state: state([row('1')], {}, { status: 'failed', text: 'The server answered 503.' }), status: 'waiting', short: '1 only on this phone', says: /503\. It is tried again/ },
  { name: 'no office yet', state: state([row('1')], { paired: false }), status: 'waiting', short: '1 only on this phone', says: /Pair this phone in Settings to send it/ },
  { name: 'shut out', state: state([row('1')], { pairAgain: 'revoked' }, { status: 'running' }), status: 'waiting', short: '1 only on this phone', says: /Pair this phone again to send it/ },
  { name: 'refused and waiting', state: state([refused('1'), row('2')]), status: 'refused', short: '1 refused, 1 only on this phone', says: /1 entry only.*1 entry refused/ },
  { name: 'another case waits', state: state([row('1', 'b')]), status: 'sent', short: 'sent', says: /has reached the office/ },
];
for (const { name, state: given, status, short, says } of ROWS) {
  test(name, () => {
    assert.equal(readSending(given, 'a').status, status);
    assert.equal(shortSending(given, 'a'), short);
    assert.match(sayEntries(given, 'a'), says);
  });
}

test('photos are counted by themselves', () => {
  const photos = (waiting, status, text = '') => ({ photos: { waiting, problems: {}, status, text } });
  assert.equal(sayPhotos(photos(0, 'idle')), '');
  assert.match(sayPhotos(photos(1, 'running')), /^1 photo still to send\. Sending now/);
  assert.match(sayPhotos(photos(2, 'offline')), /^2 photos still to send\. Sent in pieces/);
  assert.match(sayPhotos(photos(2, 'failed', 'Disk full.')), /Disk full\./);
});

test('the reason of a shut pairing is said, and that everything stays', () => {
  assert.match(sayShut('revoked'), /shut this phone out.*Everything stays here/);
  assert.match(sayShut('unknown_token'), /does not know this phone.*Everything stays here/);
  assert.match(sayShut(true), /Everything stays here/);
});

test('a cleared storage is told with what comes back', () => {
  assert.match(sayCleared({}, true), /comes back by itself; what had not been sent is gone/);
  assert.match(sayCleared({}, false), /once this phone is paired/);
  assert.match(sayCleared({ back: 3 }, true), /3 entries of the open case were still in memory/);
});

test('a pairing that works again takes its line away', () => {
  const shut = reduce(initialState(), { type: 'pairing_lost', code: 'revoked' });
  assert.equal(shut.pairAgain, 'revoked');
  assert.equal(reduce(shut, { type: 'pairing_works' }).pairAgain, false);
});
