#!/usr/bin/env bash
# Makes the recordings of tests/clips/pauses.txt, each sentence in two parts, in the voices of make.sh:
# tests/cache/pauses/VOICE/NN-begin.wav and NN-end.wav (NN-whole.wav for short words), and pauses.tsv beside them.
#
#   tests/clips/pauses.sh && cargo bench --bench pauses
#
# The parts are said separately, the first with a comma behind it, as by somebody who means to go on.
set -euo pipefail
cd "$(dirname "$0")"
../tools/need-packages.sh espeak-ng flite sox
./make.sh
cache=../cache
folder=$cache/pauses
stamp=$(cat pauses.sh pauses.txt make.sh | sha256sum | cut -c1-16)
if [ "$(cat "$folder/stamp" 2>/dev/null || true)" = "$stamp" ]; then
    exit 0
fi
rm -rf "$folder"
mkdir -p "$folder"
temporary=$(mktemp -d)
trap 'rm -rf "$temporary"' EXIT
# The voices and how they are made to speak stand in make.sh alone.
# shellcheck disable=SC1090
source <(sed -n '/^voices=(/,/^)/p; /^spelling() {/,/^}/p; /^say() {/,/^}/p' make.sh)

for voice in "${voices[@]}"; do
    name=${voice%% *}
    number=0
    while IFS=$'\t' read -r rule text; do
        case $rule in '' | '#'*) continue ;; esac
        base=$name/$(printf %02d $number)
        if [ "$text" = "${text/ | /}" ]; then
            say "$voice" "$text" "$folder/$base-whole.wav"
        else
            say "$voice" "${text%% | *}," "$folder/$base-begin.wav"
            say "$voice" "${text##* | }" "$folder/$base-end.wav"
        fi
        printf '%s\t%s\t%s\n' "$base" "$rule" "$text" >>"$folder/pauses.tsv"
        number=$((number + 1))
    done <pauses.txt
    echo "pauses: $name, $number sentences"
done
echo "$stamp" >"$folder/stamp"
