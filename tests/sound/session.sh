#!/usr/bin/env bash
# Speaks a whole session into the program and checks its log; takes a few minutes, since sound
# takes its time. SPOKEN_WAV=FILE keeps what the program said; BOTHHANDS=PROGRAM tests another
# build of it.
set -eu
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
cd "$here/../.."
cargo test --quiet --test it --no-run
exec "$here/with-sound-server.sh" cargo test --quiet --test it sound::session:: -- --ignored --nocapture
