#!/usr/bin/env bash
# Makes a Debian package of the release build, with everything in it that the program needs:
#
#   tests/tools/package.sh OUT-DIR    writes bothhands_VERSION_ARCH.deb and prints its path
#
# The models are inside the program. The libraries it depends on are found by dpkg-shlibdeps.
set -euo pipefail
out=$(mkdir -p "$1" && cd "$1" && pwd)
version=$(sed -n '/^\[package\]/,/^\[/s/^version = "\(.*\)"/\1/p' Cargo.toml)
architecture=$(dpkg --print-architecture)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
root=$work/root
make --no-print-directory install DESTDIR="$root" PREFIX=/usr >&2
gzip -9n "$root"/usr/share/man/man1/*.1 "$root/usr/share/doc/bothhands/CHANGELOG.md"
cat >"$root/usr/share/doc/bothhands/copyright" <<END
Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/
Upstream-Name: bothhands

Files: *
Copyright: 2026 the bothhands authors
License: MIT or Apache-2.0
 The texts of both are in LICENSE-MIT and LICENSE-APACHE beside this file.
 NOTICE names the ingredients of the models.
END
# dpkg-shlibdeps wants to stand beside a debian/control.
mkdir "$work/debian"
printf 'Source: bothhands\n\nPackage: bothhands\nArchitecture: any\n' >"$work/debian/control"
depends=$(cd "$work" && dpkg-shlibdeps -O root/usr/bin/bothhands 2>/dev/null |
    sed -n 's/^shlibs:Depends=//p')
[ -n "$depends" ] || { echo "what the program depends on was not found" >&2; exit 1; }
mkdir "$root/DEBIAN"
size=$(du -sk --exclude=DEBIAN "$root" | cut -f1)
cat >"$root/DEBIAN/control" <<END
Package: bothhands
Version: $version
Architecture: $architecture
Maintainer: the bothhands authors <bothhands@localhost>
Installed-Size: $size
Depends: $depends
Recommends: speech-dispatcher, speech-dispatcher-espeak-ng
Section: science
Priority: optional
Description: voice companion for testing an electrical installation
 Listens offline while both hands hold probes, leads through safe isolation and
 the tests in their order, reads every value back, keeps a list of what is out
 until it is back, and makes the schedule of test results.
 .
 Testing can kill. For competent persons, or learners under direct supervision.
 It records, compares and reminds; the person decides.
END
(cd "$root" && find usr -type f -print0 | sort -z | xargs -0 md5sum >DEBIAN/md5sums)
find "$root" -type d -exec chmod 755 {} +
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || date +%s)}
export SOURCE_DATE_EPOCH
package=$out/bothhands_${version}_$architecture.deb
dpkg-deb --root-owner-group --build "$root" "$package" >&2
echo "$package"
