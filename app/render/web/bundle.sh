#!/bin/sh
# Makes d3_subset.min.js: the parts of d3 that the blocks draw with, as one minified script that defines `d3`.
# Only needed to change the version or the list below; building onegrain needs neither this script nor node.
#
#   sh app/render/web/bundle.sh        (needs node and npm)
set -eu

d3_version=7.9.0
esbuild_version=0.25.5

here=$(cd "$(dirname "$0")" && pwd)
room=$(mktemp -d)
trap 'rm -rf "$room"' EXIT
cd "$room"

npm init -y >/dev/null
npm install --silent --no-audit --no-fund "d3@$d3_version" "esbuild@$esbuild_version"

cat >subset.js <<'END'
export { extent } from "d3-array";
export { axisBottom, axisLeft, axisRight } from "d3-axis";
export { interpolateLab } from "d3-interpolate";
export { scaleLinear, scaleLog } from "d3-scale";
export { pointer, select } from "d3-selection";
export { area, line, stack, stackOffsetDiverging, symbol, symbolCircle, symbolSquare } from "d3-shape";
END

npx esbuild subset.js --bundle --minify --format=iife --global-name=d3 --target=es2019 --charset=ascii \
  --legal-comments=none --outfile=d3_subset.min.js --log-level=warning \
  --banner:js="/* Parts of d3 $d3_version, ISC licence, Copyright 2010-2023 Mike Bostock: see d3_LICENSE.txt. Made by bundle.sh. */"

# The text is placed inside a script element, which either of these would upset.
if grep -qi -e '</script' -e '<!--' d3_subset.min.js; then
  echo "bundle.sh: the bundle holds text that would end or disturb a script element" >&2
  exit 1
fi

cp d3_subset.min.js "$here/d3_subset.min.js"
cp node_modules/d3/LICENSE "$here/d3_LICENSE.txt"
echo "wrote $(wc -c <d3_subset.min.js) bytes"
