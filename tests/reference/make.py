"""Reference numbers for the recogniser's tests, made by general-purpose libraries.

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install numpy onnxruntime soundfile
    cd tests/reference && /tmp/venv/bin/python make.py

Reads digits.flac (two nine three four zero, a human voice from Debian's pocketsphinx-testdata, BSD) and
reading.flac (flite's voice rms), and writes reference.json: log-mel features by numpy, the likeliest label of
every frame by onnxruntime, and the likeliest words and their score by a plain Viterbi over grammar.fsg.
"""
import json

import numpy as np
import onnxruntime
import soundfile

MODELS = "../../models/"
PHONES = json.load(open(MODELS + "phones.json"))
FILTERS = np.fromfile(MODELS + "melfilters_80x201_f32le.bin", "<f4").reshape(80, 201)


def features(x):
    x = np.pad(x, 200, mode="reflect")
    n = (len(x) - 400) // 160
    window = np.hanning(401)[:-1]
    frames = np.lib.stride_tricks.sliding_window_view(x, 400)[::160][:n] * window
    power = np.abs(np.fft.rfft(frames, axis=1)) ** 2
    mel = np.log10(np.maximum(FILTERS @ power.T, 1e-10))
    return (np.maximum(mel, mel.max() - 8) + 4) / 4


def lexicon():
    table = {}
    for line in open("lexicon.txt"):
        word, phones = line.rstrip("\n").split("\t")
        table.setdefault(word, []).append([PHONES.index(p) for p in phones.split()])
    return table


def grammar(words):
    """Arcs (from, to, log weight, word, phones), start state, final states."""
    arcs, finals, start = [], set(), 0
    for line in open("grammar.fsg"):
        t = line.split()
        if t[:1] == ["START_STATE"]:
            start = int(t[1])
        elif t[:1] == ["FINAL_STATE"]:
            finals.add(int(t[1]))
        elif t[:1] == ["TRANSITION"] and len(t) > 4:
            arcs += [(int(t[1]), int(t[2]), np.log(float(t[3])), t[4], p) for p in words[t[4]]]
        elif t[:1] == ["TRANSITION"]:
            finals.add(int(t[1]))
    return arcs, start, finals


def viterbi(logp, arcs, start, finals):
    """The best path: a dictionary from (arc, place in its phones and blanks) to (score, words)."""
    # A state holds the best way to it for each last phone, because a repeated phone needs a blank between.
    at_state, inside = {(start, None): (0.0, ())}, {}
    for t, e in enumerate(logp):
        fresh = {}

        def offer(table, key, score, words):
            if key not in table or table[key][0] < score:
                table[key] = (score, words)

        best = max([v[0] for v in inside.values()] + [v[0] for v in at_state.values()])
        for (a, i), (s, w) in inside.items():
            if s < best - 60:
                continue
            if a < 0:                                     # the blank in state -a-1
                offer(fresh, (a, 0), s + e[0], w)
                continue
            p = arcs[a][4]
            labels = [p[i // 2] if i % 2 == 0 else 0, *(([0, p[i // 2 + 1]] if i % 2 == 0 else [p[i // 2 + 1]])
                                                        if i < 2 * len(p) - 2 else [])]
            for step, label in enumerate(labels):
                if step == 2 and p[i // 2] == label:
                    continue
                offer(fresh, (a, i + step), s + e[label], w)
        waiting = [(state, last, s, w) for (state, last), (s, w) in at_state.items()]
        waiting += [(-a - 1, None, s, w) for (a, _), (s, w) in inside.items() if a < 0]
        for state, last, s, w in waiting:
            for a, arc in enumerate(arcs):
                if arc[0] == state and arc[4][0] != last:
                    offer(fresh, (a, 0), s + arc[2] + e[arc[4][0]], w + (arc[3],))
        for (state, last), (s, w) in at_state.items():
            offer(fresh, (-state - 1, 0), s + e[0], w)
        inside, at_state = fresh, {}
        for (a, i), (s, w) in inside.items():
            if a >= 0 and i == 2 * len(arcs[a][4]) - 2:
                offer(at_state, (arcs[a][1], arcs[a][4][-1]), s, w)
    ends = [v for (state, _), v in at_state.items() if state in finals]
    ends += [v for (a, _), v in inside.items() if a < 0 and -a - 1 in finals]
    return max(ends)


def main():
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(MODELS + "ear.int8.onnx", options, providers=["CPUExecutionProvider"])
    graph = grammar(lexicon())
    out = {}
    for name in ["digits", "reading"]:
        x, rate = soundfile.read(name + ".flac", dtype="float32")
        assert rate == 16000
        mel = features(x)
        logp = session.run(None, {"mel": mel[None].astype(np.float32)})[0][0]
        score, words = viterbi(logp.astype(float), *graph)
        out[name] = {
            "frames": mel.shape[1],
            # Every 16th frame, all bands: enough to see any error, small enough to keep.
            "features": [[round(float(v), 5) for v in mel[:, t]] for t in range(0, mel.shape[1], 16)],
            "labels": [int(k) for k in logp.argmax(1)],
            "free": round(float(logp.max(1).sum()), 3),
            "words": " ".join(words),
            "score": round(float(score), 3),
        }
        print(name, mel.shape, words, score)
    json.dump(out, open("reference.json", "w"), indent=0)


main()
