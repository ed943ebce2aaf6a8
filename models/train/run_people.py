"""The fourth stage: finals of the base encoder from the same weights, with people, and the mean that serves best.

    python run_people.py DATA_DIR OUT_DIR SECONDS START.npz FINAL[,OPTION...]...
    python run_people.py made DATA_DIR OUT_DIR SECONDS START.npz [OPTION...]
    python run_people.py folds DATA_DIR OUT_DIR UNTIL MADE.npz SHIPPED.onnx [OPTION...]

FINAL: one of FINALS; options of train.py may follow after commas (people-30,--rate,2e-4). Every mean of two or more, every final and the
start are scored on the selection voices (clean, 10 and 4 dB, a room) and on people-selection (clean, 4 kHz, 10 dB), both halves of its speakers apart;
the least sum of both rates of phone errors chooses (with --no-digits: without the digit speakers among the selection voices). Mixtures of
what it chose with the start are scored as well. All finals and means are written as int8 (export.py), and results.json.

`folds`: from `made`, which heard no person, a final for each fifth of the speakers of people-train, that hears the other four fifths, until the
clock (seconds since 1970) says UNTIL. They judge the words of those left out (people_lists.py folds). Scored as well: their mean, and it with what ships.
"""
import itertools
import json
import os
import shutil
import subprocess
import sys
import time

import numpy as np
import torch

import from_onnx
import holdout
import train
from augment import Augment
from network import Encoder
from run_gpu import HERE, halved, together

COMMON = ["--average", "0.9997", "--rate", "4e-4", "--decay", "0.75", "--rooms", "--select", "people", "--check", "0.3", "--neural", "2",
          "--sources", "kok,es,fl,pico,ppl", "--narrow", "0.33", "--loud", "0.2", "--save", "60"]
FINALS = {
    # From the encoder of Whisper base as it is, on made speech alone: the start of all others.
    "made": COMMON + ["--rate", "5e-4", "--average", "0.9993", "--check", "0.9", "--seed", "3"],
    # From `made`, in a short run without a fifth of the people each; the last weights are taken:
    **{f"fold-{k}": COMMON + ["--people", "0.3", "--left-out", str(k), "--average", "0.999", "--check", "2", "--memory", "0.32", "--seed", str(40 + k)]
       for k in range(holdout.PEOPLE_FOLDS)},
    "people-15": COMMON + ["--people", "0.15", "--seed", "21"],
    "people-20-drop": COMMON + ["--people", "0.2", "--without", "tempo,warp", "--dropout", "0.1", "--seed", "22"],
    "people-30": COMMON + ["--people", "0.3", "--seed", "23"],
    # A second lease, from the mean of the first three:
    "more-25": COMMON + ["--people", "0.25", "--rate", "3e-4", "--seed", "31"],
    "more-35": COMMON + ["--people", "0.35", "--rate", "3e-4", "--seed", "32"],
    "more-30-drop": COMMON + ["--people", "0.3", "--without", "tempo,warp", "--dropout", "0.1", "--rate", "3e-4", "--seed", "33"],
    # A third, from the mean of those three; speech through telephones:
    "third-30": COMMON + ["--people", "0.3", "--phone", "0.25", "--no-digits", "--rate", "3e-4", "--seed", "51"],
    "third-40": COMMON + ["--people", "0.4", "--phone", "0.25", "--no-digits", "--rate", "3e-4", "--seed", "52"],
    "third-35-drop": COMMON + ["--people", "0.35", "--phone", "0.25", "--no-digits", "--without", "tempo,warp", "--dropout", "0.1", "--rate", "3e-4", "--seed", "53"],
}


class Judge:
    def __init__(self, data, like, device):
        augment = Augment(device, torch.from_numpy(np.load(f"{data}/filters.npy")))
        self.voices, self.people = (train.Selection(data, device, augment, name) for name in ("selection", "people"))
        self.net = Encoder.like(like).to(device).eval()

    def score(self, arrays):
        self.net.load(arrays)
        voices, made = [], []
        for c in train.SELECTION_NOISE + ("room",):
            voices.append(round(self.voices.score(self.net, c)[0], 2))
            rows = [r for r in self.voices.rows if not r[0].startswith(train.DIGIT_SPEAKERS)]
            made.append(round(100 * sum(r[2] for r in rows) / sum(r[1] for r in rows), 2))
        people, groups = [], {}
        for c in train.PEOPLE_NOISE:
            people.append(round(self.people.score(self.net, c)[0], 2))
            for voice, phones, errors in self.people.rows:   # people-own-a: phones, errors, clips, clips without error
                g = groups.setdefault(f"{c} {voice}", [0, 0, 0, 0])
                for i, v in enumerate((phones, errors, 1, errors == 0)):
                    g[i] += v
        half = lambda h: round(100 * sum(g[1] for k, g in groups.items() if k.endswith(h)) / sum(g[0] for k, g in groups.items() if k.endswith(h)), 3)
        v, p = float(np.mean(voices)), float(np.mean(people))
        return dict(total=round(v + p, 3), total_made=round(float(np.mean(made)) + p, 3), voices=voices, made=made, people=people, total_a=round(v + half("-a"), 3), total_b=round(v + half("-b"), 3),
                    exact={k: f"{g[3]} of {g[2]}" for k, g in sorted(groups.items())})


def export(weights, out):
    exports = []
    for name, arrays in weights.items():
        np.savez(f"{out}/{name}.out.npz", **halved(arrays))
        exports.append(subprocess.Popen([sys.executable, f"{HERE}/export.py", f"{out}/{name}.out.npz", f"{out}/{name}"], stdout=subprocess.DEVNULL))
    for e in exports:
        e.wait()


def made(data, out, seconds, start, *options):
    os.makedirs(out, exist_ok=True)
    print({n: r["steps"] for n, r in together([("made", start, FINALS["made"] + list(options))], data, out, float(seconds)).items()}, flush=True)
    export({"made": dict(np.load(f"{out}/made.npz"))}, out)
    open(f"{out}/made.done", "w").close()


def folds(data, out, until, start, shipped, *options):
    names = [f"fold-{k}" for k in range(holdout.PEOPLE_FOLDS)]
    done, weights = {}, {}
    for i, group in enumerate((names[:3], names[3:])):       # a GPU holds three of them
        seconds = (float(until) - time.time()) * len(group) / (len(names) - len(done)) - 15
        done.update(together([(n, start, FINALS[n] + list(options)) for n in group], data, out, max(1, seconds)))
        print("trained", {n: r["steps"] for n, r in done.items()}, flush=True)
        weights.update({n: dict(np.load(f"{out}/{n}.npz")) for n in group})
        export({n: weights[n] for n in group}, out)
        open(f"{out}/round-{i + 1}.done", "w").close()
    keys = [k for k in weights[names[0]] if k != "pos"]
    weights["mean-folds"] = {k: np.mean([weights[n][k] for n in names], axis=0) for k in keys}
    export({"mean-folds": weights["mean-folds"]}, out)
    first, ships = dict(np.load(start)), from_onnx.weights(shipped)
    mixed = {f"ships-and-{share:g}-folds": {k: (1 - share) * ships[k] + share * weights["mean-folds"][k] for k in keys} for share in (0.33, 0.5)}
    judge = Judge(data, first, "cuda" if torch.cuda.is_available() else "cpu")
    results = dict(finals={n: dict(steps=r["steps"], best_step=r["best_step"], hours=r["hours"], log=r["log"], arguments=r["arguments"]) for n, r in done.items()},
                   scores={n: judge.score(a) for n, a in [("made", first), *weights.items(), ("ships", ships), *mixed.items()]})
    json.dump(results, open(f"{out}/results-folds.json", "w"), indent=1)
    print(json.dumps({n: [s[k] for k in ("total", "voices", "people")] for n, s in results["scores"].items()}), flush=True)
    export(mixed, out)
    open(f"{out}/all.done", "w").close()


def main(data, out, seconds, start, *finals):
    os.makedirs(out, exist_ok=True)
    began = time.time()
    runs = [(n.split(",")[0], start, FINALS[n.split(",")[0]] + n.split(",")[1:]) for n in finals]
    done = together(runs, data, out, seconds)
    print("trained", {n: r["steps"] for n, r in done.items()}, flush=True)
    first = dict(np.load(start))
    judge = Judge(data, first, "cuda" if torch.cuda.is_available() else "cpu")
    weights = {n: dict(np.load(f"{out}/{n}.npz")) for n in done}
    for size in range(2, len(done) + 1):
        for group in itertools.combinations(done, size):
            weights["mean-" + "_".join(group)] = {k: np.mean([weights[n][k] for n in group], axis=0) for k in first if k != "pos"}
    results = dict(finals={n: dict(steps=r["steps"], best_step=r["best_step"], hours=r["hours"], log=r["log"], arguments=r["arguments"]) for n, r in done.items()},
                   scores={n: judge.score(a) for n, a in [("start", first), *weights.items()]})
    for key in ("total", "total_made", "total_a", "total_b"):
        results["least " + key] = min(weights, key=lambda n: results["scores"][n][key])
    rule = "least total_made" if any("--no-digits" in o for *_, o in runs) else "least total"
    least = weights[results[rule]]
    mixed = {f"least-and-{share:g}-start": {k: (1 - share) * least[k] + share * first[k] for k in least} for share in (0.33, 0.5)}
    results["scores"].update({n: judge.score(a) for n, a in mixed.items()})
    weights.update(mixed)
    results["seconds"] = round(time.time() - began)
    json.dump(results, open(f"{out}/results.json", "w"), indent=1)
    print(json.dumps({n: [s[k] for k in ("total", "total_made", "voices", "people")] for n, s in results["scores"].items()}), results[rule], flush=True)
    export(weights, out)
    shutil.copy(f"{out}/{results[rule]}.int8.onnx", f"{out}/least.int8.onnx")
    open(f"{out}/all.done", "w").close()
    print("exported after", round(time.time() - began), "s", flush=True)


if __name__ == "__main__":
    verb = {"made": made, "folds": folds}.get(sys.argv[1])
    if verb:
        verb(*sys.argv[2:])
    else:
        main(sys.argv[1], sys.argv[2], float(sys.argv[3]), *sys.argv[4:])
