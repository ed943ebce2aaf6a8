"""Decodes clips with pocketsphinx's US English model: sphinx.py GRAMMAR.fsg WORDS.dict OUT.tsv [lw] < list of paths

Writes a line for each clip: path, doubt, processor seconds, length, words. Doubt is how much likelier each frame of the
sound is as any phones at all than as the sentence.
"""
import math
import os
import sys
import time
import wave

import pocketsphinx

MODEL = os.path.join(os.path.dirname(pocketsphinx.__file__), "model", "en-us")


def decode(decoder, sound):
    decoder.start_utt()
    decoder.process_raw(sound, full_utt=True)
    decoder.end_utt()
    return decoder.hyp()


def log(decoder, hypothesis):
    """The natural logarithm of what the binding gives as a number near one."""
    return decoder.get_logmath().log(hypothesis.score) * math.log(1.0001)


def main(grammar, dictionary, out, weight="6.5"):
    common = {"hmm": os.path.join(MODEL, "en-us"), "logfn": os.devnull, "samprate": 16000}
    search = pocketsphinx.Decoder(fsg=grammar, dict=dictionary, lw=float(weight), **common)
    free = pocketsphinx.Decoder(allphone=os.path.join(MODEL, "en-us-phone.lm.bin"), lw=2.0, **common)
    paths = [line.strip() for line in sys.stdin if line.strip()]
    with open(out + ".part", "w") as file:
        for n, path in enumerate(paths):
            with wave.open(path) as clip:
                sound = clip.readframes(clip.getnframes())
                seconds = clip.getnframes() / clip.getframerate()
            started = time.process_time()
            best = decode(search, sound)
            phones = decode(free, sound)
            took = time.process_time() - started
            words, doubt = "", 99.0
            if best is not None and best.hypstr and phones is not None:
                words = " ".join(w.split("(")[0] for w in best.hypstr.split())
                doubt = (log(free, phones) - log(search, best)) / (100 * seconds)
            file.write(f"{path}\t{doubt:.4f}\t{took:.4f}\t{seconds:.3f}\t{words}\n")
            if n % 20 == 0 or n + 1 == len(paths):
                print(f"\r   {n + 1} of {len(paths)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    os.replace(out + ".part", out)


main(*sys.argv[1:])
