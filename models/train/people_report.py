"""Tables of what `bothhands score --rows` wrote for several models, with 95 % Wilson intervals, the halves of the speakers apart.

    python people_report.py ROWS_DIR MODEL... [--lists own,strings]      ROWS_DIR/MODEL/LIST.tsv

"Mean over words": of the clips that hold a word, the part heard right, averaged over the words.
"""
import csv
import math
import os
import sys
from collections import defaultdict

ALONE = {"strange", "band-strange", "bed", "ignore"}          # what must be left alone


def wilson(k, n, z=1.96):
    if not n:
        return "-"
    p, d = k / n, 1 + z * z / n
    middle, half = (p + z * z / (2 * n)) / d, z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / d
    return f"{100 * p:.1f} ({100 * abs(middle - half):.1f}-{100 * (middle + half):.1f})"


def rows_of(path):
    with open(path) as f:
        return list(csv.DictReader(f, delimiter="\t", quoting=csv.QUOTE_NONE))


def counts(rows):
    c = defaultdict(int)
    for r in rows:
        c["n"] += 1
        c["right"] += r["first_right"] == "true"
        c[r["verdict"]] += 1
    return c


def by_word(rows):
    """Likeliest right, per cent: the mean over words of the clips that hold each."""
    of = defaultdict(list)
    for r in rows:
        for word in set(r["expected"].split()):
            of[word].append(r["first_right"] == "true")
    return 100 * sum(sum(v) / len(v) for v in of.values()) / max(1, len(of))


def main(folder, models, lists):
    print("| list | model | n | likeliest right, % (95 %) | mean over words | exact | asked | wrong and taken | ignored | right, half a; b |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for name in lists:
        for m in models:
            path = f"{folder}/{m}/{name}.tsv"
            if not os.path.exists(path):
                continue
            rows = rows_of(path)
            c = counts(rows)
            halves = [[r for r in rows if os.path.basename(r["path"]).startswith(h)] for h in ("a-", "b-")]
            if name in ALONE:
                taken = c["n"] - c["ignored"] - c["asked_again"]
                print(f"| {name} | {m} | {c['n']} | left alone: {wilson(c['ignored'], c['n'])} | | | {c['asked_again']} | {taken} | {c['ignored']} | |")
                continue
            each = "; ".join(f"{counts(h)['right']} of {len(h)}" for h in halves if h)
            words = f"{by_word(rows):.1f}" if "own" in name or "strings" in name or "digits" in name else ""
            print(f"| {name} | {m} | {c['n']} | {c['right']}: {wilson(c['right'], c['n'])} | {words} | {c['exact']} | {c['asked_again']} | {c['wrong_taken']} | {c['ignored']} | {each} |")


if __name__ == "__main__":
    a = sys.argv[1:]
    chosen = ["own", "strings", "strange", "bed", "band-own", "band-strings", "band-strange", "noisy-own", "noisy-strings", "digits", "digits-10",
              "voices", "voices-20", "voices-10", "voices-5", "held-clean", "held-pink20", "held-pink10", "held-babble10", "held-hum10", "held-drill10",
              "held-mix5", "ignore"]
    if "--lists" in a:
        i = a.index("--lists")
        chosen, a = a[i + 1].split(","), a[:i] + a[i + 2:]
    main(a[0], a[1:], chosen)
