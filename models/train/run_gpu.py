"""The whole training run on a machine with one or more GPUs, without a pause.

    python run_gpu.py DATA_DIR OUT_DIR STAGE_1_SECONDS STAGE_2_SECONDS [NEW_SPEECH_DIR LABELS.json]

Stage 1: the recipe, the recipe less one augmentation each, with FSDD, with another rate: side by side, short.
Stage 2: the finals, longer, each from a stage 1 checkpoint that heard nothing it should not have.
The winner without FSDD, the average of all finals without FSDD, and the final with FSDD are written as
fp16 (best.npz, average.npz, fsdd.npz), with results.json.
"""
import json
import os
import subprocess
import sys
import time

import numpy as np
import torch

HERE = os.path.dirname(os.path.abspath(__file__))
CLEAN, WITH_FSDD = "kok,es,fl,pip", "kok,es,fl,pip,fsdd"

STAGE_1 = {
    "base": [],
    "no-tempo": ["--without", "tempo"],
    "no-join": ["--without", "join"],
    "no-machine": ["--without", "machine"],
    "no-warp": ["--without", "warp"],
    "no-reverb": ["--without", "reverb"],
    "fast-rate": ["--rate", "5e-4"],
    "fsdd": ["--sources", WITH_FSDD, "--human", "2"],
}
# An augmentation is dropped from one of the finals if doing without it was better by this share.
BETTER = 0.97


def start(name, data, out, first, seconds, gpu, options):
    command = [sys.executable, f"{HERE}/train.py", name, "--data", data, "--out", out, "--start", first,
               "--seconds", str(seconds)] + options
    env = dict(os.environ, CUDA_VISIBLE_DEVICES=str(gpu), OMP_NUM_THREADS="2", PYTHONUNBUFFERED="1")
    return subprocess.Popen(command, env=env, stdout=open(f"{out}/{name}.log", "w"), stderr=subprocess.STDOUT)


def together(runs, data, out, seconds):
    gpus = max(1, torch.cuda.device_count())
    processes = [start(name, data, out, first, seconds, i % gpus, options) for i, (name, first, options) in enumerate(runs)]
    for p in processes:
        p.wait()
    return {name: json.load(open(f"{out}/{name}.json")) for name, *_ in runs if os.path.exists(f"{out}/{name}.json")}


def halved(arrays):
    return {k: v.astype(np.float16) for k, v in arrays.items()}


def score(arrays, data):
    """Selection score of a set of weights, as train.py computes it."""
    sys.path.insert(0, HERE)
    import train
    from augment import Augment
    from network import Encoder
    device = "cuda"
    selection = train.Selection(data, device, Augment(device, torch.from_numpy(np.load(f"{data}/filters.npy"))))
    net = Encoder().to(device).eval()
    net.load(arrays)
    scores = [selection.score(net, snr) for snr in train.SELECTION_NOISE]
    return dict(total=round(sum(s[0] for s in scores), 3), per=[round(s[0], 2) for s in scores], exact=[round(s[1], 1) for s in scores])


def main(data, out, first_seconds, second_seconds, *extra):
    os.makedirs(out, exist_ok=True)
    began = time.time()
    encoder = f"{data}/encoder.npz"
    one = together([(n, encoder, o) for n, o in STAGE_1.items()], data, out, first_seconds)
    base = one["base"]["best"]
    harmful = [n[3:] for n in one if n.startswith("no-") and one[n]["best"] < BETTER * base]
    rate = "5e-4" if one.get("fast-rate", {"best": 1e9})["best"] < base else "2.5e-4"
    clean = min((n for n in one if n != "fsdd"), key=lambda n: one[n]["best"])
    print("stage 1", {n: r["best"] for n, r in one.items()}, "harmful", harmful, "rate", rate, "from", clean, flush=True)
    open(f"{out}/stage1.done", "w").close()

    if extra:
        sys.path.insert(0, HERE)
        import unpack
        unpack.extend(data, *extra)
    from_clean = f"{out}/{clean}.npz"
    common = ["--average", "0.9996", "--rate", rate]
    runs = [("final-all", from_clean, common),
            ("final-drop", from_clean, common + (["--without", ",".join(harmful)] if harmful else []) + ["--dropout", "0.1", "--seed", "2"]),
            ("final-fsdd", f"{out}/fsdd.npz" if "fsdd" in one else encoder, common + ["--sources", WITH_FSDD, "--human", "2"]),
            ("final-neural", from_clean, common + ["--neural", "6", "--seed", "3"])]
    two = together(runs, data, out, second_seconds)
    results = dict(stage1={n: dict(best=r["best"], steps=r["steps"], log=r["log"][-1]) for n, r in one.items()},
                   stage2={n: dict(best=r["best"], steps=r["steps"], log=r["log"]) for n, r in two.items()},
                   harmful=harmful, rate=rate, started_from=clean)
    finals = {n: dict(np.load(f"{out}/{n}.npz")) for n in two}
    clean_finals = [n for n in finals if n != "final-fsdd"]
    average = {k: np.mean([finals[n][k] for n in clean_finals], axis=0) for k in finals[clean_finals[0]]}
    results["average"] = score(average, data)
    results["scores"] = {n: score(finals[n], data) for n in finals}
    best = min(clean_finals, key=lambda n: results["scores"][n]["total"])
    results["best"] = best
    np.savez(f"{out}/best.npz", **halved(finals[best]))
    np.savez(f"{out}/average.npz", **halved(average))
    if "final-fsdd" in finals:
        np.savez(f"{out}/fsdd.npz.out", **halved(finals["final-fsdd"]))
        os.rename(f"{out}/fsdd.npz.out.npz", f"{out}/with-fsdd.npz")
    results["seconds"] = round(time.time() - began)
    json.dump(results, open(f"{out}/results.json", "w"), indent=1)
    print(json.dumps({k: results[k] for k in ("scores", "average", "best", "seconds")}), flush=True)
    open(f"{out}/all.done", "w").close()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), float(sys.argv[4]), *sys.argv[5:7])
