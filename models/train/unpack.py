"""On the GPU machine: decode the parcel of pack.py.    python unpack.py PARCEL_DIR DATA_DIR"""
import json
import os
import shutil
import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import soundfile


def decode(path):
    return soundfile.read(path, dtype="int16")[0]


def main(parcel, out):
    os.makedirs(out, exist_ok=True)
    index = json.load(open(f"{parcel}/index.json"))
    with ProcessPoolExecutor(12) as pool:
        decoded = list(pool.map(decode, [f"{parcel}/{s['file']}" for s in index]))
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
    selection = json.load(open(f"{parcel}/selection.json"))
    np.savez(f"{out}/selection.npz", x=decode(f"{parcel}/selection.opus"), n=selection["n"])
    json.dump(selection["entries"], open(f"{out}/selection.json", "w"))
    for name in ("filters.npy", "encoder.npz"):
        shutil.copy(f"{parcel}/{name}", out)
    print("unpacked", len(n), "utterances,", round(sum(n) / 57.6e6, 2), "h", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:3])
