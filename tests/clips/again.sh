#!/usr/bin/env bash
# Makes, for lists of make.sh, a second recording of every sentence in them: said a tenth slower by the same voice, with
# other noise of the same kind and level. A list NAME.tsv gets again-NAME.tsv, line by line the same words.
#
#   tests/clips/make.sh full
#   tests/clips/again.sh held-clean held-mix5 ...
#   target/release/bothhands score tests/cache/held-mix5.tsv --again --second tests/cache/again-held-mix5.tsv
set -euo pipefail
cd "$(dirname "$0")"
../tools/need-packages.sh espeak-ng flite sox
cache=../cache
stamp=$(cat again.sh make.sh readings.txt | sha256sum | cut -c1-16)
if [ "$(cat "$cache/again.stamp" 2>/dev/null || true)" != "$stamp" ]; then
    rm -rf "$cache/again" "$cache"/again-*.tsv
fi
mkdir -p "$cache/again"
echo "$stamp" >"$cache/again.stamp"
temporary=$(mktemp -d)
trap 'rm -rf "$temporary"' EXIT
# The voices, how they are made to speak and how noise is added stand in make.sh alone.
# shellcheck disable=SC1090
source <(sed -n '/^voices=(/,/^)/p; /^spelling() {/,/^}/p; /^say() {/,/^}/p; /^noisy() {/,/^}/p; /^level() {/p; /^ratio() {/p' make.sh)

declare -A slower
for voice in "${voices[@]}"; do
    read -r name engine named speed pitch <<<"$voice"
    factor=1.1
    [ "$engine" = espeak ] && factor=0.9
    speed=$(awk -v s="$speed" -v f=$factor -v e="$engine" 'BEGIN {printf e == "espeak" ? "%.0f" : "%.3f", s * f}')
    slower[$name]="$name $engine $named $speed $pitch"
done

for list in "$@"; do
    [ -s "$cache/again-$list.tsv" ] && continue
    number=0
    while IFS=$'\t' read -r path words; do
        # clips/CONDITION/VOICE/NN.wav
        IFS=/ read -r _ condition voice name <<<"$path"
        clean=$cache/again/clean/$voice/$name
        say "${slower[$voice]}" "$words" "$clean"
        if [ "$condition" != clean ]; then
            noisy "$clean" "${condition%%[0-9]*}" "${condition##*[a-z]}" "$cache/again/$condition/$voice/$name" $((number * 11 + 17))
        fi
        printf '%s\t%s\n' "again/$condition/$voice/$name" "$words" >>"$temporary/$list.tsv"
        number=$((number + 1))
    done <"$cache/$list.tsv"
    mv "$temporary/$list.tsv" "$cache/again-$list.tsv"
    echo "again-$list.tsv: $number recordings"
done
