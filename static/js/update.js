// The service worker from the page's side: installed at once on a first visit, later builds offered and never forced.
import { trustedScript } from './trust.js';

const LOOK_EVERY_MS = 30 * 60 * 1000;

function watchWorker(worker, offer) {
  if (!worker) return;
  worker.addEventListener('statechange', () => {
    if (worker.state === 'installed' && navigator.serviceWorker.controller) offer();
  });
}

/** @param {{offer: () => void, replaced: () => void}} told */
export function createUpdates(told) {
  let registration = null;
  let accepted = false;
  let lastLook = 0;

  async function start() {
    if (!navigator.serviceWorker) return;
    const hadController = Boolean(navigator.serviceWorker.controller);
    navigator.serviceWorker.addEventListener('controllerchange', () => {
      if (accepted) location.reload();
      else if (hadController) told.replaced();
    });
    registration = await navigator.serviceWorker.register(trustedScript('/sw.js'), { updateViaCache: 'none' });
    if (registration.waiting && navigator.serviceWorker.controller) told.offer();
    watchWorker(registration.installing, told.offer);
    registration.addEventListener('updatefound', () => watchWorker(registration.installing, told.offer));
    document.addEventListener('visibilitychange', look);
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

  return { start, look, accept };
}
