# Sourced by Source/run.sh and Tests/run.sh: installs what is missing and builds.
# Sets projectDir, buildDir, the package lists and the functions below; changes no folder.
# shellcheck shell=bash disable=SC2034

projectDir="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)"
buildDir="$projectDir/build/release"

buildPackages=(
    ccache
    cmake
    g++
    ninja-build
    pkg-config
    # The manual page is made from the program's own help.
    python3
    libcli11-dev
    libebur128-dev
    libfftw3-dev
    libmysofa-dev
    libnlopt-dev
    libsndfile1-dev
    libsoxr-dev
    libzip-dev
    nlohmann-json3-dev
    zlib1g-dev
    # JUCE, and what its modules include and link on Linux.
    juce-modules-source
    libasound2-dev
    libflac-dev
    libfreetype-dev
    libgl-dev
    libjpeg-dev
    libogg-dev
    libpng-dev
    libvorbis-dev
    libx11-dev
    libxcomposite-dev
    libxcursor-dev
    libxext-dev
    libxinerama-dev
    libxrandr-dev
    libxrender-dev
    # The screens need one font to be there.
    fonts-dejavu-core
)

testPackages=(
    appstream
    binutils
    catch2
    chromium
    desktop-file-utils
    dpkg-dev
    file
    librsvg2-bin
    # Hosts of the built LV2, and what checks its files.
    jackd2
    jalv
    liblilv-dev
    lilv-utils
    lv2-dev
    sordi
    libzita-convolver-dev
    man-db
    poppler-utils
    python3
    python3-numpy
    python3-scipy
    # Forbids programs the network while they are tested.
    python3-seccomp
    sox
    xauth
    xvfb
)

fuzzPackages=(
    clang-14
    libclang-rt-14-dev
)

lintPackages=(
    clang-14
    clang-format-14
    clang-tidy-14
    cppcheck
)

benchmarkPackages=(
    libbenchmark-dev
    libzita-convolver-dev
    python3
    python3-numpy
    python3-scipy
    sox
    xauth
    xvfb
)

isInstalled() {
    dpkg-query -W -f='${db:Status-Status}\n' "$1" 2>/dev/null | grep -qx installed
}

# requirePackages PACKAGE...: installs those that are missing, without a question.
# With SADDLETONE_SKIP_INSTALL=1 it trusts that all is there.
requirePackages() {
    if [[ "${SADDLETONE_SKIP_INSTALL:-0}" == 1 ]]; then
        return
    fi
    if ! command -v apt-get >/dev/null || ! command -v dpkg-query >/dev/null; then
        {
            echo "There is no apt-get here, so the packages cannot be installed by this script."
            echo "Install what your system calls these (the names are Debian 12's), then run again"
            echo "with SADDLETONE_SKIP_INSTALL=1:"
            printf '  %s\n' "$@"
        } >&2
        exit 1
    fi

    local missing=()
    local package
    for package in "$@"; do
        isInstalled "$package" || missing+=("$package")
    done
    if [[ ${#missing[@]} -eq 0 ]]; then
        return
    fi

    local asRoot=()
    if [[ "$(id -u)" -ne 0 ]]; then
        if ! command -v sudo >/dev/null; then
            echo "These packages are missing, and installing them needs root or sudo:" >&2
            printf '  %s\n' "${missing[@]}" >&2
            exit 1
        fi
        asRoot=(sudo)
    fi

    echo "Installing: ${missing[*]}"
    "${asRoot[@]}" apt-get update -q
    "${asRoot[@]}" env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -q --no-install-recommends "${missing[@]}"
}

# configureAndBuild [CMAKE_ARGUMENT...]: into buildDir, with Ninja and in batches.
configureAndBuild() {
    cmake -S "$projectDir" -B "$buildDir" -G Ninja -DCMAKE_BUILD_TYPE=Release -DSADDLETONE_BATCHES=ON \
        "$@"
    cmake --build "$buildDir"
}
