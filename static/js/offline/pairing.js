// Joining an office: this phone asks with a code and is given a token that opens nothing yet. It shows a number; once the
// office has said that the numbers are the same, the token is kept as this phone's pairing and what waits is sent.
import { getMeta, setMeta } from './db.js';
import { ask, readProblem } from './ask.js';
import { adopt } from './log.js';

/** The question this phone has open at an office, or null; it outlives the app. @returns {Promise<{token: string, number: string}|null>} */
export const readAsking = () => getMeta('asking').catch(() => null).then((asking) => asking || null);

export const forgetAsking = () => setMeta('asking', null);

/** @returns {Promise<{status: string, text: string, number?: string, person?: any, workshop?: any}>} */
async function settle(token, answer) {
  const { status, number, person, workshop } = answer;
  if (status === 'paired') await adopt({ token, device: answer.device, person, workshop });
  else if (status === 'waiting') await setMeta('asking', { token, number });
  else await forgetAsking();
  return { status, number, person, workshop, text: '' };
}

/** Ask with a code. status 'failed' carries what went wrong and what to do. */
export async function askToPair(code, deviceName, install) {
  let response;
  try {
    response = await ask('/api/v1/pair', { method: 'POST', headers: { 'Content-Type': 'application/json' },
      body: JSON.stringify({ code, device_name: deviceName, install }) });
  } catch {
    return { status: 'failed', text: 'The server could not be reached. The code stays good for a few minutes: try again with a signal.' };
  }
  if (!response.ok) return { status: 'failed', text: await readProblem(response, `The server answered ${response.status}. Ask the office for a new code.`) };
  const answer = await response.json();
  return settle(answer.token, answer);
}

/** What has the office said? 'waiting' again when the server cannot be reached just now. */
export async function lookAtPairing() {
  const asking = await readAsking();
  if (!asking) return { status: 'none', text: '' };
  const unknown = { status: 'waiting', number: asking.number, text: 'No contact with the server just now. It is tried again by itself.' };
  const response = await ask('/api/v1/pair', { headers: { Authorization: `Bearer ${asking.token}` } }).catch(() => null);
  if (!response) return unknown;
  if (response.status === 401 && (await readProblem(response, ''))) { // our own no, not that of a portal in between
    await forgetAsking();
    return { status: 'refused', text: '' };
  }
  return response.ok ? settle(asking.token, await response.json()) : unknown;
}
