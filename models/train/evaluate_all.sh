#!/bin/bash
# Measure several models on the same clips, on all cores.   evaluate_all.sh SET_DIR OUT_DIR CORES MODEL.onnx...
# The cores share the clips of one model; a model is done when all its shards are.
set -u
HERE=$(cd "$(dirname "$0")" && pwd)
SET=$1 OUT=$2 CORES=$3
shift 3
for model in "$@"; do
    name=$(basename "$model" .onnx)
    for ((s = 0; s < CORES; s++)); do
        python3 "$HERE/evaluate.py" "$model" "$SET" test "$OUT/$name.$s.part" clean,20,10,5 $s "$CORES" &
    done
    wait
    { head -n 1 "$OUT/$name.0.part"; for ((s = 0; s < CORES; s++)); do tail -n +2 "$OUT/$name.$s.part"; done; } > "$OUT/$name.tsv"
    rm -f "$OUT/$name".*.part
    wc -l "$OUT/$name.tsv"
done
