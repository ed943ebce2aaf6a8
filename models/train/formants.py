"""What a test voice makes of a word: first two formants in the middle of the vowel, by linear prediction.

    python formants.py [WORD...]

A speaker of southern British English says "four" and "law" with one rounded vowel (about 400 to 550 and 750 to 950 Hz),
well apart from that of "far" (about 650 and 1100 Hz). A voice that does not cannot be heard right but by luck.
"""
import sys

import numpy as np
from scipy.linalg import solve_toeplitz
from scipy.signal import lfilter

import voices

VOICES = {"hib-gb": lambda t: voices.hibari(t, True, 1, 3), "hib-us": lambda t: voices.hibari(t, False, 1, 3),
          "pico-gb": lambda t: voices.pico(t, True), "es-rp": lambda t: voices.espeak(t, "en-gb-x-rp"),
          "fl-awb": lambda t: voices.flite(t, "awb")}


def formants(x, order=16):
    x = lfilter([1, -0.97], [1], x) * np.hamming(len(x))
    r = np.correlate(x, x, "full")[len(x) - 1:len(x) + order]
    poles = [z for z in np.roots(np.r_[1, -solve_toeplitz(r[:order], r[1:order + 1])]) if z.imag > 0]
    found = sorted((np.angle(z) * 8000 / np.pi, -np.log(abs(z)) * 16000 / np.pi) for z in poles)
    return [round(f) for f, width in found if f > 150 and width < 500][:2]


def vowel(x):
    """The loudest 40 ms: fricatives and closures are weaker."""
    at = max(range(0, len(x) - 640, 80), key=lambda i: np.sum(x[i:i + 640] ** 2))
    return x[at:at + 640]


if __name__ == "__main__":
    for word in sys.argv[1:] or ("four", "law", "far"):
        print(word, {name: formants(vowel(voices.trimmed(say(word), margin=0))) for name, say in VOICES.items()})
