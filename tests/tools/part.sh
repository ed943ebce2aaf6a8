#!/usr/bin/env bash
# Runs one part of a long run and keeps how long it took.
#
#   tests/tools/part.sh begin               a new run
#   tests/tools/part.sh "NAME" COMMAND...   a part of it
#   tests/tools/part.sh end                 the time of each part
set -euo pipefail
times=${CARGO_TARGET_DIR:-target}/parts.tsv
case $1 in
begin)
    mkdir -p "$(dirname "$times")"
    : >"$times"
    ;;
end)
    echo "== time"
    awk -F '\t' '{ printf "%6d s  %s\n", $1, $2; all += $1 } END { printf "%6d s  together\n", all }' "$times"
    ;;
*)
    name=$1
    shift
    echo "== $name"
    began=$(date +%s)
    "$@"
    printf '%s\t%s\n' "$(($(date +%s) - began))" "$name" >>"$times"
    ;;
esac
