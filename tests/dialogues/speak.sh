#!/usr/bin/env bash
# speak.sh FILE ATTEMPT WORDS: the words spoken by espeak-ng, 16 kHz, with a little quiet on both sides. Another
# attempt is another voice, as a person says it again more clearly. Needs Debian's espeak-ng and sox.
set -euo pipefail
voices=("en-gb 140 45" "en-gb 120 50" "en-us 130 50" "en-gb-x-rp+f3 130 50")
read -r voice speed pitch <<<"${voices[$(($2 % ${#voices[@]}))]}"
text=" $3 "
# Words that synthesisers read better in another spelling, as in tests/clips/make.sh.
text=${text// megohms / meg ohms }
text=${text// kiloamps / kilo amps }
espeak-ng -v "$voice" -s "$speed" -p "$pitch" -w "$1.raw.wav" "${text# }"
sox -D "$1.raw.wav" -r 16000 -c 1 -b 16 "$1" \
    silence 1 0.02 0.3% reverse silence 1 0.02 0.3% reverse gain -n -6 pad 0.4 0.4
rm "$1.raw.wav"
