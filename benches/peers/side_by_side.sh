#!/usr/bin/env bash
# Times the rod-in-tube reference problem in general-purpose libraries and in nestline, in one run
# on one machine, and prints the ratio at equal error.
#
#   benches/peers/side_by_side.sh [directory for the Python environment]
#
# Installs numpy, scipy, clarabel and mujoco into a virtual environment (default: target/peers).
set -euo pipefail
here="$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)"
root="$(cd "$here/../.." && pwd)"
venv="${1:-$root/target/peers}"

if [ ! -x "$venv/bin/python" ]; then
    python3 -m venv "$venv"
fi
"$venv/bin/pip" install --quiet --disable-pip-version-check numpy scipy clarabel mujoco

cargo build --quiet --release --manifest-path "$root/Cargo.toml" --bin nestline
"$venv/bin/python" "$here/rod_in_tube.py" "${CARGO_TARGET_DIR:-$root/target}/release/nestline"
