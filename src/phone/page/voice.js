// Says what the bench wants said, one line after the other: by the phone's own voice where it has one
// of its own, else by sound from the bench. Tones always come from the bench.
import { post } from "./sound.js";

// The room rings on for a while after the last sound.
const TAIL = 300;
// Longer than any voice takes to begin.
const PATIENCE = 6000;

function ownVoice() {
  const voices = globalThis.speechSynthesis?.getVoices() ?? [];
  const english = voices.filter((voice) => voice.localService && voice.lang.startsWith("en"));
  return english.find((voice) => voice.lang === "en-GB") ?? english[0];
}

export class Downlink {
  constructor(trouble) {
    this.trouble = trouble;
    this.wanted = [];
    this.done = 0;
    this.now = 0;
    this.quietSince = 0;
    this.sounding = false;
  }

  open(context) {
    this.context = context;
    this.next();
  }

  // Whether it speaks, or the room still rings.
  speaks() {
    return this.sounding || performance.now() - this.quietSince < TAIL;
  }

  want(items) {
    const last = Math.max(this.done, this.now);
    this.wanted = items.filter((item) => item.id > last);
    if (this.now && !items.some((item) => item.id === this.now)) {
      this.stop?.();
    }
    this.next();
  }

  async next() {
    const item = this.wanted[0];
    if (this.now || !item || !this.context) {
      return;
    }
    this.now = item.id;
    this.wanted.shift();
    let became = "ended";
    try {
      await this.say(item);
      this.trouble("voice", "");
    } catch (why) {
      became = "failed";
      this.trouble("voice", `A line could not be said here: ${why.message} It stands below.`);
    }
    this.sounding = false;
    this.quietSince = performance.now();
    this.done = item.id;
    this.now = 0;
    this.stop = undefined;
    post("said", { id: item.id, what: became }).catch(() => {});
    this.next();
  }

  async say(item) {
    let stopped = false;
    const stopping = new Promise((done) => {
      this.stop = () => {
        stopped = true;
        done();
      };
    });
    const voice = ownVoice();
    const bySound = item.words.length === 0 || !voice;
    if (item.tone || bySound) {
      await this.sound(item, !bySound, stopping);
    }
    if (bySound) {
      return;
    }
    for (const piece of item.words) {
      if (stopped) {
        return;
      }
      await this.words(voice, piece, item, stopping);
    }
  }

  began(item) {
    this.sounding = true;
    post("said", { id: item.id, what: "began" }).catch(() => {});
  }

  async sound(item, onlyTone, stopping) {
    const answer = await fetch(`voice/${item.id}?only_tone=${onlyTone}`, {
      signal: AbortSignal.timeout(8000),
    });
    if (answer.status === 404) {
      return;
    }
    if (!answer.ok) {
      throw new Error(await answer.text());
    }
    const buffer = await this.context.decodeAudioData(await answer.arrayBuffer());
    const source = this.context.createBufferSource();
    source.buffer = buffer;
    source.connect(this.context.destination);
    const ended = new Promise((done) => source.addEventListener("ended", done));
    this.began(item);
    source.start();
    // A context that the phone has put to sleep plays nothing, and never ends.
    const late = new Promise((done) => setTimeout(done, buffer.duration * 1000 + PATIENCE));
    await Promise.race([ended, late, stopping]);
    source.stop();
  }

  async words(voice, piece, item, stopping) {
    const line = new SpeechSynthesisUtterance(piece.words);
    line.voice = voice;
    line.lang = voice.lang;
    line.rate = Math.min(2, Math.max(0.5, piece.rate));
    line.pitch = piece.pitch;
    line.volume = piece.volume;
    let begun = false;
    const said = new Promise((done, failed) => {
      line.addEventListener("start", () => {
        begun = true;
        this.began(item);
      });
      line.addEventListener("end", done);
      line.addEventListener("error", ({ error }) => failed(new Error(`${error}.`)));
      setTimeout(() => begun || failed(new Error("this phone's voice does not begin.")), PATIENCE);
    });
    this.sounding = true;
    speechSynthesis.speak(line);
    try {
      await Promise.race([said, stopping]);
    } finally {
      speechSynthesis.cancel();
    }
  }
}
