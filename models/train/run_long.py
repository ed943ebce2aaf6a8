"""The third, long stage: four finals from the same weights, two a GPU, and the mean that serves best.

    python run_long.py DATA_DIR OUT_DIR SECONDS START.npz [NEW_SPEECH_DIR LABELS.json]

After 55 % of the time the finals take in what speak_neural.py has spoken into NEW_SPEECH_DIR by then.

START.npz: average.npz of run_gpu.py, or the model that ships (from_onnx.py). The finals differ in seed, augmentation and
loss, so that their mean is worth more. Every mean of two or more is scored on the selection set, clean, in noise and
in a room; the best becomes average.npz, the best single final best.npz (both fp16), with results.json.
"""
import itertools
import json
import os
import sys
import threading
import time

import numpy as np
import torch

import train
import unpack
from augment import Augment
from network import Encoder
from run_gpu import halved, together

COMMON = ["--average", "0.9997", "--rate", "5e-4", "--rooms", "--select", "room", "--check", "0.02"]
NO_WARP = ["--without", "tempo,warp", "--dropout", "0.1"]
FINALS = {
    "long-agree": COMMON + ["--agree", "0.2", "--batch", "160", "--seed", "11"],
    "long-agree-drop": COMMON + NO_WARP + ["--agree", "0.2", "--batch", "160", "--seed", "12"],
    "long-plain": COMMON + ["--neural", "5", "--seed", "13"],
    "long-plain-drop": COMMON + NO_WARP + ["--seed", "14"],
}


def main(data, out, seconds, start, *spoken):
    os.makedirs(out, exist_ok=True)
    began, more = time.time(), []
    if spoken:
        more = ["--more", f"{data}/more"]
        threading.Timer(0.55 * seconds - 15, unpack.collect, (*spoken, f"{data}/more")).start()
    done = together([(n, start, o + more) for n, o in FINALS.items()], data, out, seconds)
    selection = train.Selection(data, "cuda", Augment("cuda", torch.from_numpy(np.load(f"{data}/filters.npy"))))
    net = Encoder().to("cuda").eval()

    def score(arrays):
        net.load(arrays)
        scores = [selection.score(net, c) for c in train.SELECTION_NOISE + ("room",)]
        return dict(total=round(sum(s[0] for s in scores), 3), per=[round(s[0], 2) for s in scores], exact=[round(s[1], 1) for s in scores])

    finals = {n: dict(np.load(f"{out}/{n}.npz")) for n in done}
    mean = lambda names: {k: np.mean([finals[n][k] for n in names], axis=0) for k in finals[names[0]]}
    results = dict(finals={n: dict(best=r["best"], best_step=r["best_step"], steps=r["steps"], hours=r["hours"], log=r["log"]) for n, r in done.items()},
                   start=score(dict(np.load(start))), scores={n: score(a) for n, a in finals.items()}, means={})
    groups = [g for size in range(2, len(finals) + 1) for g in itertools.combinations(finals, size)]
    for g in groups:
        results["means"]["+".join(g)] = score(mean(g))
    results["best"] = min(finals, key=lambda n: results["scores"][n]["total"])
    chosen = min(groups, key=lambda g: results["means"]["+".join(g)]["total"]) if groups else (results["best"],)
    results["average"] = list(chosen)
    np.savez(f"{out}/best.npz", **halved(finals[results["best"]]))
    np.savez(f"{out}/average.npz", **halved(mean(chosen)))
    results["seconds"] = round(time.time() - began)
    json.dump(results, open(f"{out}/results.json", "w"), indent=1)
    print(json.dumps({k: results[k] for k in ("start", "scores", "means", "best", "average", "seconds")}), flush=True)
    open(f"{out}/all.done", "w").close()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), *sys.argv[4:7])
