#!/bin/sh
# Tries what `sh bootstrap.sh package` made, as a colleague would: the .deb in a bare Debian, the static program in an empty root.
#
#   sh app/packaging/check.sh BARE_ROOT     as root; BARE_ROOT holds a minimal Debian of the release that this is, such as
#                                       `debootstrap --variant=minbase bookworm BARE_ROOT` makes; a copy of it is used
#
# Asked for: the demo's report without a compiler within 30 s and 40 MB; the static program says what the installed one says, word for word.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
bare=${1:?the folder of a bare Debian}
room=$(mktemp -d)
clean() { umount "$room/root/proc" 2>/dev/null || true; rm -rf "$room"; }
trap clean EXIT
fail() { echo "check.sh: $*" >&2; exit 1; }

set -- "$here"/package/*.deb
deb=$1
set -- "$here"/package/*-linux-*
program=$1
if [ ! -f "$deb" ] || [ ! -f "$program" ]; then fail "nothing in package/: sh bootstrap.sh package"; fi

# --- the .deb ---------------------------------------------------------------------------------------------------------
cp -a "$bare" "$room/root"
cp /etc/resolv.conf "$room/root/etc/resolv.conf" 2>/dev/null || true
for file in /etc/apt/apt.conf.d/*proxy* /etc/apt/apt.conf; do [ ! -f "$file" ] || cp "$file" "$room/root/etc/apt/apt.conf.d/"; done
cp "$deb" "$room/root/tmp/onegrain.deb"
mount -t proc proc "$room/root/proc"
in_root() { chroot "$room/root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root LANG=C.UTF-8 ${http_proxy:+http_proxy="$http_proxy"} "$@"; }
in_root apt-get update -qq >/dev/null
kilobytes() { du -skx --exclude=proc --exclude=var/cache/apt --exclude=var/lib/apt --exclude=tmp "$room/root" | cut -f 1; }
before=$(kilobytes)
begun=$(date +%s)
in_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends /tmp/onegrain.deb >"$room/apt.log" 2>&1 || { tail "$room/apt.log" >&2; fail "the .deb cannot be installed"; }
in_root onegrain rates demo --both --out /root/demo >"$room/demo.txt"
seconds=$(($(date +%s) - begun))
grown=$((($(kilobytes) - before) / 1000))
[ -s "$room/root/root/demo/report.html" ] || fail "no report"
in_root sh -c 'command -v g++' >/dev/null && fail "there is a compiler in this root"
echo "installed, and the demo's report written, in $seconds s; $grown MB"
[ "$seconds" -le 30 ] || fail "more than 30 s"
[ "$grown" -le 40 ] || fail "more than 40 MB"

# --- the static program -----------------------------------------------------------------------------------------------
mkdir -p "$room/empty/tmp"
cp "$program" "$room/empty/onegrain"
calls=0
while IFS= read -r call; do
  # shellcheck disable=SC2086  # a list of words
  { (cd / && in_root onegrain $call) >"$room/a" 2>"$room/a2" && echo 0 >>"$room/a2"; } || echo "$?" >>"$room/a2"
  # shellcheck disable=SC2086
  { chroot "$room/empty" /onegrain $call >"$room/b" 2>"$room/b2" && echo 0 >>"$room/b2"; } || echo "$?" >>"$room/b2"
  cmp -s "$room/a" "$room/b" || fail "the static program prints something else: onegrain $call"
  cmp -s "$room/a2" "$room/b2" || fail "the static program says something else, or ends with another status: onegrain $call"
  calls=$((calls + 1))
done <<'END'
--version
--help
--licences
bench demo
rates demo --both
rates lfp_half_cell --rates C/10,1C
rates demo --rates 2x
curve demo --rates 1C --charge --json
losses demo --rate 2C
ceiling demo --samples 128 --threads 2
schema keys
cards demo --out /tmp/cell.yaml
bench /tmp/cell.yaml
curve /tmp/cell.yaml --rates C/10 --out /tmp/slow.csv
balance /tmp/cell.yaml /tmp/slow.csv
fit /tmp/cell.yaml /tmp/slow.csv --free lithium,contact_resistance
rates demo --rates 1C --out /tmp/page.html
check nowhere.yaml
simulate demo
END
echo "the static program in an empty root: $calls calls, each like the installed one; $(($(wc -c <"$program") / 1000000)) MB"
