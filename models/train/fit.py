"""The probability of models/thresholds.toml, fitted on rows of `bothhands score --rows`.

    python fit.py ROWS.tsv...

Use voices that the model was not trained on. Logistic regression of "the likeliest reading is right" on
log(1 + margin, at most 40) and fit, readings only; with standard errors, the share of right-wrong pairs that it puts
in order, and the same when each voice is judged by a fit on the others (a voice is the last folder of a path).
"""
import csv
import os
import sys

import numpy as np

MARGIN_CAP, FIT_BELOW = 40.0, -1.25


def rows_of(paths):
    rows = []
    for path in paths:
        with open(path, newline="") as file:
            rows += [r for r in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE) if r["expected"]]
    return [r for r in rows if float(r["fit"]) >= FIT_BELOW]


def features(rows):
    margin = np.clip([float(r["margin"]) for r in rows], 0, MARGIN_CAP)
    return np.stack([np.ones(len(rows)), np.log1p(margin), [float(r["fit"]) for r in rows]], 1)


def regression(x, y, ridge=1e-3):
    """Weights and their covariance, by Newton's method."""
    w = np.zeros(x.shape[1])
    for _ in range(50):
        p = 1 / (1 + np.exp(-x @ w))
        hessian = (x * (p * (1 - p))[:, None]).T @ x + ridge * np.eye(len(w))
        w = w + np.linalg.solve(hessian, x.T @ (y - p) - ridge * w)
    return w, np.linalg.inv(hessian)


def area(scores, good):
    """The share of pairs of a right and a wrong reading in which the right one scores higher."""
    right, wrong = scores[good], scores[~good]
    return ((right[:, None] > wrong).mean() + (right[:, None] == wrong).mean() / 2) if len(right) and len(wrong) else float("nan")


def main(paths):
    rows = rows_of(paths)
    x, y = features(rows), np.array([r["first_right"] == "true" for r in rows])
    weights, covariance = regression(x, y)
    print(f"{len(rows)} readings with a fit of {FIT_BELOW} or more, {(~y).sum()} heard wrong")
    for name, value, error in zip(("constant", "margin", "fit"), weights, np.sqrt(np.diag(covariance))):
        print(f"{name:9} {value:7.3f} +- {error:.3f}")
    print(f"area {area(x @ weights, y):.3f}")
    voices = np.array([os.path.basename(os.path.dirname(r["path"])) for r in rows])
    if len(set(voices)) > 1:
        others = np.zeros(len(rows))
        for voice in set(voices):
            others[voices == voice] = x[voices == voice] @ regression(x[voices != voice], y[voices != voice])[0]
        print(f"area, each voice by a fit on the others {area(others, y):.3f}")


if __name__ == "__main__":
    main(sys.argv[1:])
