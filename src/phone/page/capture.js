// Cuts what the microphone gives into tenths of a second of 16 bit.
class Capture extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Int16Array(Math.round(sampleRate / 10));
    this.at = 0;
  }

  process(inputs) {
    const [channels] = inputs;
    const first = channels[0];
    if (!first) {
      return true;
    }
    for (let i = 0; i < first.length; i += 1) {
      const sample = Math.max(-1, Math.min(1, first[i]));
      this.block[this.at] = Math.round(sample * 32767);
      this.at += 1;
      if (this.at === this.block.length) {
        this.port.postMessage(this.block.buffer, [this.block.buffer]);
        this.block = new Int16Array(Math.round(sampleRate / 10));
        this.at = 0;
      }
    }
    return true;
  }
}

registerProcessor("capture", Capture);
