"""Does a voice become clearer when its long-term spectrum is brought to the usual one?

    python spectrum.py ROOT PROGRAM

Per-speaker normalisation as a rehearsal could do it: the twenty phrases of `bothhands rehearse` by each of the two
flite voices that training never hears; the difference between their mean log spectrum and that of the other test
voices becomes a filter, applied by nothing, half or wholly to that voice's test recordings (tests/clips/make.sh full).
ROOT is the repository, PROGRAM a build of bothhands. Needs flite, numpy, scipy, soundfile.
"""
import json
import os
import subprocess
import sys
import tempfile

import numpy as np
import soundfile
from scipy.signal import fftconvolve, firwin2

UNSEEN = ("awb", "kal16")
SIZE = 512


def mono(path):
    samples, _ = soundfile.read(path)
    return samples if samples.ndim == 1 else samples[:, 0]


def mean_log_spectrum(paths):
    """Over the louder frames, without the level."""
    total, count = np.zeros(SIZE // 2 + 1), 0
    for path in paths:
        frames = np.lib.stride_tricks.sliding_window_view(mono(path), SIZE)[::160] * np.hanning(SIZE)
        power = np.abs(np.fft.rfft(frames, axis=1)) ** 2
        loud = power.sum(1) > power.sum(1).max() * 1e-3
        total += np.log(power[loud] + 1e-9).sum(0)
        count += loud.sum()
    mean = total / count
    return mean - mean[10:200].mean()


def smooth(curve, width=9):
    return np.convolve(np.pad(curve, width // 2, "edge"), np.ones(width) / width, "valid")


def readings(root, name):
    rows = [line.rstrip("\n").split("\t") for line in open(f"{root}/tests/cache/{name}.tsv")]
    return [(f"{root}/tests/cache/{row[0]}", row[1]) for row in rows if len(row) > 1 and row[1]]


def rehearsed(program, voice, folder):
    phrases = subprocess.run([program, "rehearse", "x", "--list"], capture_output=True, text=True, check=True).stdout
    paths = []
    for n, phrase in enumerate(phrases.splitlines()):
        path = f"{folder}/rehearsed-{n}.wav"
        subprocess.run(["flite", "-voice", voice, "-t", phrase.replace("megohms", "meg ohms"), "-o", path], check=True)
        paths.append(path)
    return paths


def main(root, program):
    usual = mean_log_spectrum([p for p, _ in readings(root, "clean") if not any(f"/{v}/" in p for v in UNSEEN)][::4])
    print("| voice, condition | filter | n | likeliest right | exact | wrong and taken |\n| --- | --- | --- | --- | --- | --- |")
    for voice in UNSEEN:
        with tempfile.TemporaryDirectory() as folder:
            # Half of a difference of powers is one of amplitudes.
            missing = smooth(usual - mean_log_spectrum(rehearsed(program, voice, folder))) / 2
            for condition in ("clean", "pink10"):
                for share in (0, 0.5, 1):
                    gain = np.exp(np.clip(share * missing, -2, 2))
                    taps = firwin2(513, np.linspace(0, 1, len(gain)), gain)
                    with open(f"{folder}/list.tsv", "w") as manifest:
                        for n, (path, words) in enumerate(p for p in readings(root, condition) if f"/{voice}/" in p[0]):
                            samples = fftconvolve(mono(path), taps, "same")
                            soundfile.write(f"{folder}/{n}.wav", samples / np.abs(samples).max() / 2, 16000)
                            manifest.write(f"{n}.wav\t{words}\n")
                    score = json.loads(subprocess.run([program, "score", "--json", f"{folder}/list.tsv"], capture_output=True, check=True).stdout)
                    print(f"| {voice}, {condition} | {share} | {score['clips']} | {score['first_right']} | {score['exact']} | {score['wrong_taken']} |", flush=True)


if __name__ == "__main__":
    main(os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2]))
