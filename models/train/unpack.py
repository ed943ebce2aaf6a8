"""On the GPU machine: decode the parcel of pack.py.

    python unpack.py PARCEL_DIR[,PARCEL_DIR...] DATA_DIR [SPEECH_DIR SENTENCES_DIR]

SPEECH_DIR: what was made on this machine (several: comma separated); it joins the training data as pack.py would have packed it.
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


def made_here(folder, sentences):
    """[(samples, labels, source)] from the shards of speak_fast.py."""
    import pack
    held, out, dropped = pack.held_sentences(sentences), [], 0
    for _, items in pack.shards(folder.split(",")):
        kept, left_out = pack.fit_to_train(items, held)
        out += [(x, label, voice.split(":")[0].split("-")[0]) for x, label, voice in kept]
        dropped += left_out
    print("made here:", len(out), "utterances,", dropped, "held-out sentences dropped", flush=True)
    return out


def main(parcel, out, speech=None, sentences=None):
    os.makedirs(out, exist_ok=True)
    folders = parcel.split(",")
    find = lambda name: next(f"{d}/{name}" for d in folders if os.path.exists(f"{d}/{name}"))
    index = json.load(open(find("index.json")))
    with ProcessPoolExecutor(12) as pool:
        decoded = list(pool.map(decode, [find(s["file"]) for s in index]))
    pieces, n, labels, source = [], [], [], []                # an index may be empty: run_people.sh makes all its speech there
    for shard, x in zip(index, decoded):
        want = sum(shard["n"])
        assert abs(len(x) - want) <= 8000, (shard["file"], len(x), want)
        pieces.append(np.pad(x, (0, max(0, want - len(x))))[:want])
        n += shard["n"]
        labels += shard["labels"]
        source += [shard["source"]] * len(shard["n"])
    for x, label, kind in made_here(speech, sentences) if speech else []:
        pieces.append(x)
        n.append(len(x))
        labels.append(label)
        source.append(kind)
    np.save(f"{out}/train.npy", np.concatenate(pieces))
    json.dump(dict(n=n, labels=labels, source=source), open(f"{out}/train.json", "w"))
    selection = json.load(open(find("selection.json")))
    np.savez(f"{out}/selection.npz", x=decode(find(selection["file"])), n=selection["n"])
    json.dump(selection["entries"], open(f"{out}/selection.json", "w"))
    shutil.copy(find("filters.npy"), out)
    for folder in folders:
        if os.path.exists(f"{folder}/encoder.npz"):          # run_long.py starts from other weights
            shutil.copy(f"{folder}/encoder.npz", out)
    hours = {k: round(sum(a for a, b in zip(n, source) if b == k) / 57.6e6, 2) for k in sorted(set(source))}
    print("unpacked", len(n), "utterances, hours", hours, flush=True)


def spoken(folder, labels):
    """(samples, labels) of the neural speech that was made on this machine meanwhile (speak_neural.py follow)."""
    label = json.load(open(labels))
    for path in sorted(glob.glob(f"{folder}/w*.npz")):
        if ".part" in path:
            continue
        shard = np.load(path)
        x, ends = shard["x"], np.cumsum(np.r_[0, shard["n"]])
        for i, text in enumerate(shard["t"]):
            samples = x[ends[i]:ends[i + 1]]
            if len(label[str(text)]) < len(samples) / 16000 * 32:
                yield samples, label[str(text)]


def collect(folder, labels, prefix):
    """That speech as PREFIX.npy and PREFIX.json, for train.py --more."""
    found = list(spoken(folder, labels))
    if not found:
        return
    np.save(f"{prefix}.npy", np.concatenate([x for x, _ in found]))
    json.dump(dict(n=[len(x) for x, _ in found], labels=[l for _, l in found], source=["kok"] * len(found)), open(f"{prefix}.part", "w"))
    os.rename(f"{prefix}.part", f"{prefix}.json")
    print("collected", len(found), "utterances,", round(sum(len(x) for x, _ in found) / 57.6e6, 2), "h", flush=True)


def extend(data, folder, labels):
    """Add that speech to the training data."""
    for _ in range(90):                                      # let the speakers finish their last shard
        if subprocess.run(["pgrep", "-f", "speak_neural.py"], stdout=subprocess.DEVNULL).returncode:
            break
        time.sleep(1)
    index = json.load(open(f"{data}/train.json"))
    pieces = [np.load(f"{data}/train.npy")]
    for samples, label in spoken(folder, labels):
        pieces.append(samples)
        index["n"].append(len(samples))
        index["labels"].append(label)
        index["source"].append("kok")
    before = len(pieces[0])
    np.save(f"{data}/train.npy", np.concatenate(pieces))
    json.dump(index, open(f"{data}/train.json", "w"))
    print("added", len(pieces) - 1, "utterances,", round((sum(map(len, pieces)) - before) / 57.6e6, 2), "h", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:5])
