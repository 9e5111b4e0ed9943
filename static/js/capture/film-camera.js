// A film from this phone's camera, with its sound as it is. Frequent key frames, so that stepping through it is quick.
const KINDS = ['video/webm;codecs=vp8,opus', 'video/mp4', 'video/webm'];
const KEY_FRAME_MS = 500;

function explain(error) {
  if (error.name === 'NotAllowedError') return 'The camera or microphone is not allowed for this app. Allow them in the browser’s settings, or choose a film that the phone’s own camera took.';
  if (error.name === 'NotFoundError') return 'No camera was found. Choose a film instead.';
  return `The camera did not start: ${error.message || error.name}. Choose a film instead.`;
}

/**
 * @param {HTMLVideoElement} video shows what the camera sees
 * @returns {Promise<{start: () => void, stop: () => Promise<File>, close: () => void}>} rejects with plain words
 */
export async function openCamera(video) {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      video: { facingMode: 'environment', frameRate: { ideal: 60 }, width: { ideal: 1280 } },
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
    });
  } catch (error) {
    throw new Error(explain(error));
  }
  video.srcObject = stream;
  await video.play();
  const parts = [];
  const mimeType = KINDS.find((kind) => MediaRecorder.isTypeSupported(kind));
  const recorder = new MediaRecorder(stream, { mimeType, videoKeyFrameIntervalDuration: KEY_FRAME_MS });
  recorder.addEventListener('dataavailable', (event) => { if (event.data.size) parts.push(event.data); });
  const close = () => {
    stream.getTracks().forEach((track) => track.stop());
    video.srcObject = null;
  };
  return {
    start: () => recorder.start(1000),
    stop: () => new Promise((resolve) => {
      recorder.addEventListener('stop', () => {
        close();
        const type = recorder.mimeType.split(';')[0];
        resolve(new File(parts, `film.${type.endsWith('mp4') ? 'mp4' : 'webm'}`, { type }));
      }, { once: true });
      recorder.stop();
    }),
    close,
  };
}
