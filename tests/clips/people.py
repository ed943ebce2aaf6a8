#!/usr/bin/env python3
"""Lists of people's clips to choose, to rehearse and to measure by.

    people.py words people-selection.tar OUT [--seed 1]
    people.py digits RECORDINGS OUT [--seed 1]

OUT/ gets 16 kHz WAV and, for `bothhands score`, of words the lists

    lone.tsv      lone digits and "yes", each with 0.4 s of its own floor before and behind
    bare.tsv      the same as they come, without room
    strings.tsv   two to four digits of one speaker, joined with gaps of 0.04 to 0.25 s
    foreign.tsv   words that are none of ours, padded likewise, but for LEFT_OUT
    bed.tsv       "bed" by itself
    narrow.tsv    lone.tsv and strings.tsv through a band of 4 kHz, as a headset in a call has it

and of each a half of the speakers: lone-a.tsv, lone-b.tsv and so on: choose on one, publish the other, and swap.

Of digits, RECORDINGS holding {digit}_{speaker}_{take}.wav of any rate, as the Free Spoken Digit Dataset has them, for every
speaker and for `bothhands rehearse --recorded` too

    SPEAKER-rehearse.tsv   20 strings of two to four digits, of the takes 0 to 24
    SPEAKER.tsv            60 others, of the takes from 25 on
    SPEAKER-pink10.tsv     these in pink noise, 10 dB below the voice

Lists for the tables of models/README.md, by the rules of the training, are made by models/train/people_lists.py.
Needs numpy, scipy, soundfile and, for words, opus-tools (opusdec). The recordings are not committed (the digits: CC BY-SA 4.0).
"""
import argparse
import csv
import hashlib
import pathlib
import subprocess
import tarfile
import tempfile
from math import gcd

import numpy as np
import soundfile
from scipy.signal import resample_poly

RATE = 16000
DIGITS = "zero one two three four five six seven eight nine".split()
# Some are words of some step, or one sound away from a word that warns: the rule of a step decides.
LEFT_OUT = "stop no on off go right".split()
# Takes of a digit before this one are rehearsed with, the others measured on.
REHEARSED = 25


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


def pink(length, rng):
    spectrum = np.fft.rfft(rng.normal(size=length))
    return np.fft.irfft(spectrum / np.sqrt(np.maximum(1, np.arange(len(spectrum)))), length)


def noisy(sound, decibels, rng):
    loud = np.abs(sound) > 0.05 * np.abs(sound).max()
    noise = pink(len(sound), rng)
    return sound + noise / noise.std() * np.sqrt((sound[loud] ** 2).mean()) * 10 ** (-decibels / 20)


def joined(takes, gaps, rng):
    """Takes, as they came and as loud as wanted, with gaps of `gaps` seconds of their own floor and room around."""
    room = floor_of(takes[0][0], int(0.4 * RATE), rng)
    parts = [room]
    for take, sound in takes:
        parts += [sound, floor_of(take, int(rng.uniform(*gaps) * RATE), rng)]
    return np.concatenate([*parts, room])


class Lists:
    """Clips as WAV, and the lists that name them."""

    def __init__(self, out):
        self.out = pathlib.Path(out).resolve()
        self.lines = {}
        (self.out / "wav").mkdir(parents=True, exist_ok=True)

    def add(self, file, sound, words, names):
        path = self.out / "wav" / f"{file}.wav"
        soundfile.write(path, np.clip(sound, -1, 1), RATE, subtype="PCM_16")
        for name in names:
            self.lines.setdefault(name, []).append(f"{path}\t{words}")

    def write(self):
        for name, lines in self.lines.items():
            (self.out / f"{name}.tsv").write_text("\n".join(lines) + "\n")
            print(f"{name}: {len(lines)}")


def words_of(source, lists, rng):
    def add(name, speaker, sound, words):
        number = sum(len(rows) for rows in lists.lines.values())
        half = "ab"[hashlib.sha256(speaker.encode()).digest()[0] % 2]
        lists.add(f"{name}-{number:05d}", sound, words, (name, f"{name}-{half}"))

    with tempfile.TemporaryDirectory() as temporary:
        with tarfile.open(source) as tar:
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
                    sound = joined([(take, take) for take in takes], (0.04, 0.25), rng)
                    add("strings", speaker, sound, " ".join(said))
                    add("narrow", speaker, narrow(sound), " ".join(said))


def digits_of(source, lists, rng):
    takes = {}
    for path in sorted(pathlib.Path(source).glob("*.wav")):
        digit, speaker, take = path.stem.split("_")
        sound, rate = soundfile.read(path)
        sound = resample_poly(sound, RATE // gcd(RATE, rate), rate // gcd(RATE, rate))
        part = takes.setdefault(speaker, ({}, {}))[int(take) >= REHEARSED]
        part.setdefault(DIGITS[int(digit)], []).append(trimmed(sound.astype(np.float32)))
    for speaker, parts in sorted(takes.items()):
        for part, count, names in ((parts[0], 20, ["-rehearse"]), (parts[1], 60, ["", "-pink10"])):
            for n in range(count):
                # Each digit first as often as another, but for nought: that is no number by itself.
                said = [DIGITS[n % 9 + 1]] + [str(rng.choice(DIGITS)) for _ in range(rng.integers(1, 4))]
                chosen = [part[d][rng.integers(len(part[d]))] for d in said]
                loud = np.median([np.abs(take).max() for take in chosen])
                sound = joined([(take, take / np.abs(take).max() * loud) for take in chosen], (0.02, 0.2), rng)
                for name in names:
                    given = noisy(sound, 10, rng) if name == "-pink10" else sound
                    given = given / np.abs(given).max() * 0.5
                    lists.add(f"{speaker}{name}-{n:02d}", given, " ".join(said), [f"{speaker}{name}"])


def main():
    args = argparse.ArgumentParser()
    args.add_argument("what", choices=["words", "digits"])
    args.add_argument("source")
    args.add_argument("out")
    args.add_argument("--seed", type=int, default=1)
    args = args.parse_args()
    lists = Lists(args.out)
    recipe = {"words": words_of, "digits": digits_of}[args.what]
    recipe(args.source, lists, np.random.default_rng(args.seed))
    lists.write()


if __name__ == "__main__":
    main()
