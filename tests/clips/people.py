#!/usr/bin/env python3
"""Lists of people's clips to choose and to measure by.

    people.py people-selection.tar OUT [--seed 1]

OUT/ gets 16 kHz WAV and, for `bothhands score`, the lists

    lone.tsv      lone digits and "yes", each with 0.4 s of its own floor before and behind
    bare.tsv      the same as they come, without room
    strings.tsv   two to four digits of one speaker, joined with gaps of 0.04 to 0.25 s
    foreign.tsv   words that are none of ours, padded likewise, but for LEFT_OUT
    bed.tsv       "bed" by itself
    narrow.tsv    lone.tsv and strings.tsv through a band of 4 kHz, as a headset in a call has it

and of each a half of the speakers: lone-a.tsv, lone-b.tsv and so on: choose on one, publish the other, and swap.
Needs numpy, soundfile and opus-tools (opusdec). The recordings are not committed.
"""
import argparse
import csv
import hashlib
import pathlib
import subprocess
import tarfile
import tempfile

import numpy as np
import soundfile

RATE = 16000
DIGITS = "zero one two three four five six seven eight nine".split()
# Some are words of some step, or one sound away from a word that warns: the rule of a step decides.
LEFT_OUT = "stop no on off go right".split()


def floor_of(sound, length, rng):
    """`length` samples that sound like the quietest moments of `sound`."""
    size = 480
    frames = sound[: len(sound) // size * size].reshape(-1, size)
    if len(frames) == 0:
        return np.zeros(length, np.float32)
    # Digital silence at an end is no floor of the room.
    power = (frames**2).mean(1)
    real = np.flatnonzero(power > 1e-10)
    order = real[np.argsort(power[real])][: max(3, len(real) // 10)]
    if len(order) == 0:
        return np.zeros(length, np.float32)
    ramp = np.linspace(0, 1, size // 2, dtype=np.float32)
    window = np.concatenate([ramp, ramp[::-1]]) ** 0.5
    out = np.zeros(length + 2 * size, np.float32)
    for at in range(0, length + size, size // 2):
        out[at : at + size] += window * frames[rng.choice(order)] * rng.choice([-1, 1])
    return out[size : size + length]


def trimmed(sound):
    """Without what is quiet at both ends."""
    size = 160
    frames = sound[: len(sound) // size * size].reshape(-1, size)
    level = np.sqrt((frames**2).mean(1))
    loud = np.flatnonzero(level > 0.06 * np.quantile(level, 0.98))
    if len(loud) == 0:
        return sound
    return sound[max(0, loud[0] - 3) * size : (loud[-1] + 6) * size]


def narrow(sound):
    """A band of 300 to 3400 Hz."""
    spectrum = np.fft.rfft(sound)
    f = np.fft.rfftfreq(len(sound), 1 / RATE)
    gain = np.clip((f - 200) / 100, 0, 1) * np.clip((3800 - f) / 400, 0, 1)
    return np.fft.irfft(spectrum * gain, len(sound)).astype(np.float32)


def main():
    args = argparse.ArgumentParser()
    args.add_argument("tar")
    args.add_argument("out")
    args.add_argument("--seed", type=int, default=1)
    args = args.parse_args()
    rng = np.random.default_rng(args.seed)
    out = pathlib.Path(args.out).resolve()
    wav = out / "wav"
    wav.mkdir(parents=True, exist_ok=True)
    lists = {}

    def add(name, speaker, sound, words):
        number = sum(len(rows) for rows in lists.values())
        path = wav / f"{name}-{number:05d}.wav"
        soundfile.write(path, np.clip(sound, -1, 1), RATE, subtype="PCM_16")
        half = "ab"[hashlib.sha256(speaker.encode()).digest()[0] % 2]
        for list_name in (name, f"{name}-{half}"):
            lists.setdefault(list_name, []).append(f"{path}\t{words}")

    with tempfile.TemporaryDirectory() as temporary:
        with tarfile.open(args.tar) as tar:
            tar.extractall(temporary, filter="data")
        index = next(pathlib.Path(temporary).rglob("clips.tsv"))
        rows = list(csv.DictReader(open(index), delimiter="\t"))
        speakers = {}
        for row in rows:
            target = pathlib.Path(temporary) / "one.wav"
            subprocess.run(
                ["opusdec", "--quiet", "--rate", str(RATE), index.parent / row["path"], target],
                check=True,
            )
            sound, _ = soundfile.read(target, dtype="float32")
            word, speaker = row["transcript"], row["speaker"]
            room = int(0.4 * RATE)
            padded = np.concatenate([floor_of(sound, room, rng), sound, floor_of(sound, room, rng)])
            if word in DIGITS or word == "yes":
                add("lone", speaker, padded, word)
                add("bare", speaker, sound, word)
                add("narrow", speaker, narrow(padded), word)
            elif word == "bed":
                add("bed", speaker, padded, "")
                add("foreign", speaker, padded, "")
            elif word not in LEFT_OUT:
                add("foreign", speaker, padded, "")
            if word in DIGITS:
                speakers.setdefault(speaker, {}).setdefault(word, []).append(sound)
        for speaker, words in sorted(speakers.items()):
            # Each digit as often as another, however many clips there are of it.
            have = sorted(words)
            for length in (2, 3, 4):
                # Not nought first: that is no number by itself.
                first = [d for d in have if d != "zero"]
                if not first:
                    continue
                for _ in range(2):
                    said = [rng.choice(first)] + [rng.choice(have) for _ in range(length - 1)]
                    takes = [trimmed(words[d][rng.integers(len(words[d]))]) for d in said]
                    room = floor_of(takes[0], int(0.4 * RATE), rng)
                    parts = [room]
                    for take in takes:
                        parts += [take, floor_of(take, int(rng.uniform(0.04, 0.25) * RATE), rng)]
                    sound = np.concatenate([*parts, room])
                    add("strings", speaker, sound, " ".join(said))
                    add("narrow", speaker, narrow(sound), " ".join(said))
    for name, lines in lists.items():
        (out / f"{name}.tsv").write_text("\n".join(lines) + "\n")
        print(f"{name}: {len(lines)}")


if __name__ == "__main__":
    main()
