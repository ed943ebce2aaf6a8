"""Recordings of people (and the selection voices) as WAV files with manifests for `bothhands score`.

    python people_lists.py PEOPLE_SELECTION_DIR FSDD_DIR SET_DIR OUT_DIR
    python people_lists.py folds PEOPLE_TRAIN_DIR OUT_DIR
    python people_lists.py rehearse FSDD_DIR OUT_DIR

Of people-selection: own.tsv (lone digits and "yes"), bare.tsv (the same cut close, without a room), strings.tsv (two to four digits of
one speaker, eight strings each; repeated ones among them), strange.tsv (words that are none of ours, to be left alone; OURS_TOO are left
out), bed.tsv (for rule `isolation`); the same with nothing above 3.9 kHz: band-own.tsv and so on; own and strings with pink noise 10 dB
below: noisy-own.tsv. Of the four digit speakers at 8 kHz, never trained on: digits.tsv, digits-10.tsv. Of the selection voices
(testset.py): voices.tsv, voices-20.tsv, -10, -5. A file name begins with the half of the speakers that it belongs to, "a-" or "b-"
(people.half).

`folds`: of people-train, by the fold of their speakers (holdout.fold), each to be heard with the model that left it out (run_people.py folds):
own-0.tsv to own-4.tsv, strange-0.tsv ("bed" among them), tree-0.tsv. A file name holds the speaker, the word and a number.

`rehearse`: of each digit speaker SPEAKER-rehearse.tsv, 20 strings of the takes before REHEARSED for `bothhands rehearse --recorded`, and
to measure with what that taught 60 strings of the later takes: SPEAKER.tsv, and SPEAKER-10.tsv with pink noise 10 dB below.
"""
import os
import random
import sys
import zlib

import numpy as np
import soundfile

import evaluate
import holdout
import jsgf_sample
import noise
import people
import voices

TAKES, REHEARSED = 50, 25        # takes of a digit, and how many of them are rehearsed with
OURS_TOO = ("stop", "no", "on", "off", "go", "right", "tree")           # words that the program itself knows


def level(x, rms=0.06):
    loud = x[np.abs(x) > 0.05 * np.abs(x).max()]
    return x * (rms / np.sqrt(np.mean(loud ** 2)))


def band(x):
    f = np.fft.rfft(x)
    f[np.linspace(0, 8000, len(f)) > 3900] = 0
    return np.fft.irfft(f, len(x))


class Lists:
    def __init__(self, out):
        self.out, self.lines = out, {}

    def add(self, name, file, text, x):
        os.makedirs(f"{self.out}/{name}", exist_ok=True)
        soundfile.write(f"{self.out}/{name}/{file}.wav", voices.int16(x), 16000)
        self.lines.setdefault(name, []).append(f"{name}/{file}.wav\t{text}")

    def people(self, name, file, text, x):
        """The clip as it is, through a band of 4 kHz, and with pink noise 10 dB below it."""
        x = level(x)
        self.add(name, file, text, x)
        self.add("band-" + name, file, text, band(x))
        if name != "strange":
            self.add("noisy-" + name, file, text, noise.mixed(x, "pink", 10.0, holdout.NOISE_SELECTION_SEED + zlib.crc32(file.encode())))

    def write(self):
        for name, lines in sorted(self.lines.items()):
            with open(f"{self.out}/{name}.tsv", "w") as f:
                f.write("\n".join(lines) + "\n")
            print(f"{name}.tsv {len(lines)}")


def digit_speakers(fsdd):
    return sorted({f.split("_")[1] for f in os.listdir(fsdd) if f.endswith(".wav")})


def digit_string(fsdd, speaker, digits, takes, sampler, floor):
    """These digits by one of the digit speakers, with gaps of 0.04 to 0.2 s, in a room that is nearly still (a seed)."""
    parts = [np.zeros(6400)]
    for d in digits:
        x, rate = soundfile.read(f"{fsdd}/{d}_{speaker}_{sampler.choice(takes)}.wav")
        parts += [level(voices.to_16k(x, rate)), np.zeros(int(16000 * sampler.uniform(0.04, 0.2)))]
    x = np.concatenate(parts + [np.zeros(6400)])
    return x + np.random.default_rng(floor).normal(0, 1e-4, len(x))


def some_digits(i, sampler):
    """Two to four of them, each eighth time with the first one twice."""
    digits = [sampler.randint(0, 9) for _ in range(sampler.choice([2, 3, 3, 4]))]
    if i % 8 == 0:
        digits[1] = digits[0]
    return digits


def spoken(digits):
    return " ".join(people.DIGITS[d] for d in digits)


def folds(folder, out):
    lists, found = Lists(out), people.People(folder)
    rng = np.random.default_rng(holdout.SENTENCE_SELECTION_SEED)
    count = 0
    for word in sorted(found.of_word):
        for speaker, take in found.of_word[word]:
            count += 1
            kind = "own" if word in people.OURS else word if word == "tree" else "" if word in OURS_TOO else "strange"
            if kind:
                x = people.padded(take, rng, 6400, 8000)
                lists.add(f"{kind}-{holdout.fold(speaker)}", f"{speaker}_{word}_{count:04d}", word if kind == "own" else "", level(x))
    lists.write()


def rehearse(fsdd, out):
    """Each digit first as often as another, but for nought: no value begins so."""
    lists = Lists(out)
    for s, speaker in enumerate(digit_speakers(fsdd)):
        sampler = random.Random(holdout.SENTENCE_SELECTION_SEED + s)
        for part, count, takes in (("-rehearse", 20, range(REHEARSED)), ("", 60, range(REHEARSED, TAKES))):
            for i in range(count):
                digits = [i % 9 + 1] + [sampler.randint(0, 9) for _ in range(sampler.randint(1, 3))]
                x = digit_string(fsdd, speaker, digits, takes, sampler, i)
                lists.add(speaker + part, f"{i:02d}", spoken(digits), x)
                if not part:
                    lists.add(f"{speaker}-10", f"{i:02d}", spoken(digits), noise.mixed(x, "pink", 10.0, holdout.NOISE_SELECTION_SEED + i + 100 * s))
    lists.write()


def main(folder, fsdd, set_dir, out):
    lists, found, grammar = Lists(out), people.People(folder), jsgf_sample.Grammar()
    rng = np.random.default_rng(holdout.SENTENCE_SELECTION_SEED)
    count = 0
    for word in sorted(found.of_word):
        for speaker, take in found.of_word[word]:
            count += 1
            x, file = people.padded(take, rng, 6400, 8000), f"{people.half(speaker)}-{word}-{count:03d}"
            if word in people.OURS:
                lists.people("own", file, word, x)
                lists.add("bare", file, word, level(take.word))
            elif word not in OURS_TOO:
                lists.people("strange", file, "", x)
                if word == "bed":
                    lists.add("bed", file, "", level(x))
    for i, (speaker, words, x) in enumerate(people.strings_of(found, "lists", 8)):
        if grammar.accepts("steps.anything", " ".join(words)):              # a value does not begin "zero eight"
            lists.people("strings", f"{people.half(speaker)}-{i:03d}", " ".join(words), x)
    sampler = random.Random(holdout.SENTENCE_SELECTION_SEED)
    for s, speaker in enumerate(digit_speakers(fsdd)):
        for i in range(40):
            digits = some_digits(i, sampler)
            if not grammar.accepts("steps.anything", spoken(digits)):
                continue
            x = digit_string(fsdd, speaker, digits, range(TAKES), sampler, i)
            file = f"{'ab'[s % 2]}-s{s}-{i:02d}"
            lists.add("digits", file, spoken(digits), x)
            lists.add("digits-10", file, spoken(digits), noise.mixed(x, "pink", 10.0, holdout.NOISE_SELECTION_SEED + i + 100 * s))
    for entry, samples in evaluate.samples_of(set_dir, "selection"):
        if entry["group"] == "human" or not grammar.accepts("steps.anything", entry["text"]):
            continue
        for condition in ("clean", "20", "10", "5"):
            x, _ = evaluate.in_condition(entry, samples, condition, holdout.NOISE_SELECTION_SEED)
            lists.add("voices" if condition == "clean" else f"voices-{condition}", entry["id"], entry["text"], x)
    lists.write()


if __name__ == "__main__":
    verb = {"folds": folds, "rehearse": rehearse}.get(sys.argv[1])
    if verb:
        verb(*sys.argv[2:4])
    else:
        main(*sys.argv[1:5])
