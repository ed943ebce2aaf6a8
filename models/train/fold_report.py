"""Tables of what two ears heard of the people whom the second of them was trained without.

    python fold_report.py ROWS_DIR      own-K.tsv, tree-K.tsv, strange-K.anything.tsv and strange-K.isolation.tsv of `bothhands score --rows`, K from 0 to 4
"""
import os
import sys
from collections import Counter

import holdout
from people_report import by_word, rows_of, wilson


def said(row):
    return os.path.basename(row["path"])[:-4].split("_")


def main(folder):
    rows = {name: [rows_of(f"{folder}/{name.replace('K', str(k))}.tsv") for k in range(holdout.PEOPLE_FOLDS)]
            for name in ("own-K", "strange-K.anything", "strange-K.isolation", "tree-K")}
    for name in rows:
        for k, part in enumerate(rows[name]):
            assert all(holdout.fold(said(r)[0]) == k for r in part), (name, k)
    speakers = [{said(r)[0] for name in rows for r in rows[name][k]} for k in range(holdout.PEOPLE_FOLDS)]

    def alone(title, name, chosen):
        print(f"\n| {title} | speakers | n | left alone | asked | taken |\n| --- | --- | --- | --- | --- | --- |")
        parts = [[r for r in part if chosen(said(r)[1])] for part in rows[name]]
        for label, part in [*((f"fold {k}", p) for k, p in enumerate(parts)), ("all", sum(parts, []))]:
            v = Counter(r["verdict"] for r in part)
            taken = len(part) - v["ignored"] - v["asked_again"]
            print(f"| {label} | {len({said(r)[0] for r in part})} | {len(part)} | {v['ignored']} | {v['asked_again']} | {taken}: {wilson(taken, len(part))} |")
        for verdict in sorted({r["verdict"] for p in parts for r in p} - {"ignored"}):
            what = Counter((said(r)[1], r["words"]) for p in parts for r in p if r["verdict"] == verdict)
            print(f"{verdict}:", ", ".join(f"{n} {a} as {b!r}" for (a, b), n in what.most_common()))

    print("speakers:", [len(s) for s in speakers], sum(map(len, speakers)))
    alone('"bed", rule isolation', "strange-K.isolation", lambda w: w == "bed")
    alone('"bed", rule anything', "strange-K.anything", lambda w: w == "bed")
    alone("foreign words, rule isolation", "strange-K.isolation", lambda w: True)
    alone("foreign words, rule anything", "strange-K.anything", lambda w: True)
    alone('"tree", rule anything', "tree-K", lambda w: True)
    for title, chosen in (("lone digits", lambda w: w != "yes"), ('"yes"', lambda w: w == "yes"), ("both", lambda w: True)):
        print(f"\n| {title}, rule anything | speakers | n | likeliest right | mean over words | exact | asked | wrong and taken | ignored |\n" + "| --- " * 9 + "|")
        parts = [[r for r in part if chosen(said(r)[1])] for part in rows["own-K"]]
        for label, part in [*((f"fold {k}", p) for k, p in enumerate(parts)), ("all", sum(parts, []))]:
            v, right = Counter(r["verdict"] for r in part), sum(r["first_right"] == "true" for r in part)
            print(f"| {label} | {len({said(r)[0] for r in part})} | {len(part)} | {right}: {wilson(right, len(part))} | {by_word(part):.1f} | {v['exact']} | {v['asked_again']} | "
                  f"{v['wrong_taken']}: {wilson(v['wrong_taken'], len(part))} | {v['ignored']} |")
    print("wrong:", ", ".join(f"{n} {a} as {b!r} ({c})" for (a, b, c), n in Counter(
        (said(r)[1], r["words"], r["verdict"]) for p in rows["own-K"] for r in p if r["first_right"] != "true").most_common(40)))
    print("wrong and taken:", ", ".join(f"{r['path'].split('/')[-1]} as {r['words']!r} ({r['fit']}, {r['margin']})" for p in rows["own-K"] for r in p if r["verdict"] == "wrong_taken"))


if __name__ == "__main__":
    main(sys.argv[1])
