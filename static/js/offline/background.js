// Browsers that know Background Sync wake the service worker when the signal is back, even with the app closed; it then
// sends what waits (sw.js). Only a help: everything is sent from the page as well.
export const TAG = 'railcase-send';

export async function askBackground() {
  try {
    const registration = await navigator.serviceWorker.getRegistration();
    if (registration && registration.sync) await registration.sync.register(TAG);
  } catch { /* not here, or not allowed: the page sends */ }
}
