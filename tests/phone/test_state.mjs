import assert from 'node:assert/strict';
import { test } from 'node:test';
import { address, parentAddress, parseHash, ROUTES } from '../../static/js/routes.js';
import { canUpdate, countUnsent, createStore, initialState, listRefused, reduce } from '../../static/js/state.js';

test('every route can be reached and has a way back to the start', () => {
  for (const [pattern, screen] of ROUTES) {
    const hash = address(...pattern.split('/').filter(Boolean).map((word) => word.replace(':', 'x-')));
    const route = parseHash(hash);
    assert.equal(route.screen, screen, pattern);
    let at = hash;
    for (let steps = 0; at !== null && parseHash(at).screen !== 'cases' && steps < 6; steps += 1) at = parentAddress(parseHash(at));
    assert.equal(parseHash(at).screen, 'cases', pattern);
  }
});

test('the first screen has nothing above it', () => assert.equal(parentAddress(parseHash('#/')), null));

test('unknown and broken addresses lead home', () => {
  for (const hash of ['', '#', '#/nowhere', '#/case', '#/case/a/b/c/d/e/f/g', '#/%E0%A4%A']) assert.equal(parseHash(hash).screen, 'cases', hash);
});

test('a pairing link carries its secret', () => {
  assert.deepEqual(parseHash('#pair=abc_-9'), { screen: 'pair', params: { secret: 'abc_-9' } });
});

test('the state is never changed in place', () => {
  const before = Object.freeze(initialState('#/'));
  const after = reduce(before, { type: 'settings_changed', settings: { theme: 'dark' } });
  assert.equal(before.settings.theme, 'auto');
  assert.equal(after.settings.theme, 'dark');
  assert.equal(after.settings.emergency, '112');
});

test('an unknown event is a bug and says so', () => {
  assert.throws(() => reduce(initialState(), { type: 'nonsense' }), /unknown event nonsense/);
});

test('an assessment that arrives late does not touch another case', () => {
  let state = reduce(initialState(), { type: 'case_opened', id: 'b', entries: [] });
  state = reduce(state, { type: 'case_judged', id: 'a', entries: [1], case: {}, assessment: {} });
  assert.equal(state.open.case, null);
});

test('a failed judgement keeps what was known before', () => {
  let state = reduce(initialState(), { type: 'case_opened', id: 'a', entries: [] });
  state = reduce(state, { type: 'case_judged', id: 'a', entries: [1], case: { x: 1 }, assessment: {} });
  state = reduce(state, { type: 'case_not_judged', id: 'a', entries: [1, 2], text: 'no' });
  assert.deepEqual(state.open.case, { x: 1 });
  assert.equal(state.open.entries.length, 2);
});

test('an update waits while something is measured or typed', () => {
  let state = reduce(initialState(), { type: 'update_waiting' });
  assert.equal(canUpdate(state), true);
  state = reduce(state, { type: 'capture', running: true });
  assert.equal(canUpdate(state), false);
});

test('refused entries still count as only on this phone', () => {
  const outbox = [{ id: '1', case: 'a', problems: null }, { id: '2', case: 'a', problems: [{}] }, { id: '3', case: 'b', problems: null }];
  assert.equal(countUnsent(outbox), 3);
  assert.equal(countUnsent(outbox, 'a'), 2);
  assert.deepEqual(listRefused(outbox).map((r) => r.id), ['2']);
});

test('the way back from the injury card is where one came from', () => {
  let state = reduce(initialState('#/'), { type: 'routed', hash: '#/case/a/check/crank' });
  state = reduce(state, { type: 'routed', hash: '#/injury' });
  assert.equal(state.cameFrom, '#/case/a/check/crank');
  state = reduce(state, { type: 'routed', hash: '#/injury' });
  assert.equal(state.cameFrom, '#/case/a/check/crank');
});

test('losing the pairing loses nothing else', () => {
  const before = { ...initialState(), paired: true, outbox: [{ id: '1' }] };
  const after = reduce(before, { type: 'pairing_lost' });
  assert.equal(after.pairAgain, true);
  assert.deepEqual(after.outbox, before.outbox);
});

test('a watcher hears every change until it leaves', () => {
  const store = createStore(initialState());
  let heard = 0;
  const leave = store.watch(() => { heard += 1; });
  store.send({ type: 'notice', text: 'x' });
  leave();
  store.send({ type: 'notice', text: 'y' });
  assert.equal(heard, 1);
});
