#!/usr/bin/env bash
# speak.sh FILE VOICE WORDS: the words spoken by a synthetic voice, 16 kHz, with a little quiet on both sides. Voices
# are counted from 0 to 6; from 7 on they are the same again, slower, as a person says it again more clearly. Needs
# Debian's espeak-ng, flite and sox.
set -euo pipefail
# engine, voice, words a minute or stretch, pitch
voices=(
    "espeak-ng en-gb 140 45"
    "espeak-ng en-gb 120 50"
    "espeak-ng en-us 130 50"
    "espeak-ng en-gb-x-rp+f3 130 50"
    "flite awb 1.1 0"
    "flite rms 1.05 0"
    "flite slt 1.1 0"
)
read -r engine voice speed pitch <<<"${voices[$(($2 % ${#voices[@]}))]}"
again=$(($2 / ${#voices[@]}))
text=" $3 "
# Words that synthesisers read better in another spelling, as in tests/clips/make.sh.
text=${text// megohms / meg ohms }
text=${text// kiloamps / kilo amps }
if [ "$engine" = flite ]; then
    stretch=$(awk -v s="$speed" -v n="$again" 'BEGIN {print s * (1 + 0.15 * n)}')
    flite -voice "$voice" --setf "duration_stretch=$stretch" -t "${text# }" -o "$1.raw.wav"
else
    espeak-ng -v "$voice" -s $((speed - 15 * again)) -p "$pitch" -w "$1.raw.wav" "${text# }"
fi
sox -D "$1.raw.wav" -r 16000 -c 1 -b 16 "$1" \
    silence 1 0.02 0.3% reverse silence 1 0.02 0.3% reverse gain -n -6 pad 0.4 0.4
rm "$1.raw.wav"
