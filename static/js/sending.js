// What has left this phone and what has not, in words: for one case, for all, and for the photos. Pure, tested in Node.
import { formatCount } from './format.js';
import { listRefused } from './state.js';

/** @returns {{refused: number, waiting: number, status: 'refused'|'sending'|'waiting'|'sent'|'kept'}} */
export function readSending(state, caseId = null) {
  const rows = state.outbox.filter((row) => caseId === null || row.case === caseId);
  const refused = listRefused(rows).length;
  const waiting = rows.length - refused;
  const moving = waiting > 0 && ['running', 'elsewhere'].includes(state.sync.status) && !state.pairAgain;
  const status = refused ? 'refused' : moving ? 'sending' : waiting ? 'waiting' : state.paired ? 'sent' : 'kept';
  return { refused, waiting, status };
}

/** Short, for a row of the list; '' when there is nothing to say. */
export function shortSending(state, caseId) {
  const { refused, waiting, status } = readSending(state, caseId);
  const parts = [];
  if (refused) parts.push(`${refused} refused`);
  if (waiting) parts.push(status === 'sending' ? `sending ${waiting}` : `${waiting} only on this phone`);
  return parts.join(', ') || (status === 'sent' ? 'sent' : '');
}

function whyWaiting(state, waiting) {
  const them = waiting === 1 ? 'it' : 'them';
  if (state.pairAgain) return `Pair this phone again to send ${them}.`;
  if (!state.paired) return `Pair this phone in Settings to send ${them}.`;
  if (state.sync.status === 'running') return 'Sending now …';
  if (state.sync.status === 'elsewhere') return 'Another tab of this app is sending.';
  if (state.sync.status === 'failed') return `The last try failed: ${state.sync.text} It is tried again by itself.`;
  return 'Sent without your doing when there is a signal.';
}

/** A sentence or two. @param {string} of '' or ' of this case' */
export function sayEntries(state, caseId = null, of = '') {
  const { refused, waiting, status } = readSending(state, caseId);
  const sentences = [];
  if (waiting) sentences.push(`${formatCount(waiting, 'entry', 'entries')}${of} only on this phone. ${whyWaiting(state, waiting)}`);
  if (refused) sentences.push(`${formatCount(refused, 'entry', 'entries')}${of} refused by the office.`);
  if (sentences.length) return sentences.join(' ');
  return status === 'sent' ? `Everything${of} has reached the office.` : '';
}

const PHOTO_WORDS = { running: 'Sending now …', elsewhere: 'Another tab of this app is sending.' };

/** Photos whose entry has gone and whose picture has not; '' when there is none. */
export function sayPhotos({ photos }) {
  if (!photos.waiting) return '';
  const words = PHOTO_WORDS[photos.status] || (photos.status === 'failed' ? `The last try failed: ${photos.text} It is tried again by itself.` : 'Sent in pieces when there is a signal.');
  return `${formatCount(photos.waiting, 'photo')} still to send. ${words}`;
}

const SHUT_WORDS = {
  revoked: 'The office has shut this phone out. It sends and fetches nothing until it is paired again.',
  unknown_token: 'The office does not know this phone any more. It sends and fetches nothing until it is paired again.',
};

/** @param {string|boolean} pairAgain the server's reason */
export function sayShut(pairAgain) {
  return `${SHUT_WORDS[pairAgain] || SHUT_WORDS.unknown_token} Everything stays here: pair it again to send it, or put it in a file.`;
}

/**
 * What was lost when the browser cleared the storage, and what comes back.
 * @param {{back?: number, app?: boolean, server?: boolean}} cleared app: its files went as well; server: it is the office that
 *   lost something @param {boolean} paired
 */
export function sayCleared({ back, app, server }, paired) {
  if (server) return 'The office’s server was put back from an older copy. Everything of this phone is sent to it again by itself, photos too. Nothing on this phone is lost.';
  const what = 'The browser cleared the storage of this app, or the phone was put back from an older copy.';
  const kept = back ? ` ${formatCount(back, 'entry', 'entries')} of the open case ${back === 1 ? 'was' : 'were'} still in memory and ${back === 1 ? 'is' : 'are'} saved again.` : '';
  const files = app ? ' Leave this page open until there is a signal: the app itself has to be stored again.' : '';
  if (paired) return `${what}${kept}${files} What had reached the office comes back by itself; what had not been sent is gone. Look through your open cases.`;
  return `${what}${kept}${files} What had been sent comes back once this phone is paired; what had not been sent is gone.`;
}
