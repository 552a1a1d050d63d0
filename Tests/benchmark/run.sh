#!/usr/bin/env bash
# Builds the benchmarks and runs all of them, about half an hour: Saddletone beside its peers
# (arguments go to saddletone_benchmark: names of contests, options of Google Benchmark), the noise of a
# ride, convolution beside zita-convolver and JUCE, the window, and how time grows, whose table is left
# in build/benchmark/cost.csv for Docs/draw-cost.py.
set -euo pipefail

source "$(dirname "${BASH_SOURCE[0]}")/../../Source/setup.sh"

buildDir="$projectDir/build/benchmark"
requirePackages "${buildPackages[@]}" "${benchmarkPackages[@]}"
configureAndBuild -DSADDLETONE_BUILD_PLUGIN=ON -DSADDLETONE_BUILD_TESTS=OFF \
    -DSADDLETONE_BUILD_BENCHMARKS=ON

date +%F
# Not every kind of processor has a name there.
model="$(sed -n '/^model name/{s/^[^:]*: //p;q}' /proc/cpuinfo)"
echo "${model:-$(uname -m)}"
echo "$(nproc) processors, load $(cut -d ' ' -f 1-3 /proc/loadavg)"

# Results that are too far apart, or too much memory, fail the run at its end.
status=0
echo
"$buildDir/bin/saddletone_benchmark" "$@" || status=1

echo
"$buildDir/bin/saddletone_ride_benchmark"

echo
"$buildDir/bin/saddletone_convolution_benchmark"

work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT

# The window is drawn by a virtual display, in software.
"$buildDir/bin/saddletone" demo --out "$work/demo" >/dev/null
echo
xvfb-run --auto-servernum --server-args="-screen 0 1920x1200x24" \
    "$buildDir/bin/saddletone_editor_benchmark" "$work/demo/job"

echo
"$buildDir/bin/saddletone_benchmark" --sweep "$buildDir/cost.csv"
exit "$status"
