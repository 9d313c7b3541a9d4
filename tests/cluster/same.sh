#!/usr/bin/env bash
# usage: same.sh ONE OTHER
# Two folders of a population tell the same, to the byte.
set -euo pipefail
for file in vary.json report.html tables/cases.csv plots; do
    diff -r "$1/$file" "$2/$file" >/dev/null || { echo "$file differs" >&2; exit 1; }
done
