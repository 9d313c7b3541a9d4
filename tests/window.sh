#!/usr/bin/env bash
# Drives the real window on a virtual display: play, step, turn, drag, switch, resize, close. Fails where
# the program panics, ends early, ends with another code than 0, or keeps growing.
# usage: tests/window.sh PROGRAM [SECONDS OF PLAY, 20 if left out]
# Needs: xvfb xdotool libxcursor1 libxi6 libxkbcommon-x11-0 mesa-vulkan-drivers
set -euo pipefail
program=$(realpath "$1")
seconds=${2:-20}
work=$(mktemp -d)
display=:$((90 + RANDOM % 400))
export XDG_RUNTIME_DIR=$work
pids=()
trap 'for p in "${pids[@]}"; do kill "$p" 2>/dev/null || true; done; rm -rf "$work"' EXIT
Xvfb "$display" -screen 0 1600x1000x24 >"$work/xvfb.log" 2>&1 &
pids+=($!)
export DISPLAY=$display
fail() {
    echo "tests/window.sh: $*" >&2
    cat "$work/view.log" >&2 || true
    exit 1
}
for _ in $(seq 50); do [[ -e /tmp/.X11-unix/X${display#:} ]] && break || sleep 0.1; done
cd "$work"
"$program" view --ruler >"$work/view.log" 2>&1 &
view=$!
pids+=("$view")
window=
for _ in $(seq 120); do
    window=$(xdotool search --name '^nestline: ' 2>/dev/null | head -1 || true)
    [[ -n $window ]] && break
    kill -0 "$view" 2>/dev/null || fail "it ended before its window came"
    sleep 0.5
done
[[ -n $window ]] || fail "no window came within a minute"
alive() { kill -0 "$view" 2>/dev/null || fail "it ended after: $1"; }
press() {
    for key in "$@"; do
        xdotool key --window "$window" "$key"
        sleep 0.4
    done
    alive "$*"
}
memory() { awk '/VmRSS/ { print $2 }' "/proc/$view/status"; }
sleep 3
xdotool windowfocus "$window" || true
press Right Right Right Left End Home
press v r r 1 2 3 4 v
press f f g g z w w b b p p n n e e i i d d plus minus h h
# turn with the mouse, zoom, drag the bar of steps
xdotool mousemove --window "$window" 400 300 mousedown 1
for _ in 1 2 3 4 5; do xdotool mousemove_relative 20 8; sleep 0.2; done
xdotool mouseup 1 click 4 click 5
alive "turning"
# a device in hand, by keys and by its bar
press End Tab Tab Down Down Up a y BackSpace
xdotool mousemove --window "$window" 900 630 mousedown 1
for _ in 1 2 3 4 5 6; do xdotool mousemove_relative -- -6 0; sleep 0.2; done
xdotool mouseup 1
alive "dragging a bar"
press BackSpace
press space
least=
for second in $(seq "$seconds"); do
    sleep 1
    alive "playing"
    # it stops at the end: from the beginning, again and again
    ((second % 40)) || press Home space
    now=$(memory)
    # the first seconds still allocate
    [[ $SECONDS -lt 30 ]] || least=${least:-$now}
done
press space
if [[ -n $least ]]; then
    grown=$(($(memory) - least))
    echo "memory while playing: $((least / 1024)) MB at first, $((grown / 1024)) MB more at the end"
    ((grown < 150000)) || fail "memory grew by $grown kB while playing"
fi
xdotool windowsize "$window" 900 640; sleep 2; alive "making it smaller"
xdotool windowsize "$window" 1600 1000; sleep 2; alive "making it larger"
press s
picture() { compgen -G "$work/nestline-step-*.png" >/dev/null; }
for _ in $(seq 40); do picture && break || sleep 0.25; done
picture || fail "no picture was written"
xdotool key --window "$window" q
for _ in $(seq 60); do kill -0 "$view" 2>/dev/null || break; sleep 0.25; done
kill -0 "$view" 2>/dev/null && fail "it does not close"
wait "$view" || fail "it ended with code $?"
if grep -qi 'panic' "$work/view.log"; then fail "it panicked"; fi
echo "the window played, stepped, turned, dragged, switched, resized and closed"
