#!/bin/sh
# Every libFuzzer program of a build of the preset `clang`, one after the other:
#
#   sh tests/attack/fuzz/run.sh [--seconds S] [BUILD]     BUILD: build/clang
#
# Status 77 (skipped) where the programs are not built; 1 where an input breaks a promise: it is left in BUILD/fuzz-work.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
seconds=5
while [ $# -gt 0 ]; do
  case $1 in
    --seconds) seconds=$2; shift 2 ;;
    *) break ;;
  esac
done
build=${1:-$here/../../../build/clang}
if [ ! -x "$build/tests/attack/fuzz/fuzz_sheet" ]; then
  echo "skipped: no libFuzzer programs in $build. They need Clang and its run-time library (Debian: clang, libclang-rt-14-dev or"
  echo "libclang-rt-dev): sh bootstrap.sh fuzz"
  exit 77
fi
build=$(CDPATH='' cd -- "$build" && pwd)
bad=
for program in "$build"/tests/attack/fuzz/fuzz_*; do
  if ! [ -x "$program" ] || ! [ -f "$program" ]; then continue; fi
  target=${program##*/fuzz_}
  [ "$target" != replay ] || continue
  work=$build/clang-work/$target
  mkdir -p "$work/found"
  regressions=$here/regressions/$target
  [ -d "$regressions" ] || regressions=
  rm -f "$work"/crash-* "$work"/timeout-* "$work"/oom-*
  # what is new goes into found/, kept from run to run; a unit of more than 10 s is a fault: readers are linear
  if (cd "$work" && "$program" -max_total_time="$seconds" -timeout=10 -rss_limit_mb=3000 -max_len=20000 -print_final_stats=1 \
        -fork=0 found "$build/tests/attack/fuzz/corpora/$target" ${regressions:+"$regressions"} >log 2>&1); then
    printf '%-12s %s runs in %s s, %s inputs kept\n' "$target" "$(sed -n 's/^stat::number_of_executed_units: *//p' "$work/log")" \
      "$seconds" "$(find "$work/found" -type f | wc -l)"
  else
    bad="$bad $target"
    echo "$target: BROKEN; log and input in $work"
    tail -n 15 "$work/log"
  fi
done
[ -z "$bad" ] || { echo "broken:$bad"; exit 1; }
