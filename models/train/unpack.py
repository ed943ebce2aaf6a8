"""On the GPU machine: decode the parcel of pack.py.

    python unpack.py PARCEL_DIR[,PARCEL_DIR...] DATA_DIR
"""
import glob
import json
import os
import shutil
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import soundfile


def decode(path):
    return soundfile.read(path, dtype="int16")[0]


def main(parcel, out):
    os.makedirs(out, exist_ok=True)
    folders = parcel.split(",")
    find = lambda name: next(f"{d}/{name}" for d in folders if os.path.exists(f"{d}/{name}"))
    index = json.load(open(find("index.json")))
    with ProcessPoolExecutor(12) as pool:
        decoded = list(pool.map(decode, [find(s["file"]) for s in index]))
    pieces, n, labels, source = [], [], [], []
    for shard, x in zip(index, decoded):
        want = sum(shard["n"])
        assert abs(len(x) - want) <= 8000, (shard["file"], len(x), want)
        pieces.append(np.pad(x, (0, max(0, want - len(x))))[:want])
        n += shard["n"]
        labels += shard["labels"]
        source += [shard["source"]] * len(shard["n"])
    np.save(f"{out}/train.npy", np.concatenate(pieces))
    json.dump(dict(n=n, labels=labels, source=source), open(f"{out}/train.json", "w"))
    selection = json.load(open(find("selection.json")))
    np.savez(f"{out}/selection.npz", x=decode(find(selection["file"])), n=selection["n"])
    json.dump(selection["entries"], open(f"{out}/selection.json", "w"))
    for name in ("filters.npy", "encoder.npz"):
        shutil.copy(find(name), out)
    print("unpacked", len(n), "utterances,", round(sum(n) / 57.6e6, 2), "h", flush=True)


def extend(data, folder, labels):
    """Add neural speech that was made on this machine meanwhile (speak_neural.py follow)."""
    for _ in range(90):                                      # let the speakers finish their last shard
        if subprocess.run(["pgrep", "-f", "speak_neural.py"], stdout=subprocess.DEVNULL).returncode:
            break
        time.sleep(1)
    label = json.load(open(labels))
    index = json.load(open(f"{data}/train.json"))
    pieces = [np.load(f"{data}/train.npy")]
    for path in sorted(glob.glob(f"{folder}/w*.npz")):
        if ".part" in path:
            continue
        shard = np.load(path)
        x, ends = shard["x"], np.cumsum(np.r_[0, shard["n"]])
        for i, text in enumerate(shard["t"]):
            samples = x[ends[i]:ends[i + 1]]
            if len(label[str(text)]) < len(samples) / 16000 * 32:
                pieces.append(samples)
                index["n"].append(len(samples))
                index["labels"].append(label[str(text)])
                index["source"].append("kok")
    before = len(pieces[0])
    np.save(f"{data}/train.npy", np.concatenate(pieces))
    json.dump(index, open(f"{data}/train.json", "w"))
    print("added", len(pieces) - 1, "utterances,", round((sum(map(len, pieces)) - before) / 57.6e6, 2), "h", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:3])
