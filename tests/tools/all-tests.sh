#!/usr/bin/env bash
# Every test of the library, the program and tests/. Sound runs in real time and mostly waits: it goes on beside
# the others, which give way to it.
set -euo pipefail
cd "$(dirname "$0")/../.."
sound=$(mktemp)
trap 'rm -f "$sound"' EXIT
cargo test --locked --test it sound:: -- --nocapture >"$sound" 2>&1 &
aloud=$!
others=0
nice -n 10 cargo test --locked --lib --bins --test it -- --skip sound:: || others=$?
went=0
wait "$aloud" || went=$?
echo "== sound"
# What was tried twice is shown whole.
if [ "$went" -ne 0 ] || grep -q '^\*\*\*' "$sound"; then
    cat "$sound"
else
    grep '^test ' "$sound"
fi
exit $((others > went ? others : went))
