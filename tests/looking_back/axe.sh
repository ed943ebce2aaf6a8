#!/bin/sh
# Fetches axe-core (Deque's general-purpose accessibility rules, MPL-2.0) from the npm registry for
# the browser test; it is used there only and never shipped.
set -eu
cd "$(dirname "$0")/../.."
mkdir -p tests/cache/axe-core
cd tests/cache/axe-core
test -s axe.min.js && exit 0
npm pack --silent axe-core@4 >/dev/null
tar -xzf axe-core-*.tgz --strip-components=1 package/axe.min.js package/LICENSE
rm axe-core-*.tgz
