// What the screens can do. Each action ends in an event for the store; nothing here draws.
import * as db from './offline/db.js';
import { sortRows, uuid7 } from './offline/rows.js';
import { askPersistence, explainStorageError } from './offline/persist.js';
import { buildExport, saveFile } from './offline/export.js';
import { askToPair, forgetAsking, lookAtPairing } from './offline/pairing.js';
import * as log from './offline/log.js';

/** @param {{store: any, engine: any, syncNow: () => void}} parts */
export function createActions({ store, engine, syncNow }) {
  const get = store.get;
  const send = store.send;
  let judging = 0;
  const tabs = 'BroadcastChannel' in globalThis ? new BroadcastChannel('railcase') : null;
  if (tabs) tabs.onmessage = ({ data }) => refresh([data.case]);

  async function refreshLists() {
    const [cases, outbox] = await Promise.all([db.listCases(), db.listOutbox()]);
    send({ type: 'cases_listed', cases: sortRows(cases), outbox, aside: await db.listAside() });
  }

  async function refresh(caseIds) {
    await refreshLists();
    const { open } = get();
    if (open && caseIds.includes(open.id)) await judge(open.id);
  }

  /** Other tabs of this app show what was written here. */
  function tellTabs(caseIds) {
    for (const id of caseIds) if (tabs) tabs.postMessage({ case: id });
  }

  async function judge(caseId) {
    judging += 1;
    const turn = judging;
    const entries = await db.listEntries(caseId);
    try {
      const answer = await engine.call('fold_judge', { entries });
      if (turn !== judging) return;
      if (answer.error) throw new Error(answer.error.map((p) => p.text).join(' '));
      send({ type: 'case_judged', id: caseId, entries, case: answer.ok.case, assessment: answer.ok.assessment });
    } catch (error) {
      if (turn === judging) send({ type: 'case_not_judged', id: caseId, entries, text: error.message });
    }
  }

  async function openCase(caseId) {
    const { open } = get();
    if (open && open.id === caseId) return;
    const entries = await db.listEntries(caseId);
    send({ type: 'case_opened', id: caseId, entries });
    await refreshLists(); // an entry that was found damaged just now is said at once
    await judge(caseId);
  }

  function maker() {
    return { device: get().install, by: get().person.id, nowMs: Date.now() };
  }

  /** Problems the engine finds in what is about to be written; none when the engine is not there (the server looks again). */
  async function findProblems(drafts) {
    if (get().engine.status === 'failed') return [];
    const probe = { id: uuid7(Date.now()), device: get().install, seq: 1, clock: 1, at: new Date().toISOString(), by: get().person.id };
    for (const draft of drafts) {
      const answer = await engine.call('check_entry', { ...probe, ...draft }).catch(() => ({}));
      if (answer.error && answer.error.length) return answer.error;
    }
    return [];
  }

  function showStorageError(error, drafts, photo = null) {
    const unsaved = drafts.map((draft) => ({ ...maker(), ...draft, saved: false }));
    const photos = photo ? [photo] : [];
    send({ type: 'dialog', dialog: { title: 'Not saved', text: explainStorageError(error), unsaved, photos, name: 'storage-error' } });
  }

  /**
   * Write entries. The answer comes only after they are on disk.
   * @returns {Promise<{saved: object[]|null, problems: {code: string, field: string, text: string}[]}>}
   */
  async function record(drafts, photo = null) {
    const problems = await findProblems(drafts);
    if (problems.length) return { saved: null, problems };
    let saved;
    try {
      saved = await log.record(drafts, maker(), photo);
    } catch (error) {
      showStorageError(error, drafts, photo);
      return { saved: null, problems: [] };
    }
    if (get().persisted === null) askPersistence().then((persisted) => send({ type: 'persistence_known', persisted }));
    const ids = [...new Set(saved.map((entry) => entry.case))];
    await refresh(ids);
    tellTabs(ids);
    syncNow();
    return { saved, problems: [] };
  }

  async function changeSettings(settings) {
    send({ type: 'settings_changed', settings });
    try {
      await db.setMeta('settings', get().settings);
    } catch (error) {
      showStorageError(error, []);
    }
  }

  async function exportAll(extra = [], photos = []) {
    const day = new Date().toISOString().slice(0, 10);
    saveFile(`railcase-${day}.json`, await buildExport(extra, photos));
  }

  async function takePairing(answer) {
    if (answer.status !== 'paired') return answer;
    send({ type: 'paired', person: answer.person, workshop: answer.workshop });
    syncNow();
    return answer;
  }

  const pair = async (code, deviceName) => takePairing(await askToPair(code, deviceName, get().install));
  const lookPairing = async () => takePairing(await lookAtPairing());

  async function retryRefused() {
    await log.retryRefused();
    await refreshLists();
    syncNow();
  }

  return { openCase, judge, record, refresh, refreshLists, tellTabs, changeSettings, exportAll, pair, lookPairing, forgetAsking, retryRefused,
    call: (name, input) => engine.call(name, input), retryEngine: () => engine.retry().catch(() => {}), syncNow };
}
