#!/usr/bin/env bash
# Builds the benchmarks, runs that of the analysis beside scipy, that of a ride's noise, that of
# convolution (some minutes) and that of the window, then measures the memory that a recording of ten
# minutes in stereo takes.
set -euo pipefail

source "$(dirname "${BASH_SOURCE[0]}")/../../Source/setup.sh"

buildDir="$projectDir/build/benchmark"
requirePackages "${buildPackages[@]}" "${benchmarkPackages[@]}"
configureAndBuild -DSADDLETONE_BUILD_PLUGIN=ON -DSADDLETONE_BUILD_TESTS=OFF \
    -DSADDLETONE_BUILD_BENCHMARKS=ON

echo
"$buildDir/bin/saddletone_benchmark" "$@"

echo
"$buildDir/bin/saddletone_ride_benchmark" "$@"

echo
"$buildDir/bin/saddletone_convolution_benchmark"

work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
saddletone="$buildDir/bin/saddletone"
mostKib=$((1024 * 1024))
status=0

# The window is drawn by a virtual display, in software.
"$saddletone" demo --out "$work/demo" >/dev/null
echo
xvfb-run --auto-servernum --server-args="-screen 0 1920x1200x24" \
    "$buildDir/bin/saddletone_editor_benchmark" "$work/demo"

# A sweep of 30 s in the middle of ten minutes of faint noise, by a clock 40 ppm off.
"$saddletone" signal sweep --seconds 30 --level -12 --out "$work/track.wav" >/dev/null
sox -n -r 48000 -c 2 -b 24 "$work/noise.wav" synth 600 whitenoise vol 0.001
sox "$work/track.wav" -c 2 -b 24 "$work/track2.wav" speed 0.99996 rate 48000 pad 280
sox -m -v 1 "$work/noise.wav" -v 1 "$work/track2.wav" -b 24 "$work/recording.wav"

# peakOf NAME ARGUMENT...: runs saddletone and prints its time and highest resident memory.
peakOf() {
    local name="$1"
    shift
    /usr/bin/time -f '%e %M' -o "$work/usage" "$saddletone" "$@" >/dev/null
    local seconds kib
    read -r seconds kib <"$work/usage"
    printf '  %-10s %8s s %8d MiB\n' "$name" "$seconds" $((kib / 1024))
    if ((kib >= mostKib)); then
        echo "  $name takes more than 1024 MiB" >&2
        status=1
    fi
}

echo
echo "Ten minutes in stereo at 48 kHz, 24 bits (at most 1024 MiB):"
peakOf analyse analyse --recording "$work/recording.wav"
peakOf measure measure --recording "$work/recording.wav" --signal "$work/track.signal.json" \
    --out "$work/state.json"
exit "$status"
