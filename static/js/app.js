// Boot: storage, then the screen, then everything that may come later (catalogue, engine, service worker, sync).
import { html, render } from './parts/html.js';
import { createStore, initialState } from './state.js';
import { createActions } from './actions.js';
import { createEngine } from './engine/client.js';
import { createSync } from './offline/sync.js';
import { createUpdates } from './update.js';
import { explainStart, readPersistence } from './offline/persist.js';
import { putBack, readPairing, readStart } from './offline/start.js';
import * as db from './offline/db.js';
import { withLimits } from './plan.js';
import { Root } from './root.js';

const store = createStore(initialState(location.hash));
let pairing = null;
let libraryText = '';
let staleLimits = false; // other limits of the workshop came while something was measured: taken up when that is over
const token = () => (pairing ? pairing.token : null);
const engine = createEngine((change) => {
  store.send({ type: 'engine_changed', engine: change });
  const { open } = store.get();
  if (change.status === 'ready' && open) act.judge(open.id);
});
const sync = createSync({
  send: store.send, renewed: () => { loadToken().catch(() => {}); }, limited: () => { staleLimits = true; renewLimits(store.get()); },
  changed: async (cases) => {
    act.tellTabs(cases);
    await act.refresh(cases).catch(() => {});
  },
});
const act = createActions({ store, engine, syncNow: () => { loadToken().then(sync.now, () => {}); } });
const updates = createUpdates({
  offer: () => store.send({ type: 'update_waiting' }),
  replaced: () => store.send({ type: 'update_replaced' }),
  ready: () => store.send({ type: 'offline_ready' }),
});
act.acceptUpdate = updates.accept;
act.token = token;
act.send = store.send;

async function loadToken() {
  pairing = await readPairing();
}

async function fetchCatalogueText() {
  try {
    const response = await fetch('/catalogue.json', { credentials: 'omit' });
    if (!response.ok) throw new Error(`status ${response.status}`);
    const text = await response.text();
    db.keepCatalogueCopy(text).catch(() => {});
    return text;
  } catch {
    const kept = await db.getCatalogueCopy().catch(() => null);
    if (!kept) throw new Error('The list of checks has not reached this phone yet. Open the app once with a signal.');
    return kept;
  }
}

/** The library's catalogue and the workshop's own limits, for the screens and the engine alike. */
async function useCatalogue() {
  const own = await db.getMeta('limits').catch(() => null);
  const catalogue = withLimits(JSON.parse(libraryText), own);
  store.send({ type: 'catalogue_loaded', catalogue });
  await engine.start(own ? JSON.stringify(catalogue) : libraryText);
}

function renewLimits({ capturing }) {
  if (!staleLimits || capturing || !libraryText) return;
  staleLimits = false;
  useCatalogue().catch(() => {});
}

async function loadCatalogue() {
  try {
    libraryText = await fetchCatalogueText();
    await useCatalogue();
  } catch (error) {
    store.send({ type: 'engine_changed', engine: { status: 'failed', error: error.message } });
    store.send({ type: 'catalogue_failed', text: error.message });
  }
}

function watchCase() {
  let shown = null;
  store.watch((state) => {
    const id = state.route.params.id || null;
    if (state.boot !== 'ready' || !id || id === shown) return;
    shown = id;
    act.openCase(id).catch((error) => store.send({ type: 'notice', text: error.message }));
  });
}

function applyTheme(state) {
  document.documentElement.dataset.theme = state.settings.theme;
}

async function boot() {
  watchCase();
  store.watch(applyTheme);
  store.watch(renewLimits);
  addEventListener('hashchange', () => store.send({ type: 'routed', hash: location.hash }));
  db.listen({
    blocked: () => store.send({ type: 'storage_blocked', blocked: true }),
    replaced: () => store.send({ type: 'update_replaced' }),
    refill: async (fresh) => {
      const app = await updates.putBack();
      store.send({ type: 'cleared', cleared: await putBack(fresh, store.get(), pairing, app) });
      setTimeout(() => act.refreshLists().then(sync.now, () => {})); // what the office has comes back
    },
  });
  const place = document.getElementById('app');
  place.replaceChildren();
  render(html`<${Root} store=${store} act=${act} />`, place);
  try {
    const start = await readStart(store.get().settings);
    pairing = start.pairing;
    store.send({ type: 'storage_blocked', blocked: false });
    store.send({ type: 'booted', found: start.found });
    store.send({ type: 'persistence_known', persisted: (await readPersistence()) || null });
  } catch (error) {
    store.send({ type: 'boot_failed', text: explainStart(error) });
  }
  updates.start().catch(() => {});
  await loadCatalogue();
  sync.start();
}

boot();
