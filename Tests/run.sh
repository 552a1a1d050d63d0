#!/usr/bin/env bash
# Builds and runs every test. The last line is "N passed, N failed".
#   --sanitize address|thread   the tests of Core alone, under sanitizers of address and undefined
#                               behaviour, or of threads
#   --fuzz                      every fuzz target for a minute (SADDLETONE_FUZZ_SECONDS for others)
#   --lint [FILE|FOLDER]...     the layout of all our code, Core and the program source by source
#                               with clang, cppcheck over all of it, and clang-tidy over the sources
#                               that are named (some ten seconds each)
set -euo pipefail

source "$(dirname "${BASH_SOURCE[0]}")/../Source/setup.sh"

usage() {
    sed -n '2,/^set /{s/^# \{0,1\}//p}' "${BASH_SOURCE[0]}" >&2
    exit 2
}

# countTests [COMMAND...]: runs ctest through a command and its further arguments behind --, and says
# how many tests passed and failed. Fails if any did, or if there was none.
countTests() {
    local through=()
    while [[ "$1" != -- ]]; do
        through+=("$1")
        shift
    done
    shift
    local results="$buildDir/test-results.xml"
    local log="$buildDir/test-log.txt"
    rm -f "$results" "$log"

    local ctestStatus=0
    "${through[@]}" ctest --test-dir "$buildDir" --output-on-failure --no-tests=error \
        --parallel "$(nproc)" --output-junit "$results" "$@" 2>&1 | tee "$log" || ctestStatus=$?

    # Failed is ctest's own sum, as that has the tests whose program could not be started; the result
    # file files these under skipped. Skipped and disabled tests are neither passed nor failed.
    local passed failed
    passed=$(($(headCount tests "$results") - $(headCount failures "$results")
        - $(headCount skipped "$results") - $(headCount disabled "$results")))
    failed="$(sed -n \
        's/^[0-9]*% tests passed, \([0-9]*\) tests\{0,1\} failed out of [0-9]*$/\1/p' "$log" |
        tail -n 1)"
    failed="${failed:-0}"

    echo
    echo "$passed passed, $failed failed"
    [[ "$ctestStatus" -eq 0 && "$failed" -eq 0 && "$passed" -gt 0 ]]
}

# headCount ATTRIBUTE RESULTS: a number from the head of ctest's result file, 0 if there is none.
headCount() {
    local count=""
    if [[ -f "$2" ]]; then
        count="$(sed -n "/^[[:space:]]*$1=\"[0-9]*\"\$/{s/[^0-9]//gp;q}" "$2")"
    fi
    echo "${count:-0}"
}

testAll() {
    requirePackages "${buildPackages[@]}" "${testPackages[@]}"
    configureAndBuild -DSADDLETONE_BUILD_PLUGIN=ON -DSADDLETONE_BUILD_TESTS=ON

    # The tests of the screens need a display; where there is none, all tests share a virtual one.
    local onDisplay=()
    if [[ -z "${DISPLAY:-}" ]]; then
        onDisplay=(xvfb-run --auto-servernum --server-args="-screen 0 1600x1000x24")
    fi
    countTests "${onDisplay[@]}" --
}

testSanitized() {
    [[ "$1" == address || "$1" == thread ]] || usage
    buildDir="$projectDir/build/sanitize-$1"
    requirePackages "${buildPackages[@]}" "${testPackages[@]}"
    # The sanitizer of threads wants memory where it looks for it; the build asks the program for
    # its tests, so it runs there too.
    local fixedPlaces=()
    if [[ "$1" == thread ]] && setarch "$(uname -m)" --addr-no-randomize true 2>/dev/null; then
        fixedPlaces=(setarch "$(uname -m)" --addr-no-randomize)
    fi
    cmake -S "$projectDir" -B "$buildDir" -G Ninja "-DSADDLETONE_SANITIZE=$1" \
        -DSADDLETONE_BUILD_PLUGIN=OFF -DSADDLETONE_BUILD_TESTS=ON
    "${fixedPlaces[@]}" cmake --build "$buildDir" --target saddletone_core_tests
    export ASAN_OPTIONS="detect_stack_use_after_return=1:strict_string_checks=1"
    export UBSAN_OPTIONS="print_stacktrace=1"
    export TSAN_OPTIONS="halt_on_error=1:suppressions='$projectDir/Tests/thread-suppressions.txt'"
    countTests "${fixedPlaces[@]}" -- --tests-regex '^core:'
}

fuzz() {
    buildDir="$projectDir/build/fuzz"
    requirePackages "${buildPackages[@]}" "${fuzzPackages[@]}"
    cmake -S "$projectDir" -B "$buildDir" -G Ninja -DCMAKE_C_COMPILER=clang-14 \
        -DCMAKE_CXX_COMPILER=clang++-14 -DSADDLETONE_FUZZ=ON \
        -DSADDLETONE_BUILD_PLUGIN=OFF -DSADDLETONE_BUILD_TESTS=OFF
    local passed=0 failed=0 folder name
    for folder in "$projectDir"/Tests/Fuzz/Corpus/*/; do
        name="$(basename "$folder")"
        cmake --build "$buildDir" --target "saddletone_fuzz_${name//-/_}"
        # What is found goes to the build's folder; what broke a promise belongs into the corpus.
        mkdir -p "$buildDir/corpus/$name" "$buildDir/broken"
        if "$buildDir/bin/saddletone_fuzz_${name//-/_}" -close_fd_mask=1 \
            "-max_total_time=${SADDLETONE_FUZZ_SECONDS:-60}" -max_len=16384 -timeout=20 \
            -print_final_stats=1 "-artifact_prefix=$buildDir/broken/$name-" \
            "$buildDir/corpus/$name" "$folder"; then
            passed=$((passed + 1))
        else
            failed=$((failed + 1))
        fi
    done
    echo
    echo "$passed passed, $failed failed"
    [[ "$failed" -eq 0 && "$passed" -gt 0 ]]
}

# lint [FILE|FOLDER]...: each of the tools counts as one test.
lint() {
    buildDir="$projectDir/build/lint"
    requirePackages "${buildPackages[@]}" "${lintPackages[@]}"
    # Clang cannot read what another compiler has precompiled.
    cmake -S "$projectDir" -B "$buildDir" -G Ninja -DCMAKE_C_COMPILER=clang-14 \
        -DCMAKE_CXX_COMPILER=clang++-14 -DCMAKE_DISABLE_PRECOMPILE_HEADERS=ON \
        -DCMAKE_BUILD_TYPE=Debug -DSADDLETONE_BUILD_PLUGIN=ON -DSADDLETONE_BUILD_TESTS=OFF
    local tools=(lintLayout lintIncludes lintWithCppcheck) passed=0 failed=0 tool
    if [[ $# -gt 0 ]]; then
        tools+=(lintWithTidy)
    fi
    for tool in "${tools[@]}"; do
        if "$tool" "$@"; then
            passed=$((passed + 1))
        else
            failed=$((failed + 1))
            echo "$tool failed" >&2
        fi
    done
    echo
    echo "$passed passed, $failed failed"
    [[ "$failed" -eq 0 ]]
}

# Each source and header alone, without a batch or a precompiled header that would bring along what it
# forgot to include.
lintIncludes() {
    cmake --build "$buildDir" --target saddletone
}

lintLayout() {
    find "$projectDir/Source" "$projectDir/Tests" \( -name '*.h' -o -name '*.cpp' \) -print0 |
        xargs -0 clang-format-14 --dry-run -Werror
}

lintWithCppcheck() {
    mkdir -p "$buildDir/cppcheck"
    (cd "$projectDir" && cppcheck --quiet --std=c++20 --language=c++ -j "$(nproc)" \
        --enable=warning,performance,portability --error-exitcode=1 --inline-suppr \
        --suppressions-list=Tests/cppcheck-suppressions.txt \
        --cppcheck-build-dir="$buildDir/cppcheck" -I Source Source)
}

lintWithTidy() {
    find "$@" -name '*.cpp' -print0 |
        xargs -0 -r -n 1 -P "$(nproc)" clang-tidy-14 -p "$buildDir" --quiet
}

case "${1:-}" in
    "") testAll ;;
    --sanitize) testSanitized "${2:-}" ;;
    --fuzz) fuzz ;;
    --lint) lint "${@:2}" ;;
    *) usage ;;
esac
