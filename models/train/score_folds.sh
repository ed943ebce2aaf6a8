#!/bin/bash
# Hears each fold with the small ear and the model that was trained without it: score_folds.sh BOTHHANDS LISTS MODELS ROWS [K...]
# LISTS: people_lists.py folds; MODELS/fold-K.int8.onnx: run_people.sh folds; then fold_report.py ROWS.
set -e
b=$1 lists=$2 models=$3 rows=$4
shift 4
mkdir -p "$rows"
for k in ${*:-0 1 2 3 4}; do
    hear() { nice -n 10 "$b" score "$lists/$1-$k.tsv" --rule "$2" --model "$(dirname "$0")/../ear.int8.onnx" --second-model "$models/fold-$k.int8.onnx" --rows "$rows/$3.tsv" > "$rows/$3.txt"; }
    hear strange isolation "strange-$k.isolation"
    hear strange anything "strange-$k.anything"
    hear own anything "own-$k"
    hear tree anything "tree-$k"
done
