#!/usr/bin/env bash
# Installs the Debian packages named, if any is missing. COMMAND=PACKAGE is missing only where the
# command is, whoever installed it. On another system it says what is needed and goes on.
set -euo pipefail
names=("${@##*=}")
if ! command -v dpkg-query >/dev/null; then
    echo "This is not a Debian system. Needed, by their Debian names: ${names[*]}" >&2
    exit 0
fi
missing=()
for package in "$@"; do
    command=${package%%=*}
    if [ "$command" != "$package" ] && command -v "$command" >/dev/null; then
        continue
    fi
    status=$(dpkg-query -W -f '${Status}' "${package##*=}" 2>/dev/null || true)
    [ "$status" = "install ok installed" ] || missing+=("${package##*=}")
done
[ ${#missing[@]} -eq 0 ] && exit 0
echo "== installing ${missing[*]}"
sudo=()
if [ "$(id -u)" -ne 0 ]; then
    sudo=(sudo)
fi
export DEBIAN_FRONTEND=noninteractive
"${sudo[@]}" apt-get update -q
"${sudo[@]}" apt-get install -q -y --no-install-recommends "${missing[@]}"
