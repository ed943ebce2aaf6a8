"""Prints the table from what the engines heard: table.py FOLDER IGNORE LIST...

FOLDER holds ENGINE-LIST.judged for each engine and list, ours as ear-LIST.tsv (what `score --rows` writes), and
engines.json with their names, sizes and times; run.sh makes them. IGNORE is the list of what must be left alone. Intervals are 95 %
(Wilson). One digit by itself is never taken, whoever hears it: that is a rule of the program, not of an engine.
"""
import json
import os
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "train"))
from bounds import DIGITS
from people_report import by_word, wilson

NAMES = {
    "held-clean": "two voices never heard, clean",
    "held-pink20": "the same, pink noise at 20 dB",
    "held-hum10": "the same, mains hum at 10 dB",
    "held-babble10": "the same, babble at 10 dB",
    "held-drill10": "the same, drill at 10 dB",
    "small": "ten voices, clean and in noise at 10 dB",
    "own": "people: lone digits and \"yes\"",
    "strings": "people: digits joined to strings",
    "digits": "four other people, 8 kHz: digits joined to strings",
    "ignore": "other talk, tools and noise",
    "strange": "people: words that are not ours",
}


def read(path):
    with open(path) as file:
        return [line.rstrip("\n").split("\t") for line in file]


class Row:
    """What an engine made of one clip: how much it doubted it, and whether it was right."""

    def __init__(self, expected, heard, doubt, right, understood):
        self.expected, self.to_ignore = expected, expected == ""
        self.doubt = doubt if understood else float("inf")
        self.right = right
        self.lone = heard in DIGITS


def ours(folder, name):
    with open(f"{folder}/ear-{name}.tsv") as file:
        head = file.readline().rstrip("\n").split("\t")
        rows = []
        for line in file:
            f = dict(zip(head, line.rstrip("\n").split("\t")))
            taken = f["verdict"] in ("exact", "wrong_taken", "falsely_taken")
            rows.append(Row(f["expected"], f["words"], 0.0 if taken else 1.0, f["first_right"] == "true", f["words"] != ""))
    return rows


def whisper(folder, engine, name):
    # path, log-probability, text, cost, phones, words, expected, right, understood
    best = {}
    for path, log, text, cost, phones, words, expected, right, understood in read(f"{folder}/{engine}-{name}.judged"):
        # How unlikely the text is, and how far from any sentence of ours: one error is worth about two of a natural
        # logarithm. Chosen on other voices (README.md).
        total = -float(log) + 2.0 * float(cost)
        doubt = total / max(4, int(phones)) if text else float("inf")
        if path not in best or total < best[path][0]:
            best[path] = (total, Row(expected, words, doubt, right == "true", understood == "true"))
    return [row for _, row in best.values()]


def sphinx(folder, engine, name):
    # path, doubt, cpu, seconds, words, expected, right, understood
    return [Row(r[-3], r[-4], float(r[1]), r[-2] == "true", r[-1] == "true") for r in read(f"{folder}/{engine}-{name}.judged")]


def first(rows):
    """Likeliest right: per cent with its interval, and the mean over words where the readings are digits."""
    said = [r for r in rows if not r.to_ignore]
    text = wilson(sum(r.right for r in said), len(said))
    if all(word in DIGITS or word == "yes" for r in said for word in r.expected.split()):
        words = by_word([{"expected": r.expected, "first_right": "true" if r.right else "false"} for r in said])
        text += f"; mean over words {words:.1f}"
    return text


def taken(rows, bound):
    said = [r for r in rows if not r.to_ignore]
    right = sum(r.right and r.doubt <= bound and not r.lone for r in said)
    wrong = sum(not r.right and r.doubt <= bound and not r.lone for r in said)
    return right, wrong, len(said)


def bounds(lists):
    values = sorted({r.doubt for rows in lists.values() for r in rows if r.doubt < float("inf")})
    return [-1e9] + values


def main(folder, ignore, *names):
    engines = json.load(open(f"{folder}/engines.json"))
    heard = {}
    for engine in engines:
        how = {"ear": lambda n, e=engine: ours(folder, n), "whisper": lambda n, e=engine: whisper(folder, e, n),
               "pocketsphinx": lambda n, e=engine: sphinx(folder, e, n)}[engine.split("-")[0]]
        heard[engine] = {n: how(n) for n in (*names, ignore)
                         if any(os.path.exists(f"{folder}/{engine}-{n}.{end}") for end in ("judged", "tsv"))}
    others = lambda lists, bound: sum(r.doubt <= bound and not r.lone for r in lists[ignore])
    wrongs = lambda lists, bound: sum(taken(lists[n], bound)[1] for n in names if n in lists)
    mine = heard["ear"]
    quiet, careful = {"ear": 0.5}, {"ear": 0.5}
    for engine, lists in heard.items():
        if engine == "ear":
            continue
        fit = [b for b in bounds(lists) if others(lists, b) <= others(mine, 0.5)]
        quiet[engine] = max(fit)
        # Compared over the lists that both have heard.
        limit = sum(taken(mine[n], 0.5)[1] for n in names if n in lists)
        careful[engine] = max(b for b in fit if wrongs(lists, b) <= limit)
    print("| recordings | n |", " | ".join(e["name"] for e in engines.values()), "|")
    print("| --- | --- |" + " --- |" * len(engines))

    def table(title, cell):
        print(f"| *{title}* | |" + " |" * len(engines))
        for name in names:
            count = sum(not r.to_ignore for r in mine[name])
            cells = [cell(engine, lists[name]) if name in lists else "-" for engine, lists in heard.items()]
            print(f"| {NAMES.get(name, name)} | {count} |", " | ".join(cells), "|")

    def row(title, count, cells):
        print(f"| {title} | {count} |", " | ".join(cells), "|")

    def pair(at):
        def cell(engine, rows):
            right, wrong, count = taken(rows, at[engine])
            return f"{wilson(right, count)} / {wrong}: {wilson(wrong, count)}"
        return cell

    table("likeliest meaning right, nothing refused", lambda engine, rows: first(rows))
    row(NAMES.get(ignore, ignore) + ": some sentence of ours", len(mine[ignore]),
        [str(sum(r.doubt < float("inf") for r in l[ignore])) for l in heard.values()])
    table("taken: right / wrong, each engine refusing until it takes no more other sounds than ours", pair(quiet))
    row(NAMES.get(ignore, ignore) + ": taken", len(mine[ignore]), [f"{others(l, quiet[e])}: {wilson(others(l, quiet[e]), len(l[ignore]))}" for e, l in heard.items()])
    table("taken: right / wrong, each refusing until it takes no more wrong than ours in all", pair(careful))
    row("*processor time for a second of sound, one core, s*", "", [e["factor"] for e in engines.values()])
    row("*model on disk, MiB*", "", [e["size"] for e in engines.values()])


main(*sys.argv[1:])
