#!/bin/sh
# What holds the standard of the code beyond what every suite checks, one part after the other:
#
#   sh tests/long/standard.sh [PART...]
#
#   format       every source lies as .clang-format wants it
#   tidy         clang-tidy over every library and the program (.clang-tidy, with a reason for each check left out)
#   eslint       the page's script and its tests (tests/web/eslint.config.mjs); fetched by npm into build/eslint
#   odr          one link of the program with all of it optimised together: no name means two things (-flto -Wodr)
#   unoptimised  the suite under the sanitizers with nothing optimised at all, numerics included
#   coverage     lines of the libraries and the program, and of the page's script, that the suite runs
#   browsers     the pages of every verb in Chromium and in Firefox (tests/web/browsers.py)
#
# Debian's packages for it: clang-format clang-tidy gcovr npm chromium firefox-esr. Logs go to build/long; status 1 where a part fails.
set -u
root=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
cd "$root" || exit 2
parts=${*:-format tidy eslint odr unoptimised coverage browsers}
jobs=$(getconf _NPROCESSORS_ONLN 2>/dev/null || echo 1)
logs=build/long
mkdir -p "$logs"
failures=0

part() {  # part NAME COMMAND...
  name=$1; shift
  printf '%s: ' "$name"
  if "$@" >"$logs/$name.log" 2>&1; then echo passed; else failures=$((failures + 1)); echo "FAILED; see $logs/$name.log"; fi
}

format() { git ls-files '*.cpp' '*.hpp' | xargs clang-format --dry-run --Werror; }

tidy() { cmake --preset tidy -DONEGRAIN_UNITY=OFF -DCMAKE_DISABLE_PRECOMPILE_HEADERS=ON && cmake --build --preset tidy -j "$jobs" --target onegrain; }

eslint() {
  mkdir -p build/eslint && cp tests/web/eslint.config.mjs build/eslint/
  [ -x build/eslint/node_modules/.bin/eslint ] || (cd build/eslint && npm init -y && npm install eslint@9 @eslint/js@9) || return 1
  build/eslint/node_modules/.bin/eslint -c build/eslint/eslint.config.mjs app/render/web/blocks app/render/web/page.js tests/web
}

odr() {
  cmake --preset release -B build/odr -DCMAKE_CXX_FLAGS="-flto -Wodr -Werror=odr -Wlto-type-mismatch" &&
    cmake --build build/odr -j "$jobs" --target onegrain && ! grep -q 'violates the C++ One Definition Rule' "$logs/odr.log"
}

unoptimised() {
  cmake --preset dev -B build/unoptimised -DBUILD_TESTING=ON -DCMAKE_CXX_FLAGS_DEBUG="-O0 -g1" -DONEGRAIN_NUMERICS="-O0" &&
    cmake --build build/unoptimised -j "$jobs" &&
    ctest --test-dir build/unoptimised -j "$jobs" --output-on-failure -E 'intervals of 95 % hold the truth|every summary keeps'
}

coverage() {
  cmake --preset release -B build/coverage -DBUILD_TESTING=ON -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_FLAGS_DEBUG="-O1 --coverage -fprofile-update=atomic" &&
    cmake --build build/coverage -j "$jobs" && ctest --test-dir build/coverage -j "$jobs" -E 'intervals of 95 % hold the truth' &&
    gcovr -r . build/coverage --filter '(model|solver|params|app)/' --gcov-ignore-parse-errors -j "$jobs" &&
    node --test --experimental-test-coverage tests/web/*.test.mjs
}

browsers() { python3 tests/web/browsers.py build/release/app/onegrain; }

for name in $parts; do
  case $name in
    format | tidy | eslint | odr | unoptimised | coverage | browsers) part "$name" "$name" ;;
    *) echo "standard.sh: '$name' is no part" >&2; exit 2 ;;
  esac
  case $name in
    coverage) grep -E '^TOTAL|^# all files' "$logs/coverage.log" ;;
    browsers) tail -n 3 "$logs/browsers.log" ;;
  esac
done
[ "$failures" -eq 0 ]
