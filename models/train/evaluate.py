"""Measure a model on the test (or selection) clips with the reference decoder, one row a clip and condition.

    python evaluate.py MODEL.onnx SET_DIR PART ROWS.tsv [CONDITIONS [SHARD SHARDS [PARTS_OF_THE_SET]]]

CONDITIONS, comma separated: clean, or a signal-to-noise ratio in dB. Which of the five noises a clip gets
follows from its name, so all models hear exactly the same sound.
"""
import csv
import json
import os
import sys
import time
import zlib

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"
import numpy as np
import onnxruntime as ort

import decoder
import holdout
import lexicon
import noise
from meaning import meaning
COLUMNS = ["id", "voice", "group", "condition", "noise", "text", "heard", "right", "right_unit", "score", "free", "runner", "runner_score",
           "sum_best", "sum_runner", "phones_free", "phones_best", "words", "frames", "seconds", "net_ms", "search_ms"]


def samples_of(directory, part):
    """[(entry, int16 samples)]. The clips may travel as PART.opus with their lengths in PART.n.json."""
    if os.path.exists(f"{directory}/{part}.opus"):
        import soundfile
        data = dict(x=soundfile.read(f"{directory}/{part}.opus", dtype="int16")[0], n=json.load(open(f"{directory}/{part}.n.json")))
    else:
        data = np.load(f"{directory}/{part}.npz")
    x, ends = data["x"], np.cumsum(np.r_[0, data["n"]])
    entries = json.load(open(f"{directory}/{part}.json"))
    return [(e, x[ends[i]:ends[i + 1]]) for i, e in enumerate(entries)]


def in_condition(entry, samples, condition, seed=holdout.NOISE_TEST_SEED):
    """(samples in -1..1, noise kind)"""
    x = samples.astype(np.float64) / 32768
    if condition == "clean":
        return x, ""
    key = zlib.crc32(entry["id"].encode())
    kind = noise.KINDS[key % len(noise.KINDS)]
    x = noise.mixed(x, kind, float(condition), seed + key)
    return np.clip(x, -1, 1), kind


def path_sum(logp, labels):
    """log of the summed probability of all CTC paths that spell these phones."""
    if not labels:
        return float(logp[:, 0].sum())
    states = np.zeros(2 * len(labels) + 1, int)
    states[1::2] = labels
    skip = np.zeros(len(states), bool)
    skip[3::2] = states[3::2] != states[1:-2:2]
    a = np.full(len(states), -1e30)
    a[:2] = logp[0, states[:2]]
    for frame in logp[1:]:
        b = a.copy()
        b[1:] = np.logaddexp(b[1:], a[:-1])
        b[2:] = np.where(skip[2:], np.logaddexp(b[2:], a[:-2]), b[2:])
        a = b + frame[states]
    return float(np.logaddexp(a[-1], a[-2]))


def main(model, directory, part, out, conditions="clean,20,10,5", shard=0, shards=1, fraction=1):
    options = ort.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = ort.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    search = decoder.Decoder(decoder.reading_graph())
    filters = decoder.mel_filters()
    index = {p: i for i, p in enumerate(lexicon.PHONES)}
    spell = lambda text: [index[p] for w in text.split() for p in lexicon.words()[w]]
    clips = [c for i, c in enumerate(samples_of(directory, part)) if i % shards == shard and i % fraction == 0]
    with open(out, "w", newline="") as f:
        rows = csv.writer(f, delimiter="\t", lineterminator="\n")
        rows.writerow(COLUMNS)
        for condition in conditions.split(","):
            for entry, samples in clips:
                x, kind = in_condition(entry, samples, condition)
                t0 = time.perf_counter()
                logp = session.run(None, {"mel": decoder.features(x, filters)})[0][0]
                t1 = time.perf_counter()
                found = search(logp)
                t2 = time.perf_counter()
                best = logp.argmax(-1)
                phones = int(((best != 0) & (np.r_[-1, best[:-1]] != best)).sum())
                heard, score = found[0] if found else ("", -1e4)
                other = next(((t, s) for t, s in found[1:] if meaning(t) != meaning(heard)), ("", score - 60.0))
                right = int(bool(entry["text"]) and bool(found) and meaning(heard) == meaning(entry["text"]))
                exact = int(right and meaning(heard, True) == meaning(entry["text"], True))
                rows.writerow([entry["id"], entry["voice"], entry["group"], condition, kind, entry["text"], heard, right, exact,
                               f"{score:.3f}", f"{logp.max(-1).sum():.3f}", other[0], f"{other[1]:.3f}",
                               f"{path_sum(logp, spell(heard)):.3f}", f"{path_sum(logp, spell(other[0])) if other[0] else -1e4:.3f}",
                               phones, len(spell(heard)), len(heard.split()), len(logp), f"{len(x) / 16000:.2f}",
                               f"{1e3 * (t1 - t0):.1f}", f"{1e3 * (t2 - t1):.1f}"])


if __name__ == "__main__":
    a = sys.argv
    main(a[1], a[2], a[3], a[4], *(a[5:6]), *map(int, a[6:9]))
