#!/usr/bin/env bash
# Installs a Debian package of the program in a clean Debian 12 and uses it there as a newcomer would:
# every page and completion is there, a job is begun by the interview, checked and tested, and the program
# is heard at a loudspeaker that is none. Tells how long each part took, from the beginning of the
# installation to the first sound (the cautions) and to the end of the first prompt. The answers are typed
# as a person would: 3 seconds to read each question, then 200 characters a minute (40 words, an
# ordinary typist; from memory).
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
typed() {
    while IFS= read -r answer; do
        sleep "$(awk -v n="${#answer}" 'BEGIN { print 3 + (n + 1) * 60 / 200 }')"
        printf '%s\n' "$answer"
    done
}
typed <<'ANSWERS' | bothhands new job.toml --ask >asked.txt 2>&1 || { cat asked.txt; exit 1; }
Kingfisher Rowing Club
new
A. Learner
tncs
1
none
water and gas
IT-2204, 31 March 2027
VI-0117
workshop board
1, ring, B32 RCBO, 6 kA, 8 sockets
done
ANSWERS
begun=$(date +%s.%N)
bothhands check job.toml >checked.txt
head -3 checked.txt
checked=$(date +%s.%N)
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
# Two seconds without a sound (44,100 samples of 2 channels, 2 bytes each): the prompt has been said.
for _ in $(seq 240); do
    sleep 0.25
    if [ -z "$(tail -c 352800 heard.raw | tr -d '\0' | head -c 1 | od -An -tx1)" ]; then
        date +%s.%N >said.at
        break
    fi
done
kill "$recorder" 2>/dev/null
WORD
/root/with-sound-server.sh bash first-word.sh || true
test -s heard.at || { echo "nothing was heard; shown:"; cat shown.txt; exit 1; }
heard=$(cat heard.at)
said=$(cat said.at)
bothhands log job.db >log.txt
grep -m 1 'identify what you will isolate' log.txt || { echo "no prompt in the log:"; cat log.txt; exit 1; }
printf 'done\nproved\nisolated\n' >words.txt
bothhands test job.toml --words words.txt --db typed.db | tail -3
bothhands verify typed.db >verified.txt
head -2 verified.txt
awk -v a="$before" -v b="$installed" -v n="$begun" -v k="$checked" -v c="$heard" -v d="$said" 'BEGIN {
    printf "installed in %.0f s; a job begun by 12 typed answers in %.0f s; checked in %.1f s;", b - a, n - b, k - n
    printf " heard %.1f s after bothhands test\n", c - k
    printf "from the installation to the first sound %.0f s (wanted: 120); cautions and first prompt", c - a
    printf " were said after %.0f s\n", d - 2 - a
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
