#!/bin/sh
# From a bare Debian (12 or 13) to a built onegrain:
#
#   sh bootstrap.sh            installs what is missing and builds
#   sh bootstrap.sh demo       the same, then runs the demo cell and says where its report lies
#   sh bootstrap.sh test       the same, then runs the whole test suite
#   sh bootstrap.sh sanitized  the suite in a build with the address and undefined-behaviour sanitizers
#   sh bootstrap.sh fuzz       libFuzzer on every reader, four seconds each; built by Clang
#   sh bootstrap.sh package    what can be passed on, in the folder package/: a .deb for this Debian, one static program for any Linux
#
# Works from any folder, as root or through sudo; a second run only does what has changed. Where there is no apt-get it says what is
# needed, and goes on with what is there.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
cd "$here"
goal=${1:-build}
case $goal in build|demo|test|sanitized|fuzz|package) ;;
  *) echo "bootstrap.sh: '$goal' is none of build, demo, test, sanitized, fuzz, package" >&2; exit 2 ;;
esac

say() { printf '%s\n' "bootstrap: $*" >&2; }

as_root() {
  if [ "$(id -u)" -eq 0 ]; then "$@"
  elif command -v sudo >/dev/null 2>&1; then sudo "$@"
  else say "this needs root: run it as root, or install sudo"; exit 1
  fi
}

jobs() {  # as many as there are cores, and a gigabyte for each
  cores=$(getconf _NPROCESSORS_ONLN 2>/dev/null || echo 1)
  free=$(awk '/^MemAvailable:/ { print int($2 / 1000000) }' /proc/meminfo 2>/dev/null || echo 1)
  [ "${free:-1}" -lt "$cores" ] && cores=$free
  [ "$cores" -ge 1 ] || cores=1
  echo "$cores"
}

# --- packages -------------------------------------------------------------------------------------------------------
packages="g++ cmake ninja-build dpkg-dev libeigen3-dev libyaml-cpp-dev libcli11-dev libfmt-dev nlohmann-json3-dev
libmuparser-dev libboost-dev"
case $goal in test|sanitized|fuzz) packages="$packages catch2 libudunits2-dev python3-scipy python3-yaml python3-jsonschema
nodejs shellcheck" ;; esac
# The engine of the page to teach with is compiled again and compared, and the page played through in two browsers.
[ "$goal" != test ] || packages="$packages emscripten chromium chromium-driver firefox-esr python3-websocket"

install() { as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null; }

install_missing() {
  if [ "$goal" = fuzz ]; then
    apt-cache show clang >/dev/null 2>&1 || as_root apt-get update -qq || true  # a bare machine knows no package yet
    # libFuzzer is part of Clang's run-time library; where apt names none for this Clang, an older Clang brings it along.
    version=$(apt-cache depends clang 2>/dev/null | sed -n 's/.*Depends: clang-\([0-9]*\)$/\1/p' | head -n 1)
    packages="$packages clang ${version:+libclang-rt-$version-dev}"
  fi
  missing=
  for package in $packages; do
    dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'install ok installed' || missing="$missing $package"
  done
  [ -n "$missing" ] || return 0
  say "installing$missing"
  as_root apt-get update -qq
  # shellcheck disable=SC2086  # a list of words
  install $missing
}

need() {  # need COMMAND WHAT
  command -v "$1" >/dev/null 2>&1 || { say "missing: $2"; lacking=1; }
}

look_around() {  # no Debian: nothing is installed, what is there is used
  say "no apt-get here, so nothing is installed; what onegrain needs, by whatever name your system has it:"
  say "  a C++20 compiler (GCC 12 or Clang 14), CMake 3.25, Ninja, and with their headers: Eigen 3.4, yaml-cpp, CLI11, fmt,"
  say "  JSON for Modern C++ (nlohmann), muParser, Boost, SUNDIALS (CVODES)"
  case $goal in test|sanitized|fuzz)
    say "  for the tests: Catch2, UDUNITS-2, Python 3 with SciPy, PyYAML and jsonschema, Node.js, ShellCheck; to fuzz: Clang" ;;
  esac
  lacking=
  need c++ "a C++ compiler (c++)"; need cmake "CMake"; need ninja "Ninja"
  [ -z "$lacking" ] || exit 1
  say "going on with what is there; CMake names the first library that it does not find"
}

# --- sources: what Debian compiles without optimisation is compiled anew --------------
fetch_source() {  # fetch_source NAME OF_THE_FOLDER: Debian's own source package, unpacked into .deps
  ls -d .deps/"$2"-*/ >/dev/null 2>&1 && return 0
  say "fetching the source of $1"
  mkdir -p .deps/apt/lists/partial .deps/apt/sources
  # a copy of this machine's package sources that asks for source packages; nothing of the machine's own is changed
  if [ ! -e .deps/apt/updated ]; then
    if [ -f /etc/apt/sources.list ]; then
      sed -n 's/^deb \(.*\)/deb-src \1/p' /etc/apt/sources.list > .deps/apt/sources/from-list.list
    fi
    for file in /etc/apt/sources.list.d/*.list; do
      [ -f "$file" ] && sed -n 's/^deb \(.*\)/deb-src \1/p' "$file" >> .deps/apt/sources/from-list.list
    done
    for file in /etc/apt/sources.list.d/*.sources; do
      [ -f "$file" ] && sed 's/^Types:.*/Types: deb-src/' "$file" > ".deps/apt/sources/$(basename "$file")"
    done
  fi
  apt="-qq -o Dir::Etc::SourceList=/dev/null -o Dir::Etc::SourceParts=$here/.deps/apt/sources
       -o Dir::State::Lists=$here/.deps/apt/lists -o APT::Sandbox::User=root"
  # shellcheck disable=SC2086
  if { [ -e .deps/apt/updated ] || apt-get $apt update >/dev/null; } && : > .deps/apt/updated &&
     (cd .deps && apt-get $apt --only-source source "$2" >/dev/null); then
    rm -f .deps/*.tar.* .deps/*.dsc
  else
    rm -rf .deps/"$2"[-_]*
    return 1
  fi
}

if command -v apt-get >/dev/null 2>&1 && command -v dpkg-query >/dev/null 2>&1; then
  install_missing
  fetch_source SUNDIALS sundials ||
    { say "no source package to be had; falling back to Debian's own SUNDIALS (3 to 5 times slower)"; install libsundials-dev; }
  if [ "$goal" = package ]; then fetch_source fmt fmtlib; fetch_source muParser muparser; fi
  rm -rf .deps/apt
else
  look_around
fi

# --- build ----------------------------------------------------------------------------------------------------------
progress() {  # lines of the build go into a log; how far it is stands on the screen
  shown=0
  while IFS= read -r line; do
    printf '%s\n' "$line" >>"$1"
    case $line in \[*/*\]*) ;; *) continue ;; esac
    if [ -t 2 ]; then printf '\r   %s of %s ' "$(echo "$line" | sed 's|^\[\([0-9]*\)/.*|\1|')" "$(echo "$line" | sed 's|^[^/]*/\([0-9]*\)\].*|\1|')" >&2
    else shown=$((shown + 1)); [ $((shown % 50)) -ne 0 ] || printf '   %s\n' "${line%%]*}]" >&2
    fi
  done
  [ ! -t 2 ] || printf '\r                    \r' >&2
}

build() {  # build PRESET TESTS [BUILD_PRESET]
  say "building ($1)"
  log=build-$1.log
  cmake --preset "$1" -DBUILD_TESTING="$2" >"$log" 2>&1 || { cat "$log" >&2; exit 1; }
  rm -f "$log.failed"
  { cmake --build --preset "${3:-$1}" -j "$(jobs)" 2>&1 || : >"$log.failed"; } | progress "$log"
  if [ -e "$log.failed" ]; then rm -f "$log.failed"; tail -n 60 "$log" >&2; exit 1; fi
  rm -f "$log"
}

case $goal in
  build) build release OFF; say "built: $here/build/release/app/onegrain" ;;
  demo)
    build release OFF
    mkdir -p onegrain-demo
    [ -f onegrain-demo/demo.yaml ] || build/release/app/onegrain cards demo > onegrain-demo/demo.yaml
    build/release/app/onegrain rates onegrain-demo/demo.yaml --both --out onegrain-demo
    echo
    echo "The report:        $here/onegrain-demo/report.html   (open it in a browser)"
    echo "The demo's sheet:  $here/onegrain-demo/demo.yaml"
    echo "Change a number in it, for instance a particle_radius, and type the same command again."
    ;;
  test) build release ON; ctest --preset release -j2 ;;
  sanitized) build dev ON; ctest --preset dev -j2 ;;
  package)
    build release OFF
    rm -rf package && mkdir package
    log=build-package.log
    { cmake --build --preset release --target onegrain_static && cpack --config build/release/CPackConfig.cmake; } >"$log" 2>&1 ||
      { tail -n 40 "$log" >&2; exit 1; }
    rm -f "$log"
    version=$(build/release/app/onegrain --version | cut -d ' ' -f 2)
    cp build/release/app/onegrain_static "package/onegrain-$version-linux-$(uname -m)"
    say "for this Debian, with its dependencies (apt install ./FILE):  $(ls package/*.deb)"
    say "for any Linux of this processor, needing nothing:             $(ls package/*-linux-*)"
    ;;
  fuzz) build clang ON fuzz; sh tests/attack/fuzz/run.sh --seconds 4 build/clang ;;
esac
