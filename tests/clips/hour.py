#!/usr/bin/env python3
"""Counts what hour.sh heard: minutes of each kind of sound, utterances, asked again, taken; and lists what was taken.

tests/clips/hour.py FOLDER RULE...

Every fourth piece may be tuned on (`poor_fit_below`, models/README.md); what is published are the three quarters that it leaves out.
"""
import bisect
import functools
import json
import sys
import wave
from pathlib import Path

KINDS = {
    "actors and readers, English": ["actors", "readers"],
    "telephone prompts, English": ["prompts-english"],
    "shouts, English": ["shouts"],
    "telephone prompts, four other languages": ["prompts-es", "prompts-fr", "prompts-it", "prompts-ru"],
    "single words, 25 languages": ["words"],
    "synthetic talk, English": ["synthetic"],
    "music": ["music"],
    "tools, work, animals": ["work"],
    "alarms, drills, hum, wind": ["alarms", "noises"],
    "actors and prompts mixed with these": ["mixed-actors-music", "mixed-prompts-work"],
    "shouts mixed with these": ["mixed-shouts-noises", "mixed-actors-shouts"],
}


def minutes(path):
    with wave.open(str(path)) as file:
        return file.getnframes() / file.getframerate() / 60


TUNED_ON = 4


@functools.cache
def pieces(folder, name):
    """When each piece begins, and where it came from."""
    lines = [line.split("\t") for line in (folder / f"{name}.index").read_text().splitlines()]
    return [float(line[0]) for line in lines], [Path(line[1]) for line in lines]


def playing(folder, name, at):
    """The number of the piece that began last."""
    return max(bisect.bisect(pieces(folder, name)[0], at + 0.5) - 1, 0)


def source(folder, name, at):
    return pieces(folder, name)[1][playing(folder, name, at)]


def tuned_on(folder, name, at):
    return playing(folder, name, at) % TUNED_ON == 0


def minutes_tuned_on(folder, name):
    """A mix's first piece may have begun before it."""
    starts = [max(start, 0.0) for start in pieces(folder, name)[0]] + [60 * minutes(folder / f"{name}.wav")]
    return sum(starts[i + 1] - starts[i] for i in range(0, len(starts) - 1, TUNED_ON)) / 60


def main():
    folder, rules = Path(sys.argv[1]), sys.argv[2:]
    heard = {}
    for rule in rules:
        for line in (folder / f"heard-{rule}.jsonl").read_text().splitlines():
            found = json.loads(line)
            heard.setdefault((rule, Path(found["file"]).stem), []).append(found)
    print("| sound | minutes | utterances |", " | ".join(f"`{r}`: asked again, taken" for r in rules), "|")
    print("| --- |" + " --- |" * (2 + len(rules)))
    total = [0.0, 0] + [[0, 0] for _ in rules]
    for kind, names in KINDS.items():
        names = [n for n in names if (folder / f"{n}.wav").exists()]
        length = sum(minutes(folder / f"{n}.wav") for n in names)
        cells = []
        for i, rule in enumerate(rules):
            found = [u for n in names for u in heard.get((rule, n), [])]
            counts = [sum(u["outcome"] == o for u in found) for o in ("ask-again", "taken")]
            total[2 + i] = [a + b for a, b in zip(total[2 + i], counts)]
            cells.append(f"{counts[0]}, {counts[1]}")
        total[0] += length
        total[1] += len(found)
        print(f"| {kind} | {length:.1f} | {len(found)} |", " | ".join(cells), "|")
    print(f"| together | {total[0]:.1f} | {total[1]} |", " | ".join(f"{a}, {t}" for a, t in total[2:]), "|")
    length = sum(minutes_tuned_on(folder, n) for names in KINDS.values() for n in names if (folder / f"{n}.wav").exists())
    for title, tuned, length in (("every fourth piece", True, length), ("the other three", False, total[0] - length)):
        cells = []
        for rule in rules:
            found = [u for (r, n), us in heard.items() if r == rule for u in us if tuned_on(folder, n, u["from_s"]) == tuned]
            cells.append(", ".join(str(sum(u["outcome"] == o for u in found)) for o in ("ask-again", "taken")))
        print(f"| {title} | {length:.1f} | {len(found)} |", " | ".join(cells), "|")
    print("\ntaken: stream, seconds, words, fit, margin, phones, from, rules")
    taken = {}
    for (rule, name), found in heard.items():
        for u in found:
            if u["outcome"] == "taken":
                taken.setdefault((name, u["from_s"], u["to_s"], u["words"]), (u["scores"], []))[1].append(rule)
    for (name, at, to, words), (s, which) in sorted(taken.items()):
        print(f"{name}\t{at:.2f}-{to:.2f}\t{words}\t{s['fit']:.2f}\t{s['margin']:.1f}\t{s['phones']}\t"
              f"{'/'.join(source(folder, name, at).parts[-3:])}\t{', '.join(which)}\t{'tuned on' if tuned_on(folder, name, at) else ''}")


main()
