"""The bounds of models/thresholds.toml, chosen on one half of the speakers and tried on the other, and the other way round.

    python bounds.py [--both] [--differ] A.tsv... / B.tsv... [/ BESIDE.tsv...] [+ ONLY.tsv...]

Rows of `bothhands score --rows`: of one half of the speakers, of the other half, of what both choices take in as well (made
voices), and of what is only shown. The probability is fitted anew on the choosing half (fit.py); then of all pairs of
`fit_below` and `probability_below` the one is taken that takes most readings rightly with no more than 0.3 % of them wrong and no
more than 0.5 % of what must be ignored. --both: rows of two ears (a margin is capped at 80 and not at 40). --differ: asks as well
when the ears differ. One digit by itself is never taken at once, so it only counts as right or wrong in the fit.
"""
import csv
import sys

import numpy as np

import fit

FITS = (-2.0, -1.6, -1.25, -1.0, -0.8, -0.6, -0.5, -0.4, -0.3)
PROBABILITIES = (0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.92, 0.94, 0.95, 0.96, 0.97, 0.98, 0.985, 0.99, 0.993, 0.996, 0.998, 0.999)
WRONG, STRANGE = 0.003, 0.005
DIGITS = set("oh nought zero one two three four five six seven eight nine fower fife tree niner".split())


class Rows:
    def __init__(self, paths, cap):
        rows = []
        for path in paths:
            with open(path, newline="") as file:
                rows += csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
        column = lambda test: np.array([test(r) for r in rows], bool)
        margin = np.clip([float(r["margin"]) for r in rows], 0, cap)
        self.fit = np.array([float(r["fit"]) for r in rows])
        self.x = np.stack([np.ones(len(rows)), np.log1p(margin), self.fit], 1)
        self.right, self.reading = column(lambda r: r["first_right"] == "true"), column(lambda r: bool(r["expected"]))
        self.lone, self.differ = column(lambda r: r["words"] in DIGITS), column(lambda r: r["ears_differ"] == "true")

    def weights(self):
        usable = self.reading & (self.fit >= fit.FIT_BELOW)
        return fit.regression(self.x[usable], self.right[usable])[0]

    def taken(self, weights, fit_below, probability_below, differ):
        odds = np.clip(self.x @ weights, -50, 50)
        taken = (self.fit >= fit_below) & (1 / (1 + np.exp(-odds)) >= probability_below) & ~self.lone
        return taken & ~self.differ if differ else taken

    def counts(self, *bounds):
        """Taken rightly, taken wrongly, taken of what must be ignored."""
        taken = self.taken(*bounds)
        return (taken & self.right & self.reading).sum(), (taken & ~self.right & self.reading).sum(), (taken & ~self.reading).sum()

    def told(self, name, *bounds):
        right, wrong, strange = self.counts(*bounds)
        readings, others = self.reading.sum(), (~self.reading).sum()
        return (f"  {name:14} likeliest right {(self.right & self.reading).sum()}, exact {right}, wrong {wrong} of {readings}; "
                f"taken {strange} of {others} to be ignored")


def choose(rows, differ):
    weights, best = rows.weights(), None
    for fit_below in FITS:
        for probability_below in PROBABILITIES:
            right, wrong, strange = rows.counts(weights, fit_below, probability_below, differ)
            over = max(0, wrong - int(WRONG * rows.reading.sum())) + max(0, strange - int(STRANGE * (~rows.reading).sum()))
            key = (-over, right, probability_below)
            if best is None or key > best[0]:
                best = key, (weights, fit_below, probability_below, differ)
    return best[1]


def main(arguments):
    options = {a for a in arguments if a.startswith("--")}
    groups = [[]]
    for a in (a for a in arguments if a not in options):
        groups.append([]) if a in "/+" else groups[-1].append(a)
    shown = groups.pop() if "+" in arguments else []
    halves, beside = groups[:2], sum(groups[2:], [])
    cap = 80.0 if "--both" in options else 40.0
    for chooser, other in ((0, 1), (1, 0)):
        bounds = choose(Rows(halves[chooser] + beside, cap), "--differ" in options)
        weights, fit_below, probability_below, _ = bounds
        print(f"chosen on half {'ab'[chooser]}: fit_below {fit_below}, probability_below {probability_below}, constant {weights[0]:.3f}, "
              f"margin {weights[1]:.3f}, fit {weights[2]:.3f}")
        for name, paths in (("that half", halves[chooser]), ("other half", halves[other]), ("beside", beside)):
            if paths:
                print(Rows(paths, cap).told(name, *bounds))
        for path in shown:
            print(Rows([path], cap).told(path.split("/")[-1], *bounds))


if __name__ == "__main__":
    main(sys.argv[1:])
