#!/usr/bin/env bash
# What the thresholds in models/thresholds.toml cost and save, for one model on one list of recordings:
#
#   tests/clips/make.sh full
#   models/thresholds.sh tests/cache/clean.tsv [MODEL.onnx]
#
# Prints, for readings that were right, readings that were wrong, and recordings to be ignored, which share
# scores below each bound. Choose `fit` so that hardly any recording to be ignored stays above it, and `margin`
# so that the wrong readings above it are as rare as the right ones below it can be borne.
set -euo pipefail
manifest=$1
rows=$(mktemp)
trap 'rm -f "$rows"' EXIT
program=${BOTHHANDS:-target/release/bothhands}
"$program" score "$manifest" ${2:+--model "$2"} --rows "$rows" >/dev/null
awk -F'\t' '
    NR > 1 {
        kind = $2 == "" ? "to be ignored" : $4 == "true" ? "right" : "wrong"
        count[kind]++
        for (b = -3; b <= -0.2; b += 0.1) if ($7 < b) fit[kind, sprintf("%.1f", b)]++
        for (b = 0.5; b <= 12; b += 0.5) if ($8 < b) margin[kind, sprintf("%.1f", b)]++
    }
    function share(n, kind) { return count[kind] ? sprintf("%7.1f", 100 * n / count[kind]) : "      -" }
    function line(name, b, table) {
        print name, sprintf("%5s", b), share(table["right", b], "right"), share(table["wrong", b], "wrong"),
            share(table["to be ignored", b], "to be ignored")
    }
    END {
        print "              right   wrong  ignore   (per cent below the bound; " count["right"] + 0, "right,",
            count["wrong"] + 0, "wrong,", count["to be ignored"] + 0, "to be ignored)"
        for (b = -3; b <= -0.2; b += 0.1) line("fit    ", sprintf("%.1f", b), fit)
        for (b = 0.5; b <= 12; b += 0.5) line("margin ", sprintf("%.1f", b), margin)
    }' "$rows"
