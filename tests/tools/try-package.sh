#!/usr/bin/env bash
# Installs a Debian package of the program in a clean Debian 12 and runs it there: every page and
# completion is there, a job is checked and typed, and it is heard at a loudspeaker that is none. Tells
# how long that took from the beginning of the installation to the first sound: the cautions come
# before the first prompt, and take half a minute.
#
#   tests/tools/try-package.sh PACKAGE.deb
#
# Wants root, or sudo without a password. Packages come from where this machine gets its own.
# Debian package: mmdebstrap.
set -euo pipefail
package=$(realpath "$1")
here=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
sudo=()
[ "$(id -u)" -eq 0 ] || sudo=(sudo)
work=$(mktemp -d)
trap '"${sudo[@]}" rm -rf "$work"' EXIT
chmod 755 "$work"

# Where this machine gets packages, in either form.
sources=()
for file in /etc/apt/sources.list /etc/apt/sources.list.d/*.sources /etc/apt/sources.list.d/*.list; do
    [ -s "$file" ] && sources+=("$file")
done

cat >"$work/inside.sh" <<'END'
#!/bin/bash
# In the clean system: from the beginning of the installation to the first sound.
set -euo pipefail
cd /root
before=$(date +%s.%N)
export DEBIAN_FRONTEND=noninteractive
# As on any Debian: what is recommended comes with it, the speech service among it.
apt-get install -q -y -o APT::Install-Recommends=true /root/bothhands.deb >/root/install.log 2>&1 || { tail /root/install.log; exit 1; }
installed=$(date +%s.%N)
bothhands --version
test -s /usr/share/man/man1/bothhands.1.gz
test -s /usr/share/man/man1/bothhands-test.1.gz
for completed in bash-completion/completions/bothhands zsh/site-functions/_bothhands \
    fish/vendor_completions.d/bothhands.fish; do
    test -s "/usr/share/$completed"
done
cp /usr/share/doc/bothhands/boathouse.toml job.toml
bothhands check job.toml | head -3
cat >first-word.sh <<'WORD'
set -u
parec --latency-msec=20 -d speaker.monitor --raw >heard.raw 2>/dev/null &
recorder=$!
sleep infinity | bothhands test job.toml --words - --voice system >shown.txt 2>&1 &
for _ in $(seq 1200); do
    # The loudspeaker gives nothing but zeros until something is said.
    if [ -n "$(tr -d '\0' <heard.raw | head -c 1 | od -An -tx1)" ]; then
        date +%s.%N >heard.at
        break
    fi
    sleep 0.05
done
kill "$recorder" 2>/dev/null
WORD
/root/with-sound-server.sh bash first-word.sh || true
test -s heard.at || { echo "nothing was heard; shown:"; cat shown.txt; exit 1; }
heard=$(cat heard.at)
printf 'done\nproved\nisolated\n' >words.txt
bothhands test job.toml --words words.txt --db typed.db | tail -3
bothhands verify typed.db | head -2
awk -v a="$before" -v b="$installed" -v c="$heard" 'BEGIN {
    printf "installed in %.0f s; heard for the first time after %.0f s (wanted: 120)\n", b - a, c - a
    exit c - a > 120 }'
END
chmod 755 "$work/inside.sh"

echo "== a clean Debian 12"
# What a desktop has: a sound system. Not counted.
"${sudo[@]}" mmdebstrap --quiet --variant=apt --mode=root \
    --include=ca-certificates,pulseaudio,pulseaudio-utils,libasound2-plugins,alsa-utils,espeak-ng,procps,util-linux \
    --customize-hook="copy-in $work/inside.sh /root" \
    --customize-hook="copy-in $here/tests/sound/with-sound-server.sh /root" \
    --customize-hook="upload $package /root/bothhands.deb" \
    --customize-hook='chroot "$1" /root/inside.sh' \
    bookworm "$work/root" "${sources[@]}"
