// Addresses of screens. A pattern word with ':' is a value; first match wins. Pure, tested in Node.
export const ROUTES = [
  ['', 'cases'],
  ['new', 'new-case'],
  ['injury', 'injury'],
  ['settings', 'settings'],
  ['attention', 'attention'],
  ['pair', 'pair'],
  ['practice', 'practice'],
  ['practice/car', 'practice-car'],
  ['practice/check/:check', 'practice-check'],
  ['practice/check/:check/done', 'practice-shown'],
  ['practice/name', 'practice-name'],
  ['practice/debrief', 'practice-debrief'],
  ['case/:id', 'case'],
  ['case/:id/details', 'new-case'],
  ['case/:id/notes', 'notes'],
  ['case/:id/readings', 'readings'],
  ['case/:id/conclude', 'conclude'],
  ['case/:id/result', 'result'],
  ['case/:id/check/:check', 'check'],
  ['case/:id/check/:check/reading/:quantity', 'reading'],
  ['case/:id/check/:check/missing/:quantity', 'missing'],
  ['case/:id/check/:check/timer/:quantity', 'timer'],
  ['case/:id/check/:check/listen/:quantity', 'listen'],
  ['case/:id/check/:check/returns/:quantity', 'returns'],
  ['case/:id/check/:check/scan/:quantity', 'scan'],
  ['case/:id/check/:check/volts/:quantity', 'volts'],
  ['case/:id/check/:check/resistor', 'resistor'],
  ['case/:id/check/:check/verdict/:reading', 'verdict'],
  ['case/:id/check/:check/limit/:quantity', 'limit'],
  ['case/:id/check/:check/film', 'film'],
  ['case/:id/check/:check/trace', 'trace'],
];

/** Screens on which a test may be running: no update, no surprise there. */
export const TEST_SCREENS = ['check', 'reading', 'timer', 'missing', 'verdict', 'limit', 'film', 'trace', 'listen', 'returns', 'scan', 'volts', 'resistor'];

function matchPattern(pattern, words) {
  const wanted = pattern === '' ? [] : pattern.split('/');
  if (wanted.length !== words.length) return null;
  const params = {};
  for (let i = 0; i < wanted.length; i += 1) {
    if (wanted[i].startsWith(':')) params[wanted[i].slice(1)] = words[i];
    else if (wanted[i] !== words[i]) return null;
  }
  return params;
}

function decoded(word) {
  try {
    return decodeURIComponent(word);
  } catch {
    return word;
  }
}

/**
 * @param {string} hash location.hash
 * @returns {{screen: string, params: Record<string, string>}} unknown addresses lead home
 */
export function parseHash(hash) {
  const text = hash.replace(/^#\/?/, '');
  if (text.startsWith('pair=')) return { screen: 'pair', params: { secret: decoded(text.slice(5)) } };
  const words = text.split('/').filter(Boolean).map(decoded);
  for (const [pattern, screen] of ROUTES) {
    const params = matchPattern(pattern, words);
    if (params) return { screen, params };
  }
  return { screen: 'cases', params: {} };
}

/** @param {...string} words path words; each is encoded */
export function address(...words) {
  return '#/' + words.map(encodeURIComponent).join('/');
}

/** Where "Back" leads: always up the tree, never out of the app; null on the first screen. */
export function parentAddress(route) {
  const { screen, params } = route;
  if (screen === 'cases') return null;
  if (screen === 'limit') return address('case', params.id, 'check', params.check, 'reading', params.quantity);
  if (params.check && screen !== 'check') return address('case', params.id, 'check', params.check);
  if (['check', 'notes', 'readings', 'conclude', 'result'].includes(screen)) return address('case', params.id);
  if (screen === 'new-case' && params.id) return address('case', params.id);
  if (screen === 'attention' || screen === 'pair') return address('settings');
  return '#/';
}
