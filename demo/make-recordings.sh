#!/usr/bin/env bash
# Speaks demo/script.tsv and demo/practice.tsv into demo/recordings/. Needs espeak-ng, flite and sox. The recordings are
# kept in the repository, so this runs only when the script changes.
set -euo pipefail
cd "$(dirname "$0")"
mkdir -p recordings
rm -f recordings/*.flac
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
n=0
while IFS=$'\t' read -r name voice words; do
    case "$name" in '' | '#'*) continue ;; esac
    # By its number, so that one more changes no other.
    n=$((10#${name:0:2}))
    raw="$work/raw.wav"
    case "$voice" in
    noise) sox -R -n -r 16000 -c 1 "$raw" synth 2.5 pinknoise vol 0.25 ;;
    flite:*) flite -voice "${voice#flite:}" -t "$words" -o "$raw" ;;
    *) espeak-ng -v "$voice" -s $((140 + n % 3 * 5)) -p $((42 + n % 4)) -w "$raw" "$words" ;;
    esac
    # Room sound before, after and under it all, a plain telephone-like level, one channel of 16 bit.
    sox -R "$raw" -r 16000 -c 1 "$work/speech.wav" gain -n -8 pad 0.5 0.9
    sox -R -n -r 16000 -c 1 "$work/room.wav" synth "$(soxi -D "$work/speech.wav")" brownnoise vol 0.006
    sox -R -m -v 1 "$work/speech.wav" -v 1 "$work/room.wav" -b 16 "recordings/$name.flac"
done < <(cat script.tsv practice.tsv | awk -F'\t' '!known[$1]++')
echo "$n recordings, $(du -sh recordings | cut -f1)"
