// Photos: what is missing is sent and nothing else; one that cannot go holds up none of the others.
import assert from 'node:assert/strict';
import { beforeEach, mock, test } from 'node:test';
import { createPhotoSender } from '../../static/js/offline/photos.js';
import { missingPieces, sendPhoto } from '../../static/js/offline/uploads.js';

let asked = [];
let server = () => ({});

globalThis.fetch = async (path, { method, body }) => {
  const name = `${method} ${path.replace('/api/v1/uploads/', '')}`;
  asked.push(name);
  const answer = server(name, body);
  if (answer === 'cut') throw new TypeError('fetch failed');
  return new Response(JSON.stringify(answer.body || answer), { status: answer.status || 200 });
};

beforeEach(() => {
  asked = [];
  mock.timers.reset();
  mock.timers.enable({ apis: ['setTimeout'] });
});

const photo = (sha256, size = 25) => ({ sha256, type: 'image/jpeg', blob: new Blob(['x'.repeat(size)]) });
const refuse = (status, code = 'x') => ({ status, body: { error: [{ code, field: '', text: `because ${code}` }] } });

test('the pieces that have not arrived', () => {
  assert.deepEqual(missingPieces(25, 10, []), [0, 1, 2]);
  assert.deepEqual(missingPieces(30, 10, [0, 2]), [1]);
  assert.deepEqual(missingPieces(31, 10, [0, 1, 2]), [3]);
  assert.deepEqual(missingPieces(1, 10, [0]), []);
});

test('only what is missing is sent, the last piece short, then it is put together', async () => {
  const sizes = [];
  server = (name, body) => {
    if (name.startsWith('PUT')) sizes.push(body.byteLength);
    return name.startsWith('GET') ? { stored: false, piece_bytes: 10, pieces: [1] } : {};
  };
  await sendPhoto('t', photo('aa'));
  assert.deepEqual(asked, ['GET aa', 'PUT aa/0', 'PUT aa/2', 'POST aa/finish']);
  assert.deepEqual(sizes, [10, 5]);
});

test('a photo that is there already is not sent', async () => {
  server = () => ({ stored: true, piece_bytes: 10, pieces: [] });
  await sendPhoto('t', photo('aa'));
  assert.deepEqual(asked, ['GET aa']);
});

function phone(photos) {
  const db = { photos: new Map(photos.map((one) => [one.sha256, one])), meta: {},
    getMeta: async (key) => db.meta[key], setMeta: async (key, value) => { db.meta[key] = value; },
    getPhoto: async (sha256) => db.photos.get(sha256), keepPhoto: async (one) => { db.photos.set(one.sha256, one); } };
  return db;
}

function start(db) {
  const [events, shut] = [[], []];
  const sender = createPhotoSender({ token: async () => 't', send: (e) => events.push(e), shut: (error) => shut.push(error.code) }, db);
  return { sender, shut, last: () => events.at(-1).photos };
}

async function settle() {
  for (let i = 0; i < 30; i += 1) await new Promise((done) => { setImmediate(done); });
}

const takesAll = (name) => (name.startsWith('GET') ? { stored: false, piece_bytes: 100, pieces: [] } : {});

test('a photo the server cannot take, and one that is gone, hold up no other', async () => {
  server = (name) => (name.includes('bad') ? refuse(415, 'not_a_picture') : takesAll(name));
  const db = phone([photo('bad'), photo('good')]);
  const { sender, last } = start(db);
  await sender.look(['bad', 'gone', 'good']);
  assert.deepEqual(Object.keys(last().problems).sort(), ['bad', 'gone']);
  assert.equal(last().problems.bad, 'because not_a_picture');
  assert.equal(last().waiting, 0);
  assert.equal(db.photos.get('good').sent, true);
  asked = [];
  await sender.look(['bad', 'gone']);
  assert.deepEqual(asked, []);
});

test('a server that fails over one photo gets the others, and that one again later', async () => {
  let broken = true;
  server = (name) => (broken && name === 'PUT aa/0' ? refuse(500, 'broken') : takesAll(name));
  const db = phone([photo('aa'), photo('bb')]);
  const { sender, last } = start(db);
  await sender.look(['aa', 'bb']);
  assert.equal(db.photos.get('bb').sent, true);
  assert.equal(last().status, 'failed');
  broken = false;
  mock.timers.tick(4001);
  await settle();
  assert.equal(last().waiting, 0);
});

test('a broken link is tried again by itself, and only for what is missing', async () => {
  let broken = true;
  server = (name) => (broken && name.startsWith('PUT') ? 'cut' : takesAll(name));
  const { sender, last } = start(phone([photo('aa')]));
  await sender.look(['aa']);
  assert.equal(last().status, 'offline');
  assert.equal(last().waiting, 1);
  broken = false;
  mock.timers.tick(4001);
  await settle();
  assert.equal(last().waiting, 0);
});

test('a phone that was shut out says so and keeps the photo waiting', async () => {
  server = () => refuse(401, 'revoked');
  const { sender, shut, last } = start(phone([photo('aa')]));
  await sender.look(['aa']);
  assert.deepEqual(shut, ['revoked']);
  assert.equal(last().waiting, 1);
});
