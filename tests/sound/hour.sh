#!/usr/bin/env bash
# An hour in the test room, or MINUTES: memory, processor time, overruns and drift of the program
# while somebody says a few things every five minutes.
#
#   tests/sound/hour.sh [MINUTES]
#
# BOTHHANDS=PROGRAM measures another build of it.
set -eu
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
cd "$here/../.."
export MINUTES=${1:-60}
if [ -z "${BOTHHANDS:-}" ]; then
  cargo build --quiet --release --locked
  export BOTHHANDS=$PWD/target/release/bothhands
fi
cargo test --quiet --test it --no-run
# Whoever asks the sound server for small pieces makes everybody's small.
export SOUND_SERVER_SLOW=1
exec "$here/with-sound-server.sh" cargo test --quiet --test it sound::hour:: -- --ignored --nocapture
