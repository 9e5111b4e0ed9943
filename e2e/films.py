"""Films for the tests: made in the browser by a canvas and its recorder, with a frame rate that varies and a known rise.

Each frame carries the pressure as a row of black and white squares, so that a test reads a frame as a person reads a gauge,
and the true moment of each frame is known to the page that draws it.
"""

import base64

from playwright.sync_api import Page

START_S, TAU_S, REST_BAR, STEADY_BAR = 1.2, 0.35, 18.0, 301.0
SECONDS, BITS = 3.6, 12

MAKE = """async ({start, tau, rest, steady, seconds, bits}) => {
  const canvas = Object.assign(document.createElement('canvas'), { width: 480, height: 270 });
  const paper = canvas.getContext('2d');
  const room = new AudioContext();
  const gain = room.createGain();
  const noise = room.createBufferSource();
  noise.buffer = room.createBuffer(1, room.sampleRate, room.sampleRate);
  const samples = noise.buffer.getChannelData(0);
  let seed = 7;
  for (let i = 0; i < samples.length; i += 1) samples[i] = ((seed = (seed * 16807) % 2147483647) / 1073741824) - 1;
  noise.loop = true;
  const out = room.createMediaStreamDestination();
  noise.connect(gain).connect(out);
  gain.gain.value = 0.01;
  noise.start();
  const stream = canvas.captureStream(0);
  const [track] = stream.getVideoTracks();
  stream.addTrack(out.stream.getAudioTracks()[0]);
  const recorder = new MediaRecorder(stream, { mimeType: 'video/webm;codecs=vp8,opus', videoKeyFrameIntervalDuration: 500 });
  const parts = [];
  recorder.ondataavailable = (e) => parts.push(e.data);
  const draw = (now) => {
    const bar = now < start ? rest : rest + (steady - rest) * (1 - Math.exp(-(now - start) / tau));
    const shown = Math.round(bar);
    paper.fillStyle = '#444';
    paper.fillRect(0, 0, 480, 270);
    for (let k = 0; k < bits; k += 1) {
      paper.fillStyle = (shown >> k) & 1 ? '#fff' : '#000';
      paper.fillRect(k * 40, 200, 40, 70);
    }
    paper.fillStyle = '#fff'; paper.font = '90px sans-serif'; paper.fillText(`${shown} bar`, 60, 120);
    paper.fillStyle = now >= start ? '#fff' : '#000'; paper.fillRect(0, 140, 480, 50);
    track.requestFrame();
    return shown;
  };
  draw(0);
  recorder.start(500);
  const began = performance.now();
  const drawn = [];
  const waits = [33, 33, 66, 20, 50, 33, 100, 33];
  for (let n = 0, now = 0; now < seconds; n += 1) {
    now = (performance.now() - began) / 1000;
    if (now >= start) gain.gain.value = 0.3;
    drawn.push([now, draw(now)]);
    await new Promise((done) => setTimeout(done, waits[n % waits.length]));
  }
  await new Promise((done) => { recorder.onstop = done; recorder.stop(); });
  const bytes = new Uint8Array(await new Blob(parts).arrayBuffer());
  let text = '';
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return { film: btoa(text), drawn };
}"""

READ = """(bits) => {
  const video = document.querySelector('video.film');
  const canvas = Object.assign(document.createElement('canvas'), { width: 480, height: 270 });
  const paper = canvas.getContext('2d', { willReadFrequently: true });
  paper.drawImage(video, 0, 0, 480, 270);
  const white = (x, y) => paper.getImageData(x, y, 1, 1).data[1] > 128;
  let bar = 0;
  for (let k = 0; k < bits; k += 1) if (white(k * 40 + 20, 240)) bar += 2 ** k;
  return { bar, cranking: white(240, 165) };
}"""


def make_film(page: Page) -> tuple[bytes, list]:
    """Return (the film, [[moment, pressure shown], ...] as they were drawn)."""
    settings = {"start": START_S, "tau": TAU_S, "rest": REST_BAR, "steady": STEADY_BAR, "seconds": SECONDS, "bits": BITS}
    made = page.evaluate(MAKE, settings)
    return base64.b64decode(made["film"]), made["drawn"]


def read_frame(page: Page) -> dict:
    """Return what a person would read on the frame that is shown: {"bar", "cranking"}."""
    return page.evaluate(READ, BITS)
