"""Does hearing a clip again, slightly changed, find the mistakes that the margin does not?

    python twice.py rows MODEL.onnx SET_DIR ROWS.tsv CONDITIONS SHARD SHARDS VOICES
    python twice.py report ROWS.tsv

VOICES: comma separated, or "all". Each clip is decoded as it is and once for each small change (CHANGES), in the same
noise; also once from the mean of the log probabilities of those changes that keep the frames in step ("mean").
The report compares, voice by voice with fits on the other voices: the margin, margin and fit together (what the program
uses), and these with the agreement of one more hearing, or of all.
"""
import csv
import os
import sys

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"
import numpy as np

CHANGES = ("quieter", "shift", "slower", "faster", "longer throat", "shorter throat")
IN_STEP = ("plain", "quieter", "longer throat", "shorter throat")
CAP = 40.0


def stretched(mel, factor):
    """Features at another tempo: factor 1.03 is 3 % faster."""
    at = np.arange(int(mel.shape[2] / factor)) * factor
    low = np.minimum(at.astype(int), mel.shape[2] - 2)
    part = (at - low).astype(np.float32)
    return mel[:, :, low] * (1 - part) + mel[:, :, low + 1] * part


def warped(mel, factor):
    """Features with the bands moved, as from a longer or shorter throat."""
    at = np.clip(np.arange(80) * factor, 0, 79)
    low = np.minimum(at.astype(int), 78)
    part = (at - low).astype(np.float32)[None, :, None]
    return mel[:, low] * (1 - part) + mel[:, low + 1] * part


def changed(x, change, filters):
    import decoder
    if change == "shift":                                    # 5 ms: half a step of the features
        return decoder.features(x[80:], filters)
    mel = decoder.features(x, filters)
    if change == "quieter":                                  # 6 dB, which moves every feature alike
        return mel - np.float32(0.15)
    if change in ("slower", "faster"):
        return stretched(mel, {"slower": 0.97, "faster": 1.03}[change])
    if change in ("longer throat", "shorter throat"):
        return warped(mel, {"longer throat": 1.02, "shorter throat": 0.98}[change])
    return mel


def rows(model, directory, out, conditions, shard, shards, voices):
    import onnxruntime as ort
    import decoder
    import evaluate
    from meaning import meaning
    options = ort.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = ort.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    search, filters = decoder.Decoder(decoder.reading_graph()), decoder.mel_filters()
    clips = [(e, s) for e, s in evaluate.samples_of(directory, "test") if e["text"] and (voices == "all" or e["voice"] in voices.split(","))]

    def heard(logp):
        """(meaning, margin, fit)"""
        found = search(logp)
        if not found:
            return ("",), 0.0, -8.0
        first = meaning(found[0][0])
        other = next((s for t, s in found[1:] if meaning(t) != first), found[0][1] - CAP)
        best = logp.argmax(-1)
        phones = max(1, int(((best != 0) & (np.r_[-1, best[:-1]] != best)).sum()))
        return first, min(CAP, found[0][1] - other), max(-8.0, (found[0][1] - logp.max(-1).sum()) / phones)

    with open(out, "w", newline="") as f:
        table = csv.writer(f, delimiter="\t", lineterminator="\n")
        table.writerow(["id", "voice", "condition", "hearing", "right", "same", "margin", "fit"])
        for condition in conditions.split(","):
            for entry, samples in clips[int(shard)::int(shards)]:
                x, _ = evaluate.in_condition(entry, samples, condition)
                logp = {c: session.run(None, {"mel": changed(x, c, filters)})[0][0] for c in ("plain",) + CHANGES}
                logp["mean"] = np.mean([logp[c] for c in IN_STEP], axis=0)
                wanted, plain = meaning(entry["text"]), None
                for name, sound in logp.items():
                    said, margin, fit = heard(sound)
                    plain = plain or said
                    table.writerow([entry["id"], entry["voice"], condition, name, int(said == wanted), int(said == plain), f"{margin:.3f}", f"{fit:.4f}"])


def report(path):
    from report import Logistic, area
    clips = {}
    for r in csv.DictReader(open(path), delimiter="\t"):
        if r["id"] != "id":
            clips.setdefault((r["id"], r["condition"]), dict(voice=r["voice"]))[r["hearing"]] = (int(r["right"]), int(r["same"]), float(r["margin"]), float(r["fit"]))
    keys = sorted(clips)
    voice, condition = np.array([clips[k]["voice"] for k in keys]), np.array([k[1] for k in keys])
    get = lambda name, j: np.array([clips[k][name][j] for k in keys], float)
    right = get("plain", 0).astype(bool)
    print(f"{len({k[0] for k in keys})} clips of {', '.join(sorted(set(voice)))}\n")
    print("Exact meaning of each hearing alone, per cent:\n")
    names = ("plain",) + CHANGES + ("mean",)
    conditions = [c for c in ("clean", "20", "10", "5") if c in condition]
    print("| hearing | " + " | ".join(conditions) + " |\n| --- |" + " --- |" * len(conditions))
    for name in names:
        print(f"| {name} | " + " | ".join(f"{100 * get(name, 0)[condition == c].mean():.1f}" for c in conditions) + " |")
    base = np.column_stack([np.log1p(np.maximum(0, get("plain", 2))), get("plain", 3)])

    def more(changes):
        """How many agree, and the margins, counted against where the meaning is another: the least and the mean."""
        signed = np.column_stack([np.where(get(c, 1) > 0, 1, -1) * np.log1p(np.maximum(0, get(c, 2))) for c in changes])
        same = np.column_stack([get(c, 1) for c in changes])
        return np.column_stack([base, same.mean(1), signed.min(1), signed.mean(1)])

    def judged(x):
        p = np.zeros(len(keys))
        for v in set(voice):
            p[voice == v] = Logistic(x[voice != v], right[voice != v])(x[voice == v])
        return p
    judges = {"margin alone": get("plain", 2), "margin and fit": judged(base)}
    judges |= {f"and {c}": judged(more([c])) for c in CHANGES}
    judges["and all six"] = judged(more(CHANGES))
    print("\nArea under the curve for right against wrong; then, of all clips in per cent, wrong and taken when 5, 10 and 20 per cent of all are asked again:\n")
    print("| judged by | " + " | ".join(f"area {c}" for c in conditions + ["all"]) + " | " + " | ".join(f"{c}: 5, 10, 20 % asked" for c in conditions) + " |")
    print("| --- |" + " --- |" * (2 * len(conditions) + 1))
    for name, p in judges.items():
        p = p + 1e-9 * np.random.default_rng(1).random(len(p))
        wrong = lambda m, share: 100 * np.mean(~right[m] & (p[m] >= np.quantile(p[m], share)))
        of = [condition == c for c in conditions]
        print(f"| {name} | " + " | ".join(f"{area(p[m], right[m]):.3f}" for m in of + [condition != ""]) + " | "
              + " | ".join(", ".join(f"{wrong(m, s):.2f}" for s in (0.05, 0.1, 0.2)) for m in of) + " |")


if __name__ == "__main__":
    verb, *a = sys.argv[1:]
    (rows if verb == "rows" else report)(*a)
