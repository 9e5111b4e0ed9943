// The service worker from the page's side: installed at once on a first visit, later builds offered and never forced.
import { trustedScript } from './trust.js';

const LOOK_EVERY_MS = 30 * 60 * 1000;
const TRY_AGAIN_MS = 20 * 1000;

/** @param {{offer: () => void, replaced: () => void, ready: () => void}} told ready = the app now opens with no signal */
export function createUpdates(told) {
  let registration = null;
  let accepted = false;
  let lastLook = 0;

  /** A first install that broke off leaves no registration behind: on a bad link it is begun again by itself. */
  function watchWorker(worker) {
    if (!worker) return;
    worker.addEventListener('statechange', () => {
      if (worker.state === 'installed' && navigator.serviceWorker.controller) told.offer();
      if (worker.state === 'activated') told.ready();
      if (worker.state === 'redundant' && !registration.active) setTimeout(register, TRY_AGAIN_MS);
    });
  }

  async function register() {
    try {
      registration = await navigator.serviceWorker.register(trustedScript('/sw.js'), { updateViaCache: 'none' });
    } catch {
      setTimeout(register, TRY_AGAIN_MS); // no signal, or a server that is just starting; an app that is kept goes on with what it has
      return;
    }
    if (registration.active) told.ready();
    if (registration.waiting && navigator.serviceWorker.controller) told.offer();
    watchWorker(registration.installing);
    registration.addEventListener('updatefound', () => watchWorker(registration.installing));
  }

  /** The browser cleared the app while it was open: it is stored again, as soon as there is a signal. True when it has to be. */
  async function putBack() {
    const isGone = Boolean(navigator.serviceWorker) && !(await navigator.serviceWorker.getRegistration());
    if (isGone) register();
    return isGone;
  }

  async function start() {
    if (!navigator.serviceWorker) return;
    const hadController = Boolean(navigator.serviceWorker.controller);
    if (hadController) told.ready();
    navigator.serviceWorker.addEventListener('controllerchange', () => {
      if (accepted) location.reload();
      else if (hadController) told.replaced();
    });
    document.addEventListener('visibilitychange', look);
    await register();
  }

  async function look() {
    if (!registration || document.visibilityState !== 'visible' || Date.now() - lastLook < LOOK_EVERY_MS) return;
    lastLook = Date.now();
    await registration.update().catch(() => {});
  }

  /** The person said yes: the new build takes over and the page loads again, once. */
  function accept() {
    accepted = true;
    if (registration && registration.waiting) registration.waiting.postMessage('take-over');
    else location.reload();
  }

  return { start, accept, putBack };
}
