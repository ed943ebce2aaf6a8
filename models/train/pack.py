"""Make the parcel that travels to the GPU: speech as Opus, labels as phones, the encoder to start from.

    python pack.py SENTENCES_DIR SPEECH_DIR[,SPEECH_DIR...] SET_DIR FSDD_DIR encoder.npz PARCEL_DIR [quick]
    python pack.py selection SPEECH_DIR[,...] SET_DIR PARCEL_DIR          only what chooses: all speech is made on the other machine

Utterances whose sentence is held out (holdout.py) are dropped here whatever made them, and counted.
"""
import glob
import json
import os
import random
import shutil
import subprocess
import sys

import numpy as np
import soundfile

import decoder
import holdout
import lexicon
import testset
import voices

LOUDNESS_OF_DIGITS = 0.08
FSDD_STRINGS = 800


def phones(text):
    index = {p: i for i, p in enumerate(lexicon.PHONES)}
    return [index[p] for w in text.split() for p in lexicon.words()[w]]


def human_strings(folder, speakers):
    """Digit strings from the human recordings, for the comparison model "with FSDD" only."""
    rng, out = random.Random(77), []
    cache = {}
    for _ in range(FSDD_STRINGS):
        speaker, parts, words = rng.choice(speakers), [], []
        tight = rng.random() < 0.35
        for _ in range(rng.randint(1, 6)):
            d, take = rng.randint(0, 9), rng.randint(0, 49)
            path = f"{folder}/{d}_{speaker}_{take}.wav"
            if path not in cache:
                cache[path] = testset.level(voices.to_16k(*soundfile.read(path)), LOUDNESS_OF_DIGITS)
            parts += [cache[path], np.zeros(int(voices.RATE * (rng.uniform(0, 0.03) if tight else rng.uniform(0, 0.25))))]
            words.append(testset.DIGIT_NAMES[d])
        out.append((voices.int16(np.concatenate(parts)), " ".join(words), "fsdd:" + speaker))
    return out


def encode(out, name, samples, quick):
    """Write one shard and return its file name. A file of the right length is left as it is.

    Opus (opus-tools), 14 kbit/s for the neural voices and 11 for the rest; `quick` writes 4-bit ADPCM instead, five
    times as large but almost free of work."""
    for ending in ("opus", "wav"):
        path = f"{out}/{name}.{ending}"
        if os.path.exists(path) and abs(soundfile.info(path).frames - len(samples)) <= 8000:
            return f"{name}.{ending}"
    if quick:
        soundfile.write(f"{out}/{name}.wav", samples, 16000, subtype="IMA_ADPCM")
        return f"{name}.wav"
    rate = "14" if name[0] in "wps" else "11"
    subprocess.run(["opusenc", "--quiet", "--raw", "--raw-rate", "16000", "--raw-chan", "1", "--bitrate", rate, "--speech",
                    "--comp", "2", "-", f"{out}/{name}.opus"], input=samples.tobytes(), check=True)
    return f"{name}.opus"


def shards(folders):
    for folder in folders:
        for path in sorted(glob.glob(f"{folder}/*.npz")):
            name = os.path.basename(path)[:-4]
            if ".part" in name or name.startswith(f"w{holdout.NEURAL_SELECTION_WORKER}_"):
                continue
            data = np.load(path)
            x, ends = data["x"], np.cumsum(np.r_[0, data["n"]])
            yield name, [(x[ends[i]:ends[i + 1]], str(t), str(g)) for i, (t, g) in enumerate(zip(data["t"], data["g"]))]


def fit_to_train(items, held):
    """[(samples, labels, voice)] of what may be trained on, and how many sentences were held out."""
    kept, dropped = [], 0
    for x, text, voice in items:
        if holdout.is_held_sentence(text, held):
            dropped += 1
            continue
        label = phones(text)
        if len(label) < len(x) / 16000 * 50 * 0.8 / 1.25 and len(x) < 9 * 16000:         # room for CTC after speeding up
            kept.append((x, label, voice))
    return kept, dropped


def held_sentences(sentence_dir):
    return {s for part in ("test", "selection") for s in json.load(open(f"{sentence_dir}/{part}.json"))}


def neural_selection(folders):
    for folder in folders:
        for path in sorted(glob.glob(f"{folder}/w{holdout.NEURAL_SELECTION_WORKER}_*.npz")):
            data = np.load(path)
            x, ends = data["x"], np.cumsum(np.r_[0, data["n"]])
            for i, t in enumerate(data["t"]):
                yield x[ends[i]:ends[i + 1]], str(t)


def selection_set(speech, set_dir, out, quick=False):
    """selection.json and the clips it tells of, and the filters; their number."""
    clips, entries = [], []
    data = np.load(f"{set_dir}/selection.npz")
    x, ends = data["x"], np.cumsum(np.r_[0, data["n"]])
    for i, e in enumerate(json.load(open(f"{set_dir}/selection.json"))):
        clips.append(x[ends[i]:ends[i + 1]])
        entries.append(dict(voice=e["voice"], labels=phones(e["text"])))
    for samples, text in neural_selection(speech):
        clips.append(np.concatenate([np.zeros(3200, np.int16), samples, np.zeros(3200, np.int16)]))
        entries.append(dict(voice="kok-selection", labels=phones(text)))
    file = encode(out, "selection", np.concatenate(clips), quick)
    json.dump(dict(file=file, n=[len(c) for c in clips], entries=entries), open(f"{out}/selection.json", "w"), separators=(",", ":"))
    np.save(f"{out}/filters.npy", decoder.mel_filters())
    return len(clips)


def main(sentence_dir, speech, set_dir, fsdd, encoder, out, quick=False):
    os.makedirs(out, exist_ok=True)
    held = held_sentences(sentence_dir)
    folders = speech.split(",")
    _, trainable = holdout.fsdd_speakers(os.path.basename(f).split("_")[1] for f in glob.glob(f"{fsdd}/*.wav"))
    index, dropped = [], 0
    everything = list(shards(folders)) + [("fsdd", human_strings(fsdd, trainable))]
    for name, items in everything:
        kept, left_out = fit_to_train(items, held)
        dropped += left_out
        file = encode(out, name, np.concatenate([k[0] for k in kept]), quick)
        source = kept[0][2].split(":")[0].split("-")[0]
        index.append(dict(file=file, source=source, n=[len(k[0]) for k in kept], labels=[k[1] for k in kept]))
    json.dump(index, open(f"{out}/index.json", "w"), separators=(",", ":"))

    count = selection_set(folders, set_dir, out, quick)
    shutil.copy(encoder, f"{out}/encoder.npz")
    hours = {}
    for s in index:
        hours[s["source"]] = hours.get(s["source"], 0) + sum(s["n"]) / 57.6e6
    size = sum(os.path.getsize(f"{out}/{f}") for f in os.listdir(out)) / 2 ** 20
    print({k: round(v, 2) for k, v in hours.items()}, f"dropped {dropped} held-out sentences, selection {count}, {size:.1f} MiB")


if __name__ == "__main__":
    if sys.argv[1] == "selection":
        os.makedirs(sys.argv[4], exist_ok=True)
        with open(f"{sys.argv[4]}/index.json", "w") as f:
            f.write("[]")
        print(selection_set(sys.argv[2].split(","), *sys.argv[3:5]), "clips")
    else:
        main(*sys.argv[1:7], quick="quick" in sys.argv[7:])
