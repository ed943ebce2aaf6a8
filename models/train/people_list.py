"""Lists for `bothhands score` of people's recordings: lone words, strings of one speaker, and words that are none of ours.

    python people_list.py people DIR OUT_DIR         DIR as for people.py; halves of the speakers apart (people.half)
    python people_list.py digits DIR OUT_DIR         DIR holds {digit}_{speaker}_{take}.wav; a list a speaker, and twenty strings
                                                     of other takes for each to rehearse with

Writes OUT_DIR/{own,strings,strange}-{a,b}.tsv (`digits`: {speaker}.tsv, rehearse-{speaker}.tsv) and the same with pink noise of 10 dB
as ...-pink10.tsv. Strings do not begin with zero: a reading does so only before a point.
"""
import glob
import os
import sys
import zlib

import numpy as np
import soundfile

import people
import voices

REHEARSED = 25                        # takes from this number on are kept for measuring
STRANGE = "bed bird cat dog down follow forward happy house learn left marvin sheila tree up visual wow backward".split()


def pink(n, rng):
    f = np.fft.rfft(rng.normal(size=n))
    k = np.arange(len(f))
    k[0] = 1
    return np.fft.irfft(f / np.sqrt(k), n)


def noisy(x, decibels, rng):
    """With pink noise so far below the word's louder moments."""
    loud = np.sqrt((x[np.abs(x) > 0.05 * np.abs(x).max()] ** 2).mean())
    noise = pink(len(x), rng)
    return x + noise / noise.std() * loud * 10 ** (-decibels / 20)


class Lists:
    def __init__(self, out):
        self.out, self.files, self.count = out, {}, 0

    def add(self, name, speaker, x, text):
        self.count += 1
        rng = np.random.default_rng(zlib.crc32(f"{name}{speaker}{self.count}".encode()))
        for suffix, y in (("", x), ("-pink10", noisy(x, 10, rng))):
            path = f"clips{suffix}/{speaker}/{self.count:05d}.wav"
            os.makedirs(os.path.dirname(f"{self.out}/{path}"), exist_ok=True)
            soundfile.write(f"{self.out}/{path}", voices.int16(y / np.abs(y).max() * 0.5), voices.RATE)
            self.files.setdefault(name + suffix, []).append(f"{path}\t{text}\n")

    def write(self):
        for name, lines in self.files.items():
            with open(f"{self.out}/{name}.tsv", "w") as file:
                file.writelines(lines)
            print(name, len(lines))


def of_people(folder, out):
    everyone, lists, rng = people.People(folder), Lists(out), np.random.default_rng(1)
    for word in sorted(everyone.of_word):
        for speaker, take in everyone.of_word[word]:
            x = people.padded(take, rng, 6400, 9600)
            if word in people.OURS:
                lists.add(f"own-{people.half(speaker)}", speaker, x, word)
            elif word in STRANGE:
                lists.add(f"strange-{people.half(speaker)}", speaker, x, "")
    for speaker, words, x in people.strings_of(everyone, "list", 8):
        if words[0] != "zero":
            lists.add(f"strings-{people.half(speaker)}", speaker, x, " ".join(words))
    lists.write()


def of_digits(folder, out):
    lists = Lists(out)
    takes = {}
    for path in sorted(glob.glob(f"{folder}/*.wav")):
        digit, speaker, number = os.path.basename(path)[:-4].split("_")
        take = people.Take(path)
        if take.usable:
            takes.setdefault((speaker, int(number) < REHEARSED), {}).setdefault(people.DIGITS[int(digit)], []).append(take)
    for (speaker, rehearsed), theirs in sorted(takes.items()):
        rng = np.random.default_rng(zlib.crc32(f"digits{speaker}{rehearsed}".encode()))
        pick = lambda things: things[int(rng.integers(len(things)))]
        for i in range(20 if rehearsed else 60):
            words = [people.DIGITS[(i + j * 3) % 9 + 1] if j == 0 else pick(people.DIGITS) for j in range(int(rng.integers(2, 5)))]
            x = people.joined([pick(theirs[w]) for w in words], rng, vary=False)
            lists.add(("rehearse-" if rehearsed else "") + speaker, speaker, x, " ".join(words))
    lists.write()


if __name__ == "__main__":
    dict(people=of_people, digits=of_digits)[sys.argv[1]](*sys.argv[2:4])
