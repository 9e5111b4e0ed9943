// The microphone as a stream of sound levels, 200 a second, and the moment of each on the clock that taps are stamped with.
export const FRAME_HZ = 200;
const RUMBLE_HZ = 150;
const PLAIN = { audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } };
const WORDS = {
  NotAllowedError: 'The microphone is not allowed for this app. Allow it in the browser’s settings for this page, or time it by thumb.',
  NotFoundError: 'This phone has no microphone that the browser can use.',
  NotReadableError: 'Another app holds the microphone. Close it and try again.',
};

async function openMicrophone() {
  if (!navigator.mediaDevices || !globalThis.AudioWorkletNode) throw new Error('This browser cannot listen. Time it by thumb, or read the speed another way.');
  try {
    return await navigator.mediaDevices.getUserMedia(PLAIN);
  } catch (error) {
    throw new Error(WORDS[error.name] || `The microphone did not open: ${error.message}`);
  }
}

async function connect(context, stream, onMessage) {
  await context.audioWorklet.addModule('/static/js/capture/ear-worklet.js');
  if (context.state === 'suspended') await context.resume();
  const source = context.createMediaStreamSource(stream);
  const filter = new BiquadFilterNode(context, { type: 'highpass', frequency: RUMBLE_HZ });
  const node = new AudioWorkletNode(context, 'levels', { numberOfOutputs: 1, channelCount: 1, channelCountMode: 'explicit' });
  const mute = new GainNode(context, { gain: 0 });
  node.port.onmessage = ({ data }) => onMessage(data);
  source.connect(filter).connect(node).connect(mute).connect(context.destination); // an end point, or some browsers do not run it
}

/**
 * @param {(levels: number[]) => void} onLevels
 * @returns {Promise<{clockOf: (record_s: number) => number, stop: () => void}>} clockOf: record's second -> event time stamp [s]
 */
export async function startEar(onLevels) {
  const stream = await openMicrophone();
  const context = new AudioContext();
  let offset_s = Infinity; // the least delay from sound to message is the truest: the rest waited in a queue
  const stop = () => {
    for (const track of stream.getTracks()) track.stop();
    if (context.state !== 'closed') context.close().catch(() => {});
  };
  try {
    await connect(context, stream, ({ levels, end_s }) => {
      offset_s = Math.min(offset_s, performance.now() / 1000 - end_s);
      onLevels(levels);
    });
  } catch (error) {
    stop();
    throw new Error(`The microphone opened, but this browser cannot listen to it: ${error.message}`);
  }
  return { clockOf: (record_s) => record_s + offset_s, stop };
}
