#!/usr/bin/env bash
# What the thresholds in models/thresholds.toml cost and save, for one model on lists of recordings:
#
#   tests/clips/make.sh full
#   models/thresholds.sh tests/cache/held.tsv [MODEL.onnx]
#
# Prints the reliability of the probability (of readings said to be right with 0.9 to 0.95, how many were?), what
# asking again below each bound would give, and which share of right readings, wrong readings and recordings to be
# ignored has a fit below each bound.
set -euo pipefail
manifest=$1
rows=$(mktemp)
trap 'rm -f "$rows"' EXIT
program=${BOTHHANDS:-target/release/bothhands}
thresholds=$(dirname "$0")/thresholds.toml
"$program" score "$manifest" ${2:+--model "$2"} --rows "$rows" >/dev/null
number() {
    awk -v name="$1" '/^\[/ { here = $0 ~ /^\[one_ear\./ } here && $1 == name && $2 == "=" { print $3 }' "$thresholds"
}
awk -F'\t' -v c="$(number constant)" -v m="$(number margin)" -v f="$(number fit)" -v cap="$(number margin_cap)" \
    -v noise="$(number fit_below)" '
    function share(n, all) { return all ? sprintf("%7.1f", 100 * n / all) : "      -" }
    NR > 1 {
        kind = $2 == "" ? "ignore" : $4 == "true" ? "right" : "wrong"
        count[kind]++
        for (b = 0; b <= 28; b++) if ($7 < b / 10 - 3) under[kind, b]++
        if ($7 < noise) next
        margin = $8 > cap ? cap : $8 < 0 ? 0 : $8
        p = 1 / (1 + exp(-(c + m * log(1 + margin) + f * $7)))
        for (i = split("0.5 0.6 0.7 0.8 0.85 0.9 0.93 0.94 0.95 0.98 0.99", bound, " "); i; i--)
            if (p >= bound[i]) taken[kind, i]++
            else asked[kind, i]++
        if (kind != "ignore") {
            bin = p < 0.5 ? 1 : p < 0.7 ? 2 : p < 0.8 ? 3 : p < 0.9 ? 4 : p < 0.95 ? 5 : p < 0.98 ? 6 : 7
            n[bin]++; mean[bin] += p; right[bin] += kind == "right"
        }
    }
    END {
        said = count["right"] + count["wrong"]
        print count["right"] + 0, "heard right,", count["wrong"] + 0, "heard wrong,", count["ignore"] + 0, "to be ignored"
        print "\nreliability\nprobability    clips  mean said  right"
        split("under 0.5,0.5 to 0.7,0.7 to 0.8,0.8 to 0.9,0.9 to 0.95,0.95 to 0.98,0.98 and on", name, ",")
        for (b = 1; b <= 7; b++)
            if (n[b]) printf "%-13s %6d %10.3f %6.3f\n", name[b], n[b], mean[b] / n[b], right[b] / n[b]
        print "\nper cent when asking again below a probability\n   below   exact   asked   wrong  ignored right ones | to be ignored: asked, taken"
        for (i = 1; i <= 10; i++)
            printf "%8s %s %s %s %s            | %s %s\n", bound[i], share(taken["right", i], said),
                share(asked["right", i] + asked["wrong", i], said), share(taken["wrong", i], said),
                share(said - taken["right", i] - taken["wrong", i] - asked["right", i] - asked["wrong", i], said),
                share(asked["ignore", i], count["ignore"]), share(taken["ignore", i], count["ignore"])
        print "\nper cent with a fit below\n   below   right   wrong  ignore"
        for (b = 10; b <= 28; b++)
            printf "%8.1f %s %s %s\n", b / 10 - 3, share(under["right", b], count["right"]),
                share(under["wrong", b], count["wrong"]), share(under["ignore", b], count["ignore"])
    }' "$rows"
