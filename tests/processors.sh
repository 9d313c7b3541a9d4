#!/usr/bin/env bash
# Runs the program given as processors of other kinds would: one without fused products (and with vectors of
# two numbers), one with vectors of four. The program looks for itself what it may use; what it prints is
# compared to the byte with what it prints on this machine. Needs qemu-user, which takes some two hundred times
# as long, so that by default the steep arch's first steps are tried, where three rods with friction meet.
set -euo pipefail
program=$(realpath "${1:?usage: processors.sh PROGRAM [SCENE...]}")
shift
scenes=("$@")
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
if [[ $(uname -m) != x86_64 ]]; then
    why="not run: processors.sh: the program is none for x86-64, whose processors are tried here"
    echo "$why" | tee -a "${NESTLINE_NOT_RUN:-/dev/null}"
    exit 0
fi
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
if ((!${#scenes[@]})); then
    sed -e 's|"\.\./vessels/|"embedded:vessels/|' -e 's|"devices/\([^"]*\)\.ron"|"cabinet:\1"|g' \
        "$root/scenes/kinked-neck-type-3.ron" |
        awk '/^    script: \[/ { script = 1 } script && /say:/ && ++steps > 6 { next } { print }' >"$work/short.ron"
    scenes=("$work/short.ron")
fi
# a plan that fails or is undecided prints as well
told() { "$@" 2>"$work/error" || (($? == 1 || $? == 3)) || { cat "$work/error"; return 1; }; }
for scene in "${scenes[@]}"; do
    told "$program" run "$scene" --json >"$work/here"
    for processor in Nehalem Haswell; do
        told qemu-x86_64 -cpu "$processor" "$program" run "$scene" --json >"$work/there"
        cmp "$work/here" "$work/there" || { echo "$scene differs on $processor"; exit 1; }
    done
done
echo "the same bytes on processors of three kinds: ${#scenes[@]} scene(s)"
