#!/bin/sh
# Compiles model/, solver/ and the engine of the page to WebAssembly:
#
#   sh app/page/build.sh [FOLDER]
#
# writes engine.wasm.gz, engine.js.gz (what emscripten puts around it) and engine.txt (what made them) into FOLDER, or, without one, into
# app/page, from where they go into the program. Needs emscripten and the source of SUNDIALS that bootstrap.sh fetches; takes a minute.
# The same versions make the same bytes: tests/web/engine.test.mjs holds that, and the numbers.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
root=$(CDPATH='' cd -- "$here/../.." && pwd)
out=${1:-$here}
mkdir -p "$out"
out=$(CDPATH='' cd -- "$out" && pwd)
command -v em++ >/dev/null 2>&1 || { echo "app/page/build.sh: there is no em++; apt-get install emscripten" >&2; exit 77; }
sundials=
for folder in "$root"/.deps/sundials-*/; do [ ! -d "$folder" ] || sundials=$folder; done
[ -n "$sundials" ] || { echo "app/page/build.sh: no source of SUNDIALS in .deps; sh bootstrap.sh fetches it" >&2; exit 77; }
deps=$(readlink -f "$root/.deps")

# Another node than Debian's does not look into Debian's folder of modules, where the linker finds its own.
export NODE_PATH="${NODE_PATH:+$NODE_PATH:}/usr/share/nodejs"
unset CMAKE_CXX_COMPILER_LAUNCHER CMAKE_C_COMPILER_LAUNCHER
build=$(mktemp -d)
trap 'rm -rf "$build"' EXIT
log=$build/log
if ! { emcmake cmake -S "$root" -B "$build/b" -G Ninja -DCMAKE_BUILD_TYPE=Release -DCMAKE_CXX_FLAGS_RELEASE="-O2 -DNDEBUG" \
         -DCMAKE_CXX_FLAGS="-fexceptions -ffile-prefix-map=$root=. -ffile-prefix-map=$deps=.deps" \
         -DCMAKE_C_FLAGS="-fexceptions -ffile-prefix-map=$root=. -ffile-prefix-map=$deps=.deps" \
         -DONEGRAIN_SUNDIALS_SOURCE="${sundials%/}" -DEigen3_DIR=/usr/share/eigen3/cmake &&
       cmake --build "$build/b" --target onegrain_engine -j 2; } >"$log" 2>&1; then
  cut -c1-300 "$log" | tail -n 40 >&2
  exit 1
fi
made=$build/b/app/page/onegrain_engine
gzip -9nc "$made.wasm" >"$out/engine.wasm.gz"
gzip -9nc "$made.js" >"$out/engine.js.gz"
{
  em++ --version | sed -n '1s/.*) \([0-9.]*\).*/emscripten \1/p'
  basename "$sundials" | sed 's/+.*//'
} >"$out/engine.txt"
