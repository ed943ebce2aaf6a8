#!/usr/bin/env bash
# Makes the recordings that the recogniser is tested and measured on, under tests/cache/ (kept; not committed).
#
#   tests/clips/make.sh          what `make test` hears: the fixed set, tests/cache/small.tsv, and warnings-clean.tsv,
#                                warnings-pink20.tsv, warnings-pink10.tsv
#   tests/clips/make.sh full     also every sentence in every voice and in noise, one manifest each:
#                                clean.tsv pink20.tsv pink10.tsv babble10.tsv hum10.tsv drill10.tsv mix5.tsv ignore.tsv;
#                                held-clean.tsv and so on are the two voices of them that the model never heard in
#                                training (flite awb and kal16), and held.tsv all of these and ignore.tsv
#
# Needs Debian's espeak-ng, flite, sox and pocketsphinx-testdata (human recordings; BSD). Nothing is random: the
# same versions of these give the same recordings.
set -euo pipefail
cd "$(dirname "$0")"
what=${1:-small}
cache=../cache
human=/usr/share/pocketsphinx/test/data

missing=()
command -v espeak-ng >/dev/null || missing+=(espeak-ng)
command -v flite >/dev/null || missing+=(flite)
command -v sox >/dev/null || missing+=(sox)
[ -d "$human/librivox" ] || missing+=(pocketsphinx-testdata)
if [ ${#missing[@]} -gt 0 ]; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        echo "installing ${missing[*]}"
        apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -yqq "${missing[@]}" >/dev/null
    else
        echo "make.sh: install ${missing[*]} first (apt-get install ${missing[*]})" >&2
        exit 2
    fi
fi

# A manifest is kept while the script and the lists are as they were when it was made.
stamp=$(cat make.sh readings.txt chat.txt warnings.txt | sha256sum | cut -c1-16)
if [ "$(cat "$cache/$what.stamp" 2>/dev/null || true)" = "$stamp" ]; then
    exit 0
fi
if [ "$(cat "$cache/stamp" 2>/dev/null || true)" != "$stamp" ]; then
    rm -rf "$cache/clips" "$cache/beds"
fi
mkdir -p "$cache/clips" "$cache/beds"
echo "$stamp" >"$cache/stamp"
temporary=$(mktemp -d)
trap 'rm -rf "$temporary"' EXIT

# name, engine, voice, words a minute or stretch, pitch
voices=(
    "gb espeak en-gb 150 45"
    "scotland espeak en-gb-scotland 155 50"
    "rp espeak en-gb-x-rp+f3 155 50"
    "lancaster espeak en-gb-x-gbclan 150 40"
    "midlands espeak en-gb-x-gbcwmd+m3 160 45"
    "us espeak en-us 160 50"
    "awb flite awb 1.0 0"
    "rms flite rms 0.95 0"
    "slt flite slt 1.0 0"
    "kal16 flite kal16 1.05 0"
)

# Words that synthesisers read better in another spelling.
spelling() {
    local text=" $1 "
    text=${text// megohms / meg ohms }
    text=${text// kiloamps / kilo amps }
    echo "${text# }"
}

# say VOICE TEXT FILE: 16 kHz, peak at half scale, 0.4 s of quiet on both sides.
say() {
    local name engine voice speed pitch
    read -r name engine voice speed pitch <<<"$1"
    [ -s "$3" ] && return
    mkdir -p "$(dirname "$3")"
    if [ "$engine" = espeak ]; then
        espeak-ng -v "$voice" -s "$speed" -p "$pitch" -w "$temporary/said.wav" "$(spelling "$2")"
    else
        flite -voice "$voice" --setf "duration_stretch=$speed" -t "$(spelling "$2")" -o "$temporary/said.wav"
    fi
    sox -D -R "$temporary/said.wav" -r 16000 -c 1 -b 16 "$3" \
        silence 1 0.02 0.3% reverse silence 1 0.02 0.3% reverse gain -n -6 pad 0.4 0.4
}

level() { sox "$1" -n stat 2>&1 | awk '/RMS.*amplitude/ {print $3}'; }

# Noise beds of a minute, each with its level beside it.
beds() {
    [ -s "$cache/beds/pink.wav" ] || sox -D -R -n -r 16000 -c 1 -b 16 "$cache/beds/pink.wav" synth 60 pinknoise gain -n -3
    [ -s "$cache/beds/hum.wav" ] || sox -D -R -n -r 16000 -c 1 -b 16 "$cache/beds/hum.wav" \
        synth 60 sine 50 synth 60 sine mix 100 synth 60 sine mix 150 synth 60 sine mix 250 \
        synth 60 pinknoise mix gain -n -3
    # A drill: a buzzing motor, its gears, and chips.
    [ -s "$cache/beds/drill.wav" ] || sox -D -R -n -r 16000 -c 1 -b 16 "$cache/beds/drill.wav" \
        synth 60 sawtooth 240 synth 60 square mix 1470 synth 60 whitenoise mix tremolo 3 60 gain -n -3
    if [ ! -s "$cache/beds/babble.wav" ]; then
        local i=0 parts=()
        for start in 0 3 7 11 16 20; do
            sox -D -R "$human"/librivox/*.wav "$temporary/talk$i.wav" gain -n -3 repeat 3 trim $start 60
            parts+=("$temporary/talk$i.wav")
            i=$((i + 1))
        done
        sox -D -R -m "${parts[@]}" -r 16000 -c 1 -b 16 "$cache/beds/babble.wav" gain -n -3
    fi
    [ -s "$cache/beds/mix.wav" ] || sox -D -R -m -v 1 "$cache/beds/babble.wav" \
        -v "$(ratio "$cache/beds/babble.wav" "$cache/beds/pink.wav" 0)" "$cache/beds/pink.wav" \
        -b 16 "$cache/beds/mix.wav" gain -n -3
    for name in pink hum drill babble mix; do level "$cache/beds/$name.wav" >"$cache/beds/$name.level"; done
}

# ratio CLEAN NOISE DECIBELS: the factor for the noise that puts it so far below the clean sound.
ratio() { awk -v s="$(level "$1")" -v n="$(level "$2")" -v d="$3" 'BEGIN {print s / n / 10 ^ (d / 20)}'; }

# noisy CLEAN BED DECIBELS FILE NUMBER: with noise from a place in the bed that depends on the number.
noisy() {
    [ -s "$4" ] && return
    mkdir -p "$(dirname "$4")"
    local seconds factor
    seconds=$(soxi -D "$1")
    # The quiet at both ends must not count as speech.
    factor=$(awk -v s="$(level "$1")" -v n="$(cat "$cache/beds/$2.level")" -v d="$3" -v t="$seconds" \
        'BEGIN {print s * sqrt(t / (t > 1 ? t - 0.8 : t)) / n / 10 ^ (d / 20)}')
    sox -D -R -m -v 1 "$1" -v "$factor" "|sox -D -R $cache/beds/$2.wav -p trim $((($5 * 37) % 50)) $seconds" -b 16 "$4" gain -n -3
}

mapfile -t readings <readings.txt
mapfile -t chat <chat.txt
mapfile -t warnings <warnings.txt
beds

# clip VOICE SENTENCE: makes it and prints its path.
clip() {
    local voice=${voices[$1]}
    local file
    file=clips/clean/${voice%% *}/$(printf %02d "$2").wav
    say "$voice" "${readings[$2]}" "$cache/$file"
    echo "$file"
}

# line MANIFEST CONDITION VOICE SENTENCE: adds a line; a condition is `clean` or a bed and decibels.
line() {
    local file noise
    file=$(clip "$3" "$4")
    if [ "$2" != clean ]; then
        noise=${file/clean/$2}
        noisy "$cache/$file" "${2%%[0-9]*}" "${2##*[a-z]}" "$cache/$noise" $(($3 * 63 + $4))
        file=$noise
    fi
    printf '%s\t%s\n' "$file" "${readings[$4]}" >>"$1"
}

# What must be ignored: human talk, synthetic chat, and sounds without any word.
to_ignore() { # MANIFEST
    local i=0 file out noise name seconds at
    for file in "$human"/librivox/*.wav "$human"/cards/00[1235].wav "$human"/something.raw "$human"/goforward.raw; do
        name=$(basename "${file%.*}")
        out=clips/ignore/human-${name##*-}.wav
        mkdir -p "$cache/clips/ignore"
        case $file in
        *.raw) sox -D -R -t raw -r 16000 -e signed -b 16 -c 1 "$file" "$cache/$out" ;;
        *) sox -D -R "$file" -r 16000 -c 1 -b 16 "$cache/$out" ;;
        esac
        printf '%s\t\n' "$out" >>"$1"
        seconds=$(soxi -D "$cache/$out")
        for at in 0 2 4; do
            if awk -v s="$seconds" -v a=$at 'BEGIN {exit !(s > a + 1.5 && s > 3)}'; then
                sox -D -R "$cache/$out" "$cache/${out%.wav}-$at.wav" trim $at 2
                printf '%s\t\n' "${out%.wav}-$at.wav" >>"$1"
            fi
        done
        noisy "$cache/$out" pink 10 "$cache/${out%.wav}-pink10.wav" $i
        printf '%s\t\n' "${out%.wav}-pink10.wav" >>"$1"
        i=$((i + 1))
    done
    for i in "${!chat[@]}"; do
        out=clips/ignore/chat-$(printf %02d "$i").wav
        say "${voices[$((i % ${#voices[@]}))]}" "${chat[$i]}" "$cache/$out"
        printf '%s\t\n' "$out" >>"$1"
    done
    for noise in pink hum drill babble; do
        for at in 5 25 45; do
            out=clips/ignore/$noise-$at.wav
            sox -D -R "$cache/beds/$noise.wav" "$cache/$out" trim $at 4
            printf '%s\t\n' "$out" >>"$1"
        done
    done
    # Knocks, a door-bell, a warning tone, silence.
    sox -D -R -n -r 16000 -c 1 -b 16 "$cache/clips/ignore/knocks.wav" synth 0.03 brownnoise fade 0 0.03 0.02 gain -n -3 pad 0 0.25 repeat 10
    sox -D -R -n -r 16000 -c 1 -b 16 "$cache/clips/ignore/bell.wav" synth 0.5 sine 660 fade 0 0.5 0.4 synth 0.5 sine amod 6 gain -n -6 pad 0.2 0.2 repeat 3
    sox -D -R -n -r 16000 -c 1 -b 16 "$cache/clips/ignore/tone.wav" synth 3 sine 1000 gain -n -9
    sox -D -R -n -r 16000 -c 1 -b 16 "$cache/clips/ignore/silence.wav" trim 0 3
    for name in knocks bell tone silence; do printf 'clips/ignore/%s.wav\t\n' $name >>"$1"; done
}

count=${#voices[@]}
say_progress() { echo "$1: $(wc -l <"$cache/$1") recordings"; }

small=$cache/small.tsv
: >"$small"
for s in "${!readings[@]}"; do
    line "$small" clean $((s % count)) "$s"
    line "$small" clean $(((s * 3 + 5) % count)) "$s"
    line "$small" mix10 $(((s * 7 + 2) % count)) "$s"
done
sort -u "$small" -o "$small"
cp "$human/cards/004.wav" "$cache/clips/five-five.wav"
printf 'clips/five-five.wav\tfive five\n' >>"$small"
to_ignore "$small"
say_progress small.tsv

# What must never be met with silence, by every voice.
for condition in clean pink20 pink10; do
    : >"$cache/warnings-$condition.tsv"
    for v in "${!voices[@]}"; do
        for w in "${!warnings[@]}"; do
            file=clips/clean/${voices[$v]%% *}/w$(printf %02d "$w").wav
            say "${voices[$v]}" "${warnings[$w]}" "$cache/$file"
            if [ $condition != clean ]; then
                noise=${file/clean/$condition}
                noisy "$cache/$file" pink "${condition#pink}" "$cache/$noise" $((v * 63 + w))
                file=$noise
            fi
            printf '%s\t%s\n' "$file" "${warnings[$w]}" >>"$cache/warnings-$condition.tsv"
        done
    done
    say_progress "warnings-$condition.tsv"
done
echo "$stamp" >"$cache/small.stamp"

if [ "$what" = full ]; then
    for condition in clean pink20 pink10 babble10 hum10 drill10 mix5; do
        : >"$cache/$condition.tsv"
        for v in "${!voices[@]}"; do
            for s in "${!readings[@]}"; do
                # In noise every second sentence of each voice, to keep the time bearable.
                if [ $condition = clean ] || [ $(((v + s) % 2)) = 0 ]; then
                    line "$cache/$condition.tsv" $condition "$v" "$s"
                fi
            done
        done
        grep -E '/(awb|kal16)/' "$cache/$condition.tsv" >"$cache/held-$condition.tsv"
        say_progress "$condition.tsv"
    done
    : >"$cache/ignore.tsv"
    to_ignore "$cache/ignore.tsv"
    say_progress ignore.tsv
    cat "$cache"/held-*.tsv "$cache/ignore.tsv" >"$cache/held.tsv"
    echo "$stamp" >"$cache/full.stamp"
fi
