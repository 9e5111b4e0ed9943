// Runs in the browser's audio thread: the root mean square of each two-hundredth of a second. No rule lives here.
const FRAME_HZ = 200;
const BATCH = 20;

class Levels extends AudioWorkletProcessor {
  constructor() {
    super();
    this.sum = 0;
    this.count = 0;
    this.frame = 0;
    this.done = 0; // samples so far; frames end at multiples of sampleRate / FRAME_HZ, whatever the rate
    this.batch = [];
  }

  process([[samples]]) {
    if (!samples) return true;
    for (const sample of samples) {
      this.sum += sample * sample;
      this.count += 1;
      this.done += 1;
      if (this.done >= ((this.frame + 1) * sampleRate) / FRAME_HZ) this.closeFrame();
    }
    return true;
  }

  closeFrame() {
    this.batch.push(Math.sqrt(this.sum / this.count));
    this.frame += 1;
    this.sum = 0;
    this.count = 0;
    if (this.batch.length < BATCH) return;
    this.port.postMessage({ levels: this.batch, end_s: this.frame / FRAME_HZ });
    this.batch = [];
  }
}

registerProcessor('levels', Levels);
