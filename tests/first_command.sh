#!/usr/bin/env bash
# The README's first command as somebody new runs it: in a fresh clone of what is committed, word for word;
# then the program in an empty folder. Both print the README's first look and write the report.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
# what was built is used again; a clone builds the crate itself in any case
export CARGO_TARGET_DIR=${CARGO_TARGET_DIR:-$root/target}
git clone --quiet "$root" "$work/clone"
cd "$work/clone"
first=$(awk '/^## Two commands/ { here = 1 } here && /^```/ { inside = !inside; if (!inside) exit; next } inside' README.md)
awk '/^<!-- first look/ { here = 1; next } here && /^```/ { inside = !inside; if (!inside) exit; next } inside' README.md >"$work/shown"
[[ -n $first && -s $work/shown ]] || { echo "the README has no first command or no first look"; exit 1; }
same() { sed '/^Report: /,$d' "$1" | sed -e :a -e '/^\n*$/{$d;N;ba' -e '}' | diff "$work/shown" - >"$work/difference"; }
echo "$first"
bash -euc "$first" >"$work/printed"
same "$work/printed" || { echo "the README's first look is another:"; cat "$work/difference"; exit 1; }
[[ -s nestline-out/report.html ]] || { echo "no report in the clone"; exit 1; }
mkdir "$work/empty"
cd "$work/empty"
"$CARGO_TARGET_DIR/release/nestline" >"$work/printed"
same "$work/printed" || { echo "an empty folder prints another first look:"; cat "$work/difference"; exit 1; }
[[ -s nestline-out/report.html ]] || { echo "no report in an empty folder"; exit 1; }
echo "the first command runs in a fresh clone and prints what the README shows"
