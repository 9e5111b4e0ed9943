// Collecting a return: cranking in bursts with rests, or one run at idle. Pure (collection, event) -> collection; seconds.
export const BURST_S = 5;
export const RUN_S = 30;

/** @returns {{phase: 'idle'|'running', began_s: number|null, length_s: number, bursts: number[], ended_s: number|null}} */
export function noCollection(condition) {
  return { phase: 'idle', began_s: null, length_s: condition === 'idling' ? RUN_S : BURST_S, bursts: [], ended_s: null };
}

/** @param {{type: 'begin'|'end'|'drop', at_s?: number}} event drop = the last burst does not count */
export function collect(collection, event) {
  if (event.type === 'begin' && collection.phase === 'idle') return { ...collection, phase: 'running', began_s: event.at_s };
  if (event.type === 'end' && collection.phase === 'running') {
    return { ...collection, phase: 'idle', began_s: null, ended_s: event.at_s, bursts: [...collection.bursts, event.at_s - collection.began_s] };
  }
  if (event.type === 'drop' && collection.phase === 'idle') return { ...collection, bursts: collection.bursts.slice(0, -1) };
  return collection;
}

/** Seconds that count: those of cranking or running, not the rests. */
export function collectedSeconds(collection) {
  return collection.bursts.reduce((sum, s) => sum + s, 0);
}
