// Whose turn it is to send: one tab at a time, by a Web Lock. A holder that is frozen keeps its lock for good, so it also
// leaves a beat in the log's database; whoever finds the turn taken and the beat unchanged for HOLD_MS takes the turn.
// Sending twice is harmless (the server knows every entry by its id), not sending is not.
const HOLD_MS = 90000;

export const BUSY = 'busy';

/** @param {{getMeta: (key: string) => Promise<any>, setMeta: (key: string, value: any) => Promise<any>}} db */
export function createTurn(name, db, now = () => performance.now()) {
  let seen = null;

  async function isStuck() {
    const beat = await db.getMeta(`beat.${name}`);
    if (!seen || seen.beat !== beat) seen = { beat, since: now() };
    return now() - seen.since >= HOLD_MS;
  }

  async function hold(work) {
    seen = null;
    await beat();
    return work();
  }

  /** The holder is alive and getting on. */
  function beat() {
    return db.setMeta(`beat.${name}`, Math.random()); // only ever compared with the last one; crypto needs https
  }

  /** @returns {Promise<any>} what the work gives, or BUSY when another tab has the turn */
  async function take(work) {
    if (!navigator.locks) return work();
    const given = await request({ ifAvailable: true }, (lock) => (lock ? hold(work) : BUSY));
    if (given !== BUSY || !(await isStuck())) return given;
    return request({ steal: true }, () => hold(work));
  }

  async function request(options, work) {
    try {
      return await navigator.locks.request(name, options, work);
    } catch (error) {
      if (error.name === 'AbortError') return BUSY; // our own turn was taken while this tab slept
      throw error;
    }
  }

  return { take, beat };
}
