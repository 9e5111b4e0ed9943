// Everything the screens show, as one plain object, and every way it changes: (state, event) -> state, no side effects.
import { parseHash } from './routes.js';

export const DEFAULT_SETTINGS = {
  theme: 'auto', emergency: '112', name: '', pressure_unit: 'bar', units: {}, instruments: {}, own_sd_s: null,
};

export function initialState(hash = '') {
  return {
    boot: 'starting', bootError: '', route: parseHash(hash), hash, cameFrom: '#/', install: '', paired: false, pairAgain: false,
    person: { id: 'me', name: '', role: '' }, people: [], workshop: null, settings: { ...DEFAULT_SETTINGS },
    catalogue: null, catalogueError: '', engine: { status: 'starting', version: '', error: '' },
    cases: [], outbox: [], aside: [], open: null,
    sync: { status: 'idle', text: '', at: '' }, photos: { waiting: 0, problems: {}, status: 'idle', text: '' },
    clockWarning: null, cleared: null, blocked: false,
    update: { waiting: false, replaced: false }, offlineReady: false, capturing: false, persisted: null, dialog: null, notice: '',
  };
}

const CHANGES = {
  booted: (s, e) => ({ ...s, boot: 'ready', ...e.found }),
  boot_failed: (s, e) => ({ ...s, boot: 'failed', bootError: e.text }),
  routed: (s, e) => ({ ...s, route: parseHash(e.hash), hash: e.hash, dialog: null, notice: '',
    cameFrom: e.hash === '#/injury' && s.hash !== '#/injury' ? s.hash || '#/' : s.cameFrom }),
  catalogue_loaded: (s, e) => ({ ...s, catalogue: e.catalogue, catalogueError: '' }),
  catalogue_failed: (s, e) => (s.catalogue ? s : { ...s, catalogueError: e.text }),
  engine_changed: (s, e) => ({ ...s, engine: { ...s.engine, ...e.engine } }),
  settings_changed: (s, e) => ({ ...s, settings: { ...s.settings, ...e.settings } }),
  cases_listed: (s, e) => ({ ...s, cases: e.cases, outbox: e.outbox, aside: e.aside || s.aside }),
  case_opened: (s, e) => ({ ...s, open: { id: e.id, entries: e.entries, case: null, assessment: null, error: '' } }),
  case_judged: (s, e) => (s.open && s.open.id === e.id
    ? { ...s, open: { ...s.open, entries: e.entries, case: e.case, assessment: e.assessment, error: '' } } : s),
  case_not_judged: (s, e) => (s.open && s.open.id === e.id
    ? { ...s, open: { ...s.open, entries: e.entries, error: e.text } } : s),
  paired: (s, e) => ({ ...s, paired: true, pairAgain: false, person: e.person, workshop: e.workshop }),
  pairing_lost: (s, e) => ({ ...s, pairAgain: e.code || true }),
  pairing_works: (s) => (s.pairAgain ? { ...s, pairAgain: false } : s),
  people_known: (s, e) => ({ ...s, people: e.people, workshop: e.workshop || s.workshop, person: e.person || s.person }),
  sync_changed: (s, e) => ({ ...s, sync: { ...s.sync, ...e.sync } }),
  photos_changed: (s, e) => ({ ...s, photos: e.photos }),
  clock_warned: (s, e) => ({ ...s, clockWarning: e.warning }),
  cleared: (s, e) => ({ ...s, cleared: e.cleared }),
  storage_blocked: (s, e) => ({ ...s, blocked: e.blocked }),
  update_waiting: (s) => ({ ...s, update: { ...s.update, waiting: true } }),
  update_replaced: (s) => ({ ...s, update: { ...s.update, replaced: true } }),
  offline_ready: (s) => ({ ...s, offlineReady: true }),
  capture: (s, e) => ({ ...s, capturing: e.running }),
  persistence_known: (s, e) => ({ ...s, persisted: e.persisted }),
  dialog: (s, e) => ({ ...s, dialog: e.dialog }),
  notice: (s, e) => ({ ...s, notice: e.text }),
};

/** @returns the next state; an unknown event is a bug and says so */
export function reduce(state, event) {
  const change = CHANGES[event.type];
  if (!change) throw new Error(`unknown event ${event.type}`);
  return change(state, event);
}

/** @returns {{get: () => any, send: (event: any) => void, watch: (f: (s: any) => void) => () => void}} */
export function createStore(first) {
  let state = first;
  const watchers = new Set();
  return {
    get: () => state,
    send(event) {
      state = reduce(state, event);
      for (const watcher of watchers) watcher(state);
    },
    watch(watcher) {
      watchers.add(watcher);
      return () => watchers.delete(watcher);
    },
  };
}

/** Unsent entries of one case (or of all), refused ones included: they too are only on this phone. */
export function countUnsent(outbox, caseId = null) {
  return outbox.filter((row) => caseId === null || row.case === caseId).length;
}

export function listRefused(outbox) {
  return outbox.filter((row) => row.problems !== null);
}

/** May a waiting update be applied now? Never while something is being measured or typed. */
export function canUpdate(state) {
  return state.update.waiting && !state.capturing;
}
