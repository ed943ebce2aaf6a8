#!/usr/bin/env bash
# More than an hour of sound that is none of the program's business, heard as from a microphone: how much of it is
# taken for a reading or a command?
#
#   tests/clips/hour.sh                  makes it (tests/cache/hour; kept), hears it with three rules, prints a table
#                                        and every taking with what was played: four hours of sound, 10 to 20 minutes
#   EVERY=1 tests/clips/hour.sh          with all of the actors' lines instead of every fourth: an hour and a half more
#   BOTHHANDS=... RULES="anything" tests/clips/hour.sh
#
# Real human talk: actors of an English talking game, telephone prompts in five languages, comic shouts, single words
# that are taught to children in 25 languages, readers of books. Beside it synthetic talk, music, tools, alarms, noise,
# and mixes of these, in levels from full to 26 dB below.
#
# The sounds come out of Debian packages, fetched and unpacked under tests/cache, never installed and never committed:
packages="beneath-a-steel-sky asterisk-core-sounds-en-wav asterisk-core-sounds-es-wav asterisk-core-sounds-fr-wav
    asterisk-core-sounds-it-wav asterisk-core-sounds-ru-wav hedgewars-data ktuberling-data asterisk-moh-opsound-wav
    widelands-data scratch sound-theme-freedesktop"
# Installed are only:
tools="espeak-ng flite sox libsox-fmt-base pocketsphinx-testdata python3"
set -euo pipefail
cd "$(dirname "$0")"
# shellcheck disable=SC2086
../tools/need-packages.sh $tools
./make.sh
program=$(realpath "${BOTHHANDS:-../../target/release/bothhands}")
every=${EVERY:-4}
cache=../cache
hour=$cache/hour
unpacked=$hour/packages
mkdir -p "$unpacked"
share=$unpacked/usr/share

for package in $packages; do
    [ -e "$unpacked/$package.done" ] && continue
    echo "fetching $package"
    (cd "$unpacked" && apt-get -q download "$package" 2>/dev/null >/dev/null && dpkg-deb -x "$package"_*.deb . &&
        rm "$package"_*.deb && touch "$package.done") || {
        echo "hour.sh: Debian's $package could not be fetched (apt-get download $package)" >&2
        exit 2
    }
done

stamp="$(cat hour.sh talkie.py make.sh | sha256sum | cut -c1-16) every $every"
if [ "$(cat "$hour/stamp" 2>/dev/null || true)" != "$stamp" ]; then
    rm -f "$hour"/*.wav "$hour"/*.index
fi
echo "$stamp" >"$hour/stamp"
temporary=$(mktemp -d)
trap 'rm -rf "$temporary"' EXIT
# The voices and how they are made to speak stand in make.sh alone.
# shellcheck disable=SC1090
source <(sed -n '/^voices=(/,/^)/p; /^spelling() {/,/^}/p; /^say() {/,/^}/p' make.sh)

levels=(0 -6 -3 -14 -8 -26 0 -10)
gaps=(0.9 0.3 1.5 0.5 0.8 2)
count=0
# add FILE [SECONDS]: the next piece of the stream, at the next level, with the next gap behind it.
add() {
    sox -D -R -V1 "$1" -r 16000 -c 1 -b 16 "$temporary/parts/$(printf %05d $count).wav" trim 0 "${2:-60}" \
        gain -n "${levels[$((count % ${#levels[@]}))]}" gain -3 pad 0 "${gaps[$((count % ${#gaps[@]}))]}" 2>/dev/null || {
        echo "hour.sh: $1 left out" >&2
        return 0
    }
    echo "$1" >>"$temporary/sources"
    count=$((count + 1))
}
# stream NAME: runs what follows, which adds pieces, and joins them in a room that is not quite still.
stream() {
    local name=$1
    shift
    [ -s "$hour/$name.wav" ] && return
    rm -rf "$temporary/parts" "$temporary/sources"
    mkdir -p "$temporary/parts"
    count=0
    "$@"
    # Where each piece begins: seconds, tab, where it came from.
    stat -c %s "$temporary"/parts/*.wav | awk '{printf "%.2f\n", at; at += ($1 - 44) / 32000}' |
        paste - "$temporary/sources" | sed "s|$unpacked/||; s|$temporary/||" >"$hour/$name.index"
    sox -D -R "$temporary"/parts/*.wav "$temporary/joined.wav"
    sox -D -R -m -v 1 "$temporary/joined.wav" -v 0.0008 "|sox -D -R $cache/beds/pink.wav -p repeat -" \
        -b 16 "$temporary/room.wav" trim 0 "$(soxi -D "$temporary/joined.wav")"
    mv "$temporary/room.wav" "$hour/$name.wav"
    echo "$name: $count pieces, $(soxi -D "$hour/$name.wav" | awk '{printf "%.1f", $1 / 60}') minutes"
}
# each FILE... and some N FILE...: all, and every Nth.
each() { for file in "$@"; do add "$file"; done; }
some() {
    local n=$1 i=0
    shift
    for file in "$@"; do
        [ $((i % n)) = 0 ] && add "$file"
        i=$((i + 1))
    done
}
actors() {
    python3 talkie.py "$share/scummvm/beneath-a-steel-sky" "$every" "$temporary/talk"
    each "$temporary"/talk/*.wav
}
readers() {
    local human=/usr/share/pocketsphinx/test/data
    sox -t raw -r 16000 -e signed -b 16 -c 1 "$human/something.raw" "$temporary/something.wav"
    each "$human"/librivox/*.wav "$human"/cards/00[1235].wav "$temporary/something.wav"
}
asterisk=$share/asterisk/sounds
prompts_english() { each "$asterisk"/en_*/*.wav; } # not digits/, letters/ and phonetic/
prompts() { some 2 "$asterisk"/"$1"_*/*.wav "$asterisk"/"$1"_*/digits/*.wav; }
shouts() {
    for who in British Default Classic Pirate Mobster HillBilly Surfer; do
        each "$share/games/hedgewars/Data/Sounds/voices/$who"/*.ogg
    done
    each "$share"/scratch/Media/Sounds/Human/*.wav "$share"/scratch/Media/Sounds/Vocals/*.wav
}
words() { each "$share"/ktuberling/sounds/en/*.ogg; some 3 "$share"/ktuberling/sounds/[a-df-z]*/*.ogg; }
synthetic() {
    # Paragraphs of licences; each voice reads six.
    local n=0
    cat /usr/share/common-licenses/{GPL-3,Artistic,MPL-2.0} | tr '"`<>' '    ' | awk 'BEGIN {RS = ""} length > 150 && length < 700 && n++ < 60 {
        gsub(/[ \n]+/, " "); print}' >"$temporary/paragraphs"
    while read -r paragraph; do
        say "${voices[$((n % ${#voices[@]}))]}" "$paragraph" "$temporary/talk-$n.wav"
        add "$temporary/talk-$n.wav"
        n=$((n + 1))
    done <"$temporary/paragraphs"
}
music() { for file in "$share"/asterisk/moh/*.wav; do add "$file" 96; done; }
work() {
    local sounds=$share/games/widelands/data/sound effects=$share/games/hedgewars/Data/Sounds
    for _ in 1 2; do
        each "$sounds"/{hammering,smiths,mill,woodcutting,metal,sawmill,stonecutting,other}/*.ogg \
            "$sounds"/atlanteans/{saw,cutting}/*.ogg "$sounds"/barbarians/{mortar,stonegrind}.ogg "$sounds"/*/taverns/*.ogg \
            "$effects"/{drillgun,hammer,pickhammer,blowtorch,minigun,steam,plane,bee,steps,whipcrack,graveimpact}.ogg
    done
    each "$share"/scratch/Media/Sounds/{Effects,Animal,Percussion}/*.wav "$sounds"/animals/*.ogg "$sounds"/farm/*.ogg
}
alarms() {
    each "$share"/sounds/freedesktop/stereo/*.oga
    make() { sox -D -R -n -r 16000 -c 1 -b 16 "$temporary/$1.wav" "${@:2}" && add "$temporary/$1.wav"; }
    make two-tone synth 1 sine 800 gain -3 synth 0.5 sine fmod 960 repeat 12
    make sweep synth 1.2 sine 600:1200 gain -3 repeat 15
    make beeps synth 0.1 square 2800 gain -6 pad 0 0.4 repeat 30
    make bell synth 0.04 pluck 1800 gain -3 repeat 300
    make detector synth 0.5 square 3100 gain -6 pad 0 0.5 repeat 15
    make horn synth 2 sawtooth 420 synth 2 sawtooth mix 337 gain -3 pad 0 0.7 repeat 7
}
noises() {
    make() { sox -D -R -n -r 16000 -c 1 -b 16 "$temporary/$1.wav" "${@:2}" && add "$temporary/$1.wav"; }
    for bed in drill hum pink; do add "$cache/beds/$bed.wav" 40; done
    make wind synth 40 brownnoise band 400 300 tremolo 0.2 90 gain -n -3
    make knocks synth 0.03 brownnoise fade 0 0.03 0.02 gain -n -3 pad 0 0.35 repeat 80
    make percussion-drill synth 30 brownnoise tremolo 45 95 gain -n -3
    make grinder synth 30 sawtooth 190:310 synth 30 whitenoise mix overdrive 10 gain -n -3
    make clatter synth 0.4 noise bandpass 3000 1500 fade 0 0.4 0.35 gain -n -3 pad 0 0.5 repeat 30
    make hob synth 40 sine 100 synth 40 sine mix 300 tremolo 7 40 gain -n -6
}

stream actors actors
stream readers readers
stream prompts-english prompts_english
for language in es fr it ru; do stream "prompts-$language" prompts "$language"; done
stream shouts shouts
stream words words
stream synthetic synthetic
stream music music
stream work work
stream alarms alarms
stream noises noises

# mix NAME SPEECH FROM SECONDS NOISE FACTOR: the same talk with something else going on.
mix() {
    [ -s "$hour/$1.wav" ] && return
    sox -D -R -V1 -m -v 0.9 "|sox -D -R $hour/$2.wav -p trim $3 $4" -v "$6" "|sox -D -R $hour/$5.wav -p repeat 4 trim 0 $4" \
        -b 16 "$temporary/mixed.wav"
    mv "$temporary/mixed.wav" "$hour/$1.wav"
    awk -F'\t' -v from="$3" -v to=$(($3 + $4)) '$1 >= from - 5 && $1 < to {printf "%.2f\t%s\n", $1 - from, $2}' \
        "$hour/$2.index" >"$hour/$1.index"
    echo "$1: $(soxi -D "$hour/$1.wav" | awk '{printf "%.1f", $1 / 60}') minutes"
}
mix mixed-actors-music actors 0 420 music 0.4
mix mixed-prompts-work prompts-english 60 300 work 0.6
mix mixed-shouts-noises shouts 0 240 noises 0.5
mix mixed-actors-shouts actors 480 300 shouts 0.7

read -ra rules <<<"${RULES:-anything insulation isolation}"
hearing=()
for rule in "${rules[@]}"; do
    "$program" hear --json --rule "$rule" "$hour"/*.wav >"$hour/heard-$rule.jsonl" &
    hearing+=($!)
done
for process in "${hearing[@]}"; do wait "$process"; done
python3 hour.py "$hour" "${rules[@]}"
