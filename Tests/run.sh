#!/usr/bin/env bash
# Builds and runs every test. The last line is "N passed, N failed".
set -euo pipefail

source "$(dirname "${BASH_SOURCE[0]}")/../Source/setup.sh"

requirePackages "${buildPackages[@]}" "${testPackages[@]}"
configureAndBuild -DSADDLETONE_BUILD_PLUGIN=ON -DSADDLETONE_BUILD_TESTS=ON

# The tests of the screens need a display; where there is none, all tests share a virtual one.
onDisplay=()
if [[ -z "${DISPLAY:-}" ]]; then
    onDisplay=(xvfb-run --auto-servernum --server-args="-screen 0 1600x1000x24")
fi

results="$buildDir/test-results.xml"
log="$buildDir/test-log.txt"
rm -f "$results" "$log"

ctestStatus=0
"${onDisplay[@]}" ctest --test-dir "$buildDir" --output-on-failure --no-tests=error \
    --parallel "$(nproc)" --output-junit "$results" 2>&1 | tee "$log" || ctestStatus=$?

# headCount ATTRIBUTE: a number from the head of ctest's result file, 0 if there is none.
headCount() {
    local count=""
    if [[ -f "$results" ]]; then
        count="$(sed -n "/^[[:space:]]*$1=\"[0-9]*\"\$/{s/[^0-9]//gp;q}" "$results")"
    fi
    echo "${count:-0}"
}

# Failed is ctest's own sum, as that has the tests whose program could not be started; the result
# file files these under skipped. Skipped and disabled tests are neither passed nor failed.
passed=$(($(headCount tests) - $(headCount failures) - $(headCount skipped) - $(headCount disabled)))
failed="$(sed -n 's/^[0-9]*% tests passed, \([0-9]*\) tests\{0,1\} failed out of [0-9]*$/\1/p' "$log" |
    tail -n 1)"
failed="${failed:-0}"

echo
echo "$passed passed, $failed failed"

if [[ "$ctestStatus" -ne 0 || "$failed" -ne 0 || "$passed" -eq 0 ]]; then
    exit 1
fi
