#!/usr/bin/env python3
"""Strings of single digits of a few people, to rehearse with and to measure by.

    digits.py recordings OUT [--seed 1]

`recordings` holds {digit}_{speaker}_{take}.wav of any rate, as the Free Spoken Digit Dataset has them. For every speaker, OUT/
gets WAV of 16 kHz and, for `bothhands rehearse --recorded` and `bothhands score`, the lists

    SPEAKER-rehearse.tsv   20 strings of two to four digits, of the takes 0 to 24
    SPEAKER.tsv            60 others, of the takes from 25 on
    SPEAKER-pink10.tsv     these in pink noise, 10 dB below the voice

Needs numpy, scipy and soundfile. The recordings are not committed (CC BY-SA 4.0).
"""
import argparse
import pathlib
from math import gcd

import numpy as np
import soundfile
from scipy.signal import resample_poly

from people import DIGITS, RATE, floor_of, trimmed

REHEARSED = 25


def pink(length, rng):
    spectrum = np.fft.rfft(rng.normal(size=length))
    return np.fft.irfft(spectrum / np.sqrt(np.maximum(1, np.arange(len(spectrum)))), length)


def noisy(sound, decibels, rng):
    loud = np.abs(sound) > 0.05 * np.abs(sound).max()
    noise = pink(len(sound), rng)
    return sound + noise / noise.std() * np.sqrt((sound[loud] ** 2).mean()) * 10 ** (-decibels / 20)


def main():
    args = argparse.ArgumentParser()
    args.add_argument("recordings")
    args.add_argument("out")
    args.add_argument("--seed", type=int, default=1)
    args = args.parse_args()
    rng = np.random.default_rng(args.seed)
    out = pathlib.Path(args.out).resolve()
    (out / "wav").mkdir(parents=True, exist_ok=True)
    takes = {}
    for path in sorted(pathlib.Path(args.recordings).glob("*.wav")):
        digit, speaker, take = path.stem.split("_")
        sound, rate = soundfile.read(path)
        sound = resample_poly(sound, RATE // gcd(RATE, rate), rate // gcd(RATE, rate))
        part = takes.setdefault(speaker, ({}, {}))[int(take) >= REHEARSED]
        part.setdefault(DIGITS[int(digit)], []).append(trimmed(sound.astype(np.float32)))
    for speaker, parts in sorted(takes.items()):
        for part, count, names in ((parts[0], 20, ["-rehearse"]), (parts[1], 60, ["", "-pink10"])):
            lists = {name: [] for name in names}
            for n in range(count):
                # Each digit first as often as another, but for nought: that is no number by itself.
                said = [DIGITS[n % 9 + 1]] + [str(rng.choice(DIGITS)) for _ in range(rng.integers(1, 4))]
                chosen = [part[d][rng.integers(len(part[d]))] for d in said]
                loud = np.median([np.abs(take).max() for take in chosen])
                room = floor_of(chosen[0], int(0.4 * RATE), rng)
                joined = [room]
                for take in chosen:
                    joined += [take / np.abs(take).max() * loud, floor_of(take, int(rng.uniform(0.02, 0.2) * RATE), rng)]
                sound = np.concatenate([*joined, room])
                for name in names:
                    given = noisy(sound, 10, rng) if name == "-pink10" else sound
                    path = out / "wav" / f"{speaker}{name}-{n:02d}.wav"
                    soundfile.write(path, given / np.abs(given).max() * 0.5, RATE, subtype="PCM_16")
                    lists[name].append(f"{path}\t{' '.join(said)}")
            for name, lines in lists.items():
                (out / f"{speaker}{name}.tsv").write_text("\n".join(lines) + "\n")
                print(f"{speaker}{name}: {len(lines)}")


if __name__ == "__main__":
    main()
