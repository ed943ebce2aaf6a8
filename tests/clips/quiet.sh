#!/usr/bin/env bash
# Every third reading of small.tsv at lower levels, as a microphone that is turned down or far off gives it: cut by
# voice activity and heard. Run make.sh first.
#
#   tests/clips/quiet.sh [PROGRAM]
set -euo pipefail
cd "$(dirname "$0")/../.."
program=${1:-target/release/bothhands}
folder=tests/cache/quiet
for db in 0 -20 -35 -50; do
    mkdir -p "$folder/$db"
    list=$folder/$db.tsv
    : >"$list"
    awk -F'\t' '$2 != ""' tests/cache/small.tsv | awk 'NR % 3 == 1' | while IFS=$'\t' read -r file words; do
        out=$db/$(echo "$file" | tr / -)
        [ -s "$folder/$out" ] || sox -D "tests/cache/$file" -b 16 "$folder/$out" gain "$db"
        printf '%s\t%s\n' "$out" "$words" >>"$list"
    done
    printf '%s dB: ' "$db"
    "$program" score --cut --json "$list" |
        awk -F'[:,]' '/"(clips|exact|wrong_taken|asked_again|ignored|not_found)"/ {gsub(/[ "]/, ""); printf "%s %s; ", $1, $2} END {print ""}'
done
