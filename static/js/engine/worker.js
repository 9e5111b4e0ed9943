// The engine's room: MicroPython with the very files the server runs. Talks in messages {id, name, text} -> {id, text}.
import { loadMicroPython } from '../../vendor/micropython.mjs';

const HEAP_BYTES = 24 * 1024 * 1024;
const OPEN_DOOR = `
import sys
if '/railcase' not in sys.path: sys.path.insert(0, '/railcase')
from engine.calls import Door
_door = Door(open('/railcase/catalogue.json').read())
def _call(name, text): return _door.call(name, text)
`;

let call = null;

function writeFile(fs, path, text) {
  const folders = path.split('/').slice(0, -1);
  let at = '/railcase';
  for (const folder of folders) {
    at += `/${folder}`;
    if (!fs.analyzePath(at).exists) fs.mkdir(at);
  }
  fs.writeFile(`/railcase/${path}`, text);
}

async function fetchJson(path) {
  const response = await fetch(path, { credentials: 'omit' });
  if (!response.ok) throw new Error(`${path} answered ${response.status}`);
  return response.json();
}

async function start(catalogueText) {
  const [bundle, python] = await Promise.all([
    fetchJson('/engine.json'),
    loadMicroPython({ url: '/static/vendor/micropython.wasm', heapsize: HEAP_BYTES, pystack: 32768 }),
  ]);
  python.FS.mkdir('/railcase');
  for (const [path, source] of Object.entries(bundle.files)) writeFile(python.FS, path, source);
  python.FS.writeFile('/railcase/catalogue.json', catalogueText);
  python.runPython(OPEN_DOOR);
  call = python.globals.get('_call');
  return bundle.version;
}

/** What went wrong, without the way to it: people read this. */
function lastLine(text) {
  return text.trim().split('\n').pop().slice(0, 300);
}

addEventListener('message', async ({ data }) => {
  try {
    if (data.name === 'start') postMessage({ id: data.id, version: await start(data.text) });
    else postMessage({ id: data.id, text: call(data.name, data.text) });
  } catch (error) {
    postMessage({ id: data.id, failure: lastLine(String((error && error.message) || error)) });
  }
});
