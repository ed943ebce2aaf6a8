// The microphone, sent up in short posts, each with its number.

// At most so many wait; older ones are given up, and the bench is told by the numbers.
const WAITING = 50;
// On their way at once.
const AT_ONCE = 4;

export class Uplink {
  constructor(spoke, trouble, level) {
    this.spoke = spoke;
    this.trouble = trouble;
    this.level = level;
    this.waiting = [];
    this.onWay = new Set();
    this.spokeBefore = false;
    this.failing = 0;
  }

  // Opens the microphone with this id, or the usual one.
  async open(context, id, echo) {
    this.close();
    this.stream = await navigator.mediaDevices.getUserMedia({
      audio: {
        deviceId: id ? { exact: id } : undefined,
        channelCount: 1,
        echoCancellation: echo,
        noiseSuppression: false,
        autoGainControl: false,
      },
    });
    const [track] = this.stream.getAudioTracks();
    track.addEventListener("mute", () => this.muted());
    track.addEventListener("ended", () => this.muted());
    track.addEventListener("unmute", () => this.trouble("microphone", ""));
    this.name = track.label;
    this.id = track.getSettings().deviceId;
    this.context = context;
    await context.audioWorklet.addModule("capture.js");
    this.source = context.createMediaStreamSource(this.stream);
    this.node = new AudioWorkletNode(context, "capture", { numberOfOutputs: 0 });
    this.node.port.onmessage = ({ data }) => this.block(data);
    this.run = crypto.getRandomValues(new Uint32Array(1))[0];
    this.n = 0;
    this.waiting = [];
    this.onWay.clear();
    this.source.connect(this.node);
  }

  close() {
    this.node?.disconnect();
    this.source?.disconnect();
    for (const track of this.stream?.getTracks() ?? []) {
      track.stop();
    }
  }

  muted() {
    this.trouble("microphone", "The microphone is muted, or another app has it.");
    post("state", "muted").catch(() => {});
  }

  block(bytes) {
    // A page that is hidden does not listen.
    if (this.paused) {
      return;
    }
    const spoke = this.spoke();
    this.waiting.push({ run: this.run, n: this.n, bytes, spoke: spoke || this.spokeBefore });
    this.spokeBefore = spoke;
    this.n += 1;
    this.measure(bytes);
    while (this.waiting.length > WAITING) {
      this.waiting.shift();
    }
    this.send();
  }

  measure(bytes) {
    let power = 0;
    const samples = new Int16Array(bytes);
    for (const sample of samples) {
      power += (sample / 32768) ** 2;
    }
    this.level(10 * Math.log10(Math.max(power / samples.length, 1e-12)));
  }

  // The first that was not given up and may still come.
  from() {
    const all = [...this.waiting, ...this.onWay].filter((block) => block.run === this.run);
    return Math.min(this.n, ...all.map((block) => block.n));
  }

  async send() {
    if (this.onWay.size >= AT_ONCE || this.waiting.length === 0 || this.resting) {
      return;
    }
    const block = this.waiting.shift();
    this.onWay.add(block);
    const { run, n, bytes, spoke } = block;
    const rate = this.context.sampleRate;
    const query = new URLSearchParams({ run, n, from: this.from(), rate, spoke: spoke ? 1 : 0 });
    let taken = false;
    try {
      const answer = await fetch(`sound?${query}`, {
        method: "POST",
        body: bytes,
        signal: AbortSignal.timeout(4000),
      });
      // What the bench refuses it would refuse again.
      taken = answer.ok || (answer.status >= 400 && answer.status < 500 && answer.status !== 408);
    } catch {
      taken = false;
    }
    this.onWay.delete(block);
    if (run !== this.run) {
      return;
    }
    if (taken) {
      this.failing = 0;
      this.trouble("network", "");
    } else {
      this.waiting.unshift(block);
      this.waiting.sort((a, b) => a.n - b.n);
      this.failing ||= Date.now();
      if (Date.now() - this.failing > 1500) {
        this.trouble("network", "The bench is not reached. What you say now may be lost.");
      }
      this.resting = true;
      await new Promise((done) => setTimeout(done, 250));
      this.resting = false;
    }
    this.send();
  }
}

export async function post(path, what) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(what),
    signal: AbortSignal.timeout(4000),
  });
  if (!answer.ok) {
    throw new Error(await answer.text());
  }
}
