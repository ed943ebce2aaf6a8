"""Noises for selection and test, made from formulas and seeds that training does not use.

`mixed(samples, kind, snr, seed)` adds one kind of noise at a signal-to-noise ratio in dB, measured against
the parts of the clip that hold speech. Kinds: pink, babble, drill, hum, plant (a reverberant plant room).
"""
import glob
import os
from functools import lru_cache

import numpy as np
from scipy.signal import butter, fftconvolve, lfilter

RATE = 16000
KINDS = ("pink", "babble", "drill", "hum", "plant")
TALKERS = os.environ.get("EAR_TALKERS", "/usr/share/pocketsphinx/test/data/librivox/*.wav")    # Debian package pocketsphinx-testdata, public domain


def unit(x):
    return x / (np.sqrt(np.mean(x ** 2)) + 1e-12)


def pink(n, rng):
    spectrum = np.fft.rfft(rng.normal(size=n))
    return unit(np.fft.irfft(spectrum / np.sqrt(np.maximum(np.arange(len(spectrum)), 1)), n))


@lru_cache
def _babble():
    """A minute of six readers at once: human recordings that no model here was trained on."""
    import soundfile
    readers = [unit(soundfile.read(f)[0]) for f in sorted(glob.glob(TALKERS))]
    rng, length = np.random.default_rng(5), 60 * RATE
    total = np.zeros(length)
    for _ in range(6):
        line = np.concatenate([readers[i] for i in rng.permutation(len(readers))])
        line = np.tile(line, length // len(line) + 2)
        at = rng.integers(0, len(line) - length)
        total += line[at:at + length] * rng.uniform(0.6, 1)
    return unit(total)


def babble(n, rng):
    source = _babble()
    at = rng.integers(0, len(source) - n)
    return unit(source[at:at + n])


def drill(n, rng):
    """A hammer drill: a motor whine with harmonics that sags under load, and chipping 25 to 50 times a second."""
    t = np.arange(n) / RATE
    load = np.convolve(rng.normal(size=n // 1600 + 3), [0.3, 0.4, 0.3], "same")
    sag = np.interp(t, np.arange(len(load)) * 0.1, load)
    turns = np.cumsum(rng.uniform(180, 420) * (1 + 0.04 * sag)) / RATE
    whine = sum(np.sin(2 * np.pi * k * turns + rng.uniform(0, 6)) * rng.uniform(0.2, 1) / k ** 0.5 for k in range(1, 14))
    blows = np.zeros(n)
    at = rng.uniform(0, 0.05)
    while at < n / RATE:
        blows[min(n - 1, int(at * RATE))] += rng.uniform(0.5, 1)
        at += rng.uniform(0.9, 1.1) / rng.uniform(25, 50)
    ring = rng.normal(size=1200) * np.exp(-np.arange(1200) / rng.uniform(60, 250))
    b, a = butter(2, [600 / 8000, 5000 / 8000], "band")
    chips = fftconvolve(blows, lfilter(b, a, ring))[:n]
    return unit(unit(whine) * rng.uniform(0.3, 1) + unit(chips) + 0.3 * pink(n, rng))


def hum(n, rng):
    """A transformer and a fan: 50 Hz and its harmonics, odd ones strong, with a slow beat and some air."""
    t = np.arange(n) / RATE
    f = 50 * (1 + rng.normal() * 0.002)
    tones = sum(np.sin(2 * np.pi * f * k * t + rng.uniform(0, 6)) * (1.0 if k % 2 == 0 else 0.6) / k ** 0.6 for k in range(1, 25))
    beat = 1 + 0.2 * np.sin(2 * np.pi * rng.uniform(0.3, 2) * t)
    return unit(unit(tones * beat) + 0.35 * pink(n, rng))


def room(samples, rng, seconds, direct_db=0.0):
    """Reverberation: a decaying tail, darker as it dies, after the direct sound and a few early reflections."""
    n = int(seconds * RATE)
    t = np.arange(n) / RATE
    tail = rng.normal(size=n) * 10 ** (-3 * t / seconds)
    b, a = butter(1, 3500 / 8000)
    tail = 0.5 * tail + 0.5 * lfilter(b, a, tail)
    tail = unit(tail) * np.sqrt(1 / n)
    response = tail * 10 ** (-direct_db / 20)
    response[0] += 1
    for _ in range(5):
        response[int(rng.uniform(0.004, 0.05) * RATE)] += rng.uniform(-0.4, 0.4)
    return fftconvolve(samples, response)[:len(samples)]


def plant(n, rng):
    return unit(0.6 * hum(n, rng) + 0.5 * pink(n, rng) + 0.4 * room(drill(n, rng), rng, 1.0, -6))


def mixed(samples, kind, snr, seed):
    rng = np.random.default_rng(seed)
    x = np.asarray(samples, np.float64)
    if kind == "plant":
        x = room(x, rng, rng.uniform(0.5, 0.9), rng.uniform(2, 6))
    speech = x[np.abs(x) > 0.05 * np.abs(x).max()]
    noise = {"pink": pink, "babble": babble, "drill": drill, "hum": hum, "plant": plant}[kind](len(x), rng)
    return x + noise * np.sqrt(np.mean(speech ** 2)) / 10 ** (snr / 20)
