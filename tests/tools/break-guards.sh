#!/usr/bin/env bash
# Takes the guards of the state machine out, one at a time, in a copy, and shows that the walk of
# tests/sequence/model_walk.rs finds each: a check that cannot fail is none. Minutes; exit status 1 when one is not found.
set -euo pipefail
cd "$(dirname "$0")/../.."
# A folder of its own: builds of two trees with the same names would be taken for each other.
export CARGO_TARGET_DIR=$PWD/target/broken
copy=$(mktemp -d)
trap 'git worktree remove --force "$copy"' EXIT
git worktree add --quiet --detach "$copy" HEAD
cd "$copy"
missed=0
# try WHAT FILE FROM TO: FROM must stand in FILE exactly once.
try() {
    if [ "$(grep -cF "$3" "$2")" != 1 ]; then
        echo "not one place: $3 in $2"
        missed=1
        return
    fi
    FROM=$3 TO=$4 perl -pi -e 's/\Q$ENV{FROM}\E/$ENV{TO}/' "$2"
    if output=$(WALK=100000 cargo test --quiet --locked --test it model_walk 2>&1); then
        echo "NOT FOUND: $1"
        missed=1
    else
        echo "found: $1: $(grep -oE 'would be [^"]*|broke[^"]*' <<<"$output" | head -1 | cut -c1-110)"
    fi
    git checkout --quiet -- "$2"
}
try "dead tests before proving dead" src/sequence/state.rs "            if !self.proved_dead(board) {" "            if false {"
try "live tests before energising" src/sequence/state.rs "        if step.is_live_test() {" "        if false {"
try "500 V with electronics in" src/sequence/procedures/insulation.rs "            if !inside.is_empty() {" "            if false {"
try "energised with things out" src/sequence/procedures/energise.rs "        state.nothing_out()?;" ""
try "a link left on by override" src/sequence/state.rs "        let must = self.open_entries().filter(|e| e.must_go_back()).count();" "        let must = 0;"
try "energised with dead tests open" src/sequence/procedures/energise.rs "        if open > 0 {" "        if false {"
exit $missed
