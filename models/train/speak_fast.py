"""Training speech from the fast synthesisers.

    nice -n 19 python speak_fast.py SENTENCES_DIR OUT_DIR KIND HOURS [PART]

KIND: espeak, flite-rms, flite-slt, pico-gb, pico-us, piper. KIND@LIST (espeak@grammar) draws from that one list only.
PART names one of several runs that share the work: each draws otherwise.

Output: OUT_DIR/KIND_{n}.npz with x (all samples, int16, 16 kHz), n (lengths), t (texts), g (voice names).
"""
import json
import os
import random
import sys
import zlib

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"
import numpy as np

import holdout
import voices

SHARD = 400
MIX = (("trade", 0.40), ("contrast", 0.15), ("doubtful", 0.15), ("general", 0.17), ("salad", 0.13))
# British accents before all others; Lancashire is kept for the test.
ESPEAK_ACCENTS = ["en-gb", "en-gb", "en-gb", "en-gb-x-rp", "en-gb-x-rp", "en-gb-scotland", "en-gb-scotland",
                  "en-gb-x-gbcwmd", "en-gb-x-gbcwmd", "en-us", "en-us", "en-029", "en-us-nyc"]


def speak(kind, sentence, rng):
    """One utterance and the name of its voice."""
    if kind == "espeak":
        while True:
            accent, variant = rng.choice(ESPEAK_ACCENTS), rng.choice(voices.espeak_variants() + [None] * 8)
            if holdout.espeak_voice_role(accent, variant) == "train":
                break
        gap = rng.randint(2, 20) if rng.random() < 0.25 else 0
        samples = voices.espeak(sentence, accent, variant, rng.randint(120, 195), rng.randint(20, 80), gap)
        return samples, f"es:{accent}+{variant}"
    if kind.startswith("flite-"):
        voice = kind.split("-")[1]
        assert voice in holdout.FLITE_TRAIN
        return voices.flite(sentence, voice, rng.uniform(0.75, 1.3), rng.randint(80, 230)), "fl:" + voice
    if kind == "piper":
        return voices.piper(sentence, rng.uniform(0.72, 1.35), rng.uniform(0.4, 1.0), rng.uniform(0.5, 1.1)), "pip:joe"
    if kind in ("pico-gb", "pico-us"):
        return voices.pico(sentence, kind == "pico-gb", rng.uniform(0.75, 1.35), rng.uniform(0.62, 1.35)), kind.replace("-", ":")
    raise ValueError(kind)


def main(sentences, out, kind, hours, part=""):
    os.makedirs(out, exist_ok=True)
    lists = json.load(open(f"{sentences}/train.json"))
    kind, _, only = kind.partition("@")
    mix = ((only, 1.0),) if only else MIX
    label = (f"{kind}-{only}" if only else kind) + (f"-{part}" if part else "")
    rng = random.Random(zlib.crc32(label.encode()))
    made, shard, buffer = 0.0, 0, []
    while made < hours * 3600:
        sentence = rng.choice(lists[rng.choices([m[0] for m in mix], [m[1] for m in mix])[0]])
        try:
            samples, name = speak(kind, sentence, rng)
        except Exception as error:
            print("skipped:", sentence, error)
            continue
        samples = voices.trimmed(samples)
        if samples is None or len(samples) > 9 * voices.RATE:
            continue
        buffer.append((voices.int16(samples), sentence, name))
        made += len(samples) / voices.RATE
        if len(buffer) == SHARD or made >= hours * 3600:
            path = f"{out}/{label}_{shard:03d}.npz"
            np.savez(path + ".part.npz", x=np.concatenate([b[0] for b in buffer]), n=[len(b[0]) for b in buffer],
                     t=[b[1] for b in buffer], g=[b[2] for b in buffer])
            os.rename(path + ".part.npz", path)
            shard, buffer = shard + 1, []
    print(f"{label}: {made / 3600:.2f} h", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3], float(sys.argv[4]), *sys.argv[5:6])
