#!/bin/sh
# The long test: what takes hours and is not asked of every change.
#
#   sh tests/long/run.sh [--cells N] [--fuzz SECONDS] [--jobs J] [--seed S] [--from K] [PART...]
#
#   PART      rates ceiling protocols program fuzz mutants; all of them where none is named
#   --cells   random cells for rates, ceiling and protocols (10000); the program itself takes a hundredth of them
#   --fuzz    seconds of libFuzzer for each of the twelve readers (600)
#   --jobs    processes at a time (as many as there are cores)
#   --seed    of the random cells (20260801); the next --from goes on where the last run ended
#
# Needs a built preset `release`, and for `fuzz` the preset `clang` (sh bootstrap.sh fuzz). Logs go to build/long; the sums, which
# a commit is to keep, to tests/long/last_result.txt. Status 1 where anything fails.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
cd "$root"
cells=10000 fuzz=600 seed=20260801 from=0 jobs=$(getconf _NPROCESSORS_ONLN 2>/dev/null || echo 1)
while [ $# -gt 0 ]; do
  case $1 in
    --cells) cells=$2; shift 2 ;;
    --fuzz) fuzz=$2; shift 2 ;;
    --jobs) jobs=$2; shift 2 ;;
    --seed) seed=$2; shift 2 ;;
    --from) from=$2; shift 2 ;;
    -*) sed -n '2,/^set/p' "$0" | sed '$d; s/^# \{0,1\}//'; exit 2 ;;
    *) break ;;
  esac
done
parts=${*:-rates protocols ceiling program fuzz mutants}
attack=build/release/tests/attack/attack_cells program=build/release/app/onegrain
[ -x "$attack" ] || { echo "no $attack; build the preset release first: sh bootstrap.sh test" >&2; exit 2; }
logs=build/long
mkdir -p "$logs"
result=tests/long/last_result.txt failures=0

note() { printf '%s\n' "$*" | tee -a "$result"; }
changed() { git diff --quiet HEAD -- . ':!tests/long/last_result.txt' 2>/dev/null || echo ", with changes that are not committed"; }

: > "$result"
note "Last run of the long test (sh tests/long/run.sh). Written by it; commit it."
note "date    $(date -u '+%Y-%m-%d %H:%M') UTC"
note "commit  $(git rev-parse --short HEAD 2>/dev/null || echo unknown)$(changed)"
note "asked   $parts; $cells cells from $from on, seed $seed; $fuzz s of fuzzing a reader"

cells_part() {  # cells_part NAME COUNT attack_cells' words...
  name=$1 count=$2; shift 2
  note ""
  note "== $name: $count cases"
  if "$attack" "$@" --seed "$seed" --from "$from" --count "$count" --jobs "$jobs" --shown 20 > "$logs/$name.log" 2>&1; then
    note "passed"
  else
    failures=$((failures + 1))
    note "FAILED; seeds and files in build/long/$name.log"
  fi
  sed -n '/^[0-9]* cases, /,$p' "$logs/$name.log" | sed 's|/[^ ]*/onegrain-attack-[^ /]*||g' | tee -a "$result"
}

for part in $parts; do
  case $part in
    rates) cells_part rates "$cells" --what rates ;;
    protocols) cells_part protocols "$cells" --what protocol ;;
    ceiling) cells_part ceiling "$cells" --what ceiling ;;
    program)
      few=$(((cells + 99) / 100))
      for what in rates protocol ceiling; do cells_part "program-$what" "$few" --what "$what" --program "$program"; done ;;
    fuzz)
      note ""
      note "== fuzz: $fuzz s a reader"
      status=0
      sh tests/attack/fuzz/run.sh --seconds "$fuzz" build/clang > "$logs/fuzz.log" 2>&1 || status=$?
      case $status in
        0) note "passed" ;;
        77) note "NOT RUN: the preset clang is not built (sh bootstrap.sh fuzz)" ;;
        *) failures=$((failures + 1)); note "FAILED; see build/long/fuzz.log" ;;
      esac
      grep -E ' runs in |BROKEN|^broken' "$logs/fuzz.log" | sed "s|$root/||g" | tee -a "$result" || true ;;
    mutants)
      note ""
      note "== mutants"
      if python3 tests/long/mutants.py --jobs "$jobs" > "$logs/mutants.log" 2>&1; then
        note "passed"
      else
        failures=$((failures + 1))
        note "FAILED; see build/long/mutants.log"
      fi
      sed -n '/^[0-9]* mutants/,$p' "$logs/mutants.log" | tee -a "$result" ;;
    *) echo "run.sh: '$part' is no part" >&2; exit 2 ;;
  esac
done
note ""
note "$failures of the parts failed"
[ "$failures" -eq 0 ]
