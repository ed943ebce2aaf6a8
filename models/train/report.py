"""Tables from the rows of evaluate.py.

    python report.py NAME=ROWS.tsv [NAME=ROWS.tsv ...] > tables.md

The first name is the model that ships: calibration and thresholds are fitted on its rows, each voice judged
by a fit that never saw it.
"""
import csv
import json
import math
import sys

import numpy as np

from meaning import DROPPED, SAME, meaning

CONDITIONS = ["clean", "20", "10", "5"]
TEEN_TY = [(a + "teen", a + "ty") for a in ("thir", "for", "fif", "six", "seven", "eigh", "nine")] + [("fourteen", "forty")]


def rows_of(path):
    rows = list(csv.DictReader(open(path), delimiter="\t", quoting=csv.QUOTE_MINIMAL))
    for r in rows:
        for k in ("right", "right_unit", "phones_free", "phones_best", "words", "frames"):
            r[k] = int(r[k])
        for k in ("score", "free", "runner_score", "sum_best", "sum_runner", "seconds", "net_ms", "search_ms"):
            r[k] = float(r[k])
    return rows


def meant(r):
    return bool(r["text"])


def percent(rows, key="right"):
    return f"{100 * np.mean([r[key] for r in rows]):.1f}" if rows else "-"


# Talk clips that say words of the program: prompts that spell a name, a card game, "one moment please". See RESULTS.md.
IN_VOCABULARY = ("talk-spy-", "talk-00", "talk-one-moment")


def table(head, body):
    print("| " + " | ".join(head) + " |")
    print("| " + " | ".join("---" for _ in head) + " |")
    for line in body:
        print("| " + " | ".join(str(c) for c in line) + " |")
    print()


def canonical(text):
    return [SAME.get(w, w) for w in text.split() if w not in DROPPED]


def alignment(a, b):
    """Pairs (said, heard), '' for nothing."""
    d = np.zeros((len(a) + 1, len(b) + 1), int)
    d[:, 0], d[0] = range(len(a) + 1), range(len(b) + 1)
    for i in range(1, len(a) + 1):
        for j in range(1, len(b) + 1):
            d[i, j] = min(d[i - 1, j] + 1, d[i, j - 1] + 1, d[i - 1, j - 1] + (a[i - 1] != b[j - 1]))
    i, j, out = len(a), len(b), []
    while i or j:
        if i and j and d[i, j] == d[i - 1, j - 1] + (a[i - 1] != b[j - 1]):
            out.append((a[i - 1], b[j - 1])); i -= 1; j -= 1
        elif i and d[i, j] == d[i - 1, j] + 1:
            out.append((a[i - 1], "")); i -= 1
        else:
            out.append(("", b[j - 1])); j -= 1
    return out[::-1]


def confusions(rows, pairs, said=None):
    """(errors, times said) of one word of a pair heard as the other."""
    swaps = {(a, b) for a, b in pairs} | {(b, a) for a, b in pairs}
    words = {w for p in pairs for w in p}
    errors = count = 0
    for r in rows:
        for a, b in alignment(canonical(r["text"]), canonical(r["heard"])):
            count += a in words
            errors += (a, b) in swaps
    return errors, count


def dropped_zero(rows):
    errors = count = 0
    for r in rows:
        for a, b in alignment(canonical(r["text"]), canonical(r["heard"])):
            count += a == "zero"
            errors += a == "zero" and b == ""
    return errors, count


def last_number(text):
    values = [m for m in meaning(text) if m[:1].isdigit()]
    return values[-1] if values else None


def shortened(rows):
    """Numbers that were heard with their end missing: the dangerous error."""
    errors = count = 0
    for r in rows:
        said, heard = last_number(r["text"]), last_number(r["heard"])
        if said is None or len(said) < 2:
            continue
        count += 1
        errors += heard is not None and heard != said and said.startswith(heard)
    return errors, count


# ------------------------------------------------------------------------------------ confidence
FEATURES = ["margin", "margin a phone", "llr", "llr of sums", "margin of sums", "phones short", "phones over", "log length"]


def features(r):
    n = max(1, r["phones_best"])
    margin = min(40.0, r["score"] - r["runner_score"])
    sums = min(40.0, r["sum_best"] - r["sum_runner"])
    return [math.log1p(max(0, margin)), margin / n, max(-8, (r["score"] - r["free"]) / n), max(-8, (r["sum_best"] - r["free"]) / n),
            math.log1p(max(0, sums)), max(0, r["phones_free"] - r["phones_best"]) / n, max(0, r["phones_best"] - r["phones_free"]) / n, math.log(n)]


class Logistic:
    """Ridge logistic regression by Newton's method, on standardised features."""

    def __init__(self, x, y, ridge=1.0):
        self.mean, self.std = x.mean(0), x.std(0) + 1e-6
        z = self.extend(x)
        w = np.zeros(z.shape[1])
        penalty = np.eye(len(w)) * ridge
        penalty[0, 0] = 0
        for _ in range(30):
            p = 1 / (1 + np.exp(-np.clip(z @ w, -30, 30)))
            step = np.linalg.solve((z * (p * (1 - p))[:, None]).T @ z + penalty + 1e-9 * np.eye(len(w)), z.T @ (y - p) - penalty @ w)
            w += step
            if np.abs(step).max() < 1e-6:
                break
        self.w = w

    def extend(self, x):
        return np.column_stack([np.ones(len(x)), (x - self.mean) / self.std])

    def __call__(self, x):
        return 1 / (1 + np.exp(-np.clip(self.extend(x) @ self.w, -30, 30)))

    def raw(self):
        """Weights for unstandardised features: (constant, weights)."""
        w = self.w[1:] / self.std
        return self.w[0] - (w * self.mean).sum(), w


def area(scores, good):
    order = np.argsort(scores)
    rank = np.empty(len(scores))
    rank[order] = np.arange(1, len(scores) + 1)
    good = np.asarray(good, bool)
    return (rank[good].sum() - good.sum() * (good.sum() + 1) / 2) / max(1, good.sum() * (~good).sum())


def ask_line(p, right, level):
    """Asking again below a level: (share of right ones asked, wrong and taken, right at first hearing)."""
    ask = p < level
    return 100 * np.mean(ask[right]), 100 * np.mean(~right & ~ask), 100 * np.mean(right & ~ask), 100 * np.mean(ask)


def confidence(rows):
    spoken = [r for r in rows if meant(r)]
    x, y = np.array([features(r) for r in spoken]), np.array([r["right"] for r in spoken], bool)
    voice, condition = np.array([r["voice"] for r in spoken]), np.array([r["condition"] for r in spoken])
    p = np.zeros(len(spoken))
    for v in sorted(set(voice)):
        p[voice == v] = Logistic(x[voice != v], y[voice != v])(x[voice == v])
    margin = np.array([r["score"] - r["runner_score"] for r in spoken])
    llr = x[:, 2]
    print("### Confidence: probability that the meaning is right\n")
    print("Logistic regression; every voice judged by a fit on the other voices. Area under the curve for right against wrong:\n")
    table(["condition", "wrong of all", "calibrated", "margin alone", "llr alone"],
          [[c, f"{(~y[m]).sum()} of {m.sum()}", f"{area(p[m], y[m]):.3f}", f"{area(margin[m], y[m]):.3f}", f"{area(llr[m], y[m]):.3f}"]
           for c in CONDITIONS + ["all"] for m in [(condition == c) | (c == "all")]])
    print("Reliability:\n")
    edges = [0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.01]
    table(["said", "clips", "mean said", "right"],
          [[f"{a:.3f} to {min(b, 1):.3f}", m.sum(), f"{p[m].mean():.3f}" if m.any() else "-", f"{y[m].mean():.3f}" if m.any() else "-"]
           for a, b in zip(edges, edges[1:]) for m in [(p >= a) & (p < b)]])
    print("Asking again below a probability (unseen voices): share of right ones asked, of all asked, exact at first hearing, wrong and taken, per cent.\n")
    body = []
    for c in CONDITIONS:
        m = condition == c
        for level in (0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99):
            a, w, e, q = ask_line(p[m], y[m], level)
            body.append([c, level, f"{a:.1f}", f"{q:.1f}", f"{e:.1f}", f"{w:.2f}"])
    table(["condition", "ask below", "right asked", "all asked", "exact at first", "wrong and taken"], body)
    print("The same share of right ones asked by margin alone:\n")
    body = []
    for c in CONDITIONS:
        m = condition == c
        for q in (0.02, 0.05):
            lm, lp = np.quantile(margin[m][y[m]], q), np.quantile(p[m][y[m]], q)
            body.append([c, f"{100 * q:.0f} %", f"{lm:.1f}", f"{100 * np.mean(~y[m] & (margin[m] >= lm)):.2f}",
                         f"{100 * np.mean((margin[m] >= lm)[~y[m]]):.0f} %", f"{lp:.3f}", f"{100 * np.mean(~y[m] & (p[m] >= lp)):.2f}",
                         f"{100 * np.mean((p[m] >= lp)[~y[m]]):.0f} %"])
    table(["condition", "right asked", "margin below", "wrong and taken", "of the wrong", "probability below", "wrong and taken", "of the wrong"], body)
    small = np.array([[math.log1p(min(40.0, max(0.0, r["score"] - r["runner_score"]))),
                       max(-8.0, (r["score"] - r["free"]) / max(1, r["phones_free"]))] for r in spoken])
    q = np.zeros(len(spoken))
    for v in sorted(set(voice)):
        q[voice == v] = Logistic(small[voice != v], y[voice != v])(small[voice == v])
    constant, weights = Logistic(small, y).raw()
    print(f"From margin and fit alone, z = {constant:.3f} + {weights[0]:.3f} log(1 + margin) + {weights[1]:.3f} fit, with fit = (best - free) / phones of "
          f"the free path: area {area(q, y):.3f} over all conditions (all eight features: {area(p, y):.3f}). Asking again below a probability:\n")
    body = []
    for c in CONDITIONS:
        m = condition == c
        for level in (0.7, 0.8, 0.85, 0.9, 0.95):
            a, w, e, k = ask_line(q[m], y[m], level)
            body.append([c, level, f"{a:.1f}", f"{k:.1f}", f"{e:.1f}", f"{w:.2f}"])
    table(["condition", "ask below", "right asked", "all asked", "exact at first", "wrong and taken"], body)
    constant, weights = Logistic(x, y).raw()
    print("Fit on all rows, for use: p = 1 / (1 + exp(-z)), z = constant + the sum of weight times feature.\n")
    table(["feature", "weight"], [["constant", f"{constant:.4f}"]] + [[n, f"{w:.4f}"] for n, w in zip(FEATURES, weights)])
    print("""Features: n is the number of phones of the best reading (dictionary spelling, first variants); margin = best - runner-up
with another meaning, at most 40 (40 when there is none); "margin" is log(1 + margin), "margin a phone" is margin / n; llr = (best - free) / n, at least -8; "of sums"
takes the summed probability of all CTC paths of a spelling in place of the best path (margin of sums: log(1 + max(0, .)), at most 40); phones
short = max(0, free phones - n) / n; phones over = max(0, n - free phones) / n; log length = log n.
""")


def refusal(rows):
    print("### Talk that is not for the program\n")
    body = []
    for c in CONDITIONS:
        talk = np.array([features(r)[2] for r in rows if not meant(r) and r["condition"] == c and not r["id"].startswith(IN_VOCABULARY)])
        right = np.array([features(r)[2] for r in rows if meant(r) and r["right"] and r["condition"] == c])
        both = np.r_[talk, right]
        auc = area(both, np.r_[np.zeros(len(talk), bool), np.ones(len(right), bool)])
        line = [c, len(talk), f"{auc:.4f}"]
        for share in (5, 1, 0):
            level = np.percentile(talk, 100 - share)
            line.append(f"llr {level:.2f}: {100 * np.mean(right <= level):.1f} %")
        body.append(line)
    table(["condition", "clips", "area", "5 % taken, right ones lost", "1 % taken", "none taken"], body)


def main(arguments):
    models = {a.split("=")[0]: rows_of(a.split("=")[1]) for a in arguments}
    first = next(iter(models))
    spoken = {m: [r for r in rows if meant(r)] for m, rows in models.items()}
    groups = [("all", lambda r: True), ("British synthetic", lambda r: r["group"].startswith("british")),
              ("American synthetic", lambda r: r["group"].startswith("american")), ("human prompts", lambda r: r["voice"] == "prompts"), ("human digits (FSDD)", lambda r: r["voice"].startswith("fsdd")),
              ("British, same speaker (hib-gb)", lambda r: r["voice"] == "hib-gb"), ("American, same speaker (hib-us)", lambda r: r["voice"] == "hib-us"),
              ("the same without \"four\" (hib-gb)", lambda r: r["voice"] == "hib-gb" and "four" not in r["text"].split()),
              ("the same without \"four\" (hib-us)", lambda r: r["voice"] == "hib-us" and "four" not in r["text"].split()),
              ("awb, kal16, hib-gb, prompts", lambda r: r["voice"] in ("fl-awb", "fl-kal16", "hib-gb", "prompts"))]
    print("### Exact meaning, per cent: clean, 20, 10, 5 dB\n")
    table(["set", "clips"] + list(models),
          [[name, sum(keep(r) and r["condition"] == "clean" for r in spoken[first])]
           + [", ".join(percent([r for r in rows if keep(r) and r["condition"] == c]) for c in CONDITIONS) for rows in spoken.values()]
           for name, keep in groups])
    print("By voice:\n")
    table(["voice", "clips"] + list(models),
          [[v, sum(r["voice"] == v and r["condition"] == "clean" for r in spoken[first])]
           + [", ".join(percent([r for r in rows if r["voice"] == v and r["condition"] == c]) for c in CONDITIONS) for rows in spoken.values()]
           for v in sorted({r["voice"] for r in spoken[first]})])
    print("By noise, at 10 and 5 dB:\n")
    table(["noise"] + list(models),
          [[k] + [", ".join(percent([r for r in rows if r["noise"] == k and r["condition"] == c]) for c in ("10", "5")) for rows in spoken.values()]
           for k in ("pink", "babble", "drill", "hum", "plant")])
    print("Single confusions, errors of times said:\n")
    kinds = [("six/eight", lambda r: confusions(r, [("six", "eight"), ("sixty", "eighty"), ("sixteen", "eighteen")])),
             ("four/five", lambda r: confusions(r, [("four", "five")])), ("nine/one", lambda r: confusions(r, [("nine", "one")])),
             ("nine/five", lambda r: confusions(r, [("nine", "five")])),
             ("oh, zero or nought dropped", dropped_zero), ("fifteen/fifty and the like", lambda r: confusions(r, TEEN_TY)),
             ("over/under", lambda r: confusions(r, [("over", "under")])), ("number heard cut short", shortened)]
    table(["error"] + [f"{m}: {c}" for m in models for c in CONDITIONS],
          [[name] + ["{} of {}".format(*f([r for r in rows if r["condition"] == c])) for rows in spoken.values() for c in CONDITIONS] for name, f in kinds])
    print("Numbers said with a pause of 0.25 to 0.6 s inside, and numbers that stop early, exact:\n")
    table(["kind", "clips"] + list(models),
          [[k, sum(k in r["group"] and r["condition"] == "clean" for r in spoken[first])]
           + [", ".join(percent([r for r in rows if k in r["group"] and r["condition"] == c]) for c in CONDITIONS) for rows in spoken.values()]
           for k in ("pause", "cut short")])
    print("Of the clips with a pause, heard with the end missing:\n")
    table(["model"] + CONDITIONS, [[m] + ["{} of {}".format(*shortened([r for r in rows if "pause" in r["group"] and r["condition"] == c]))
                                         for c in CONDITIONS] for m, rows in spoken.items()])
    refusal(models[first])
    confidence(models[first])
    speed = models[first]
    print(f"Time: network {np.mean([r['net_ms'] for r in speed]) / np.mean([r['seconds'] for r in speed]):.1f} ms and search "
          f"{np.mean([r['search_ms'] for r in speed]) / np.mean([r['seconds'] for r in speed]):.1f} ms a second of sound, one core.")


if __name__ == "__main__":
    main(sys.argv[1:])
