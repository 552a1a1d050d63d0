#!/usr/bin/env bash
# Makes the pictures in Docs/pictures from the real program, on the invented demo job.
set -euo pipefail

source "$(dirname "${BASH_SOURCE[0]}")/../Source/setup.sh"

requirePackages "${buildPackages[@]}" xauth xvfb
configureAndBuild -DSADDLETONE_BUILD_PLUGIN=ON

demoDir="$projectDir/build/demo"
pictures="$projectDir/Docs/pictures"
standalone="$buildDir/Source/Plugin/SaddletonePlugin_artefacts/Release/Standalone/Saddletone"
mkdir -p "$pictures"
"$buildDir/bin/saddletone" demo --out "$demoDir" >/dev/null

# window NAME [OPTION...]: the window, 1280 by 720.
window() {
    local name="$1"
    shift
    xvfb-run --auto-servernum --server-args="-screen 0 1600x1000x24" \
        "$standalone" --screenshot "$pictures/$name.png" --size 1280x720 "$@"
}

# picture NAME [OPTION...]: the same with the demo job.
picture() {
    local name="$1"
    shift
    window "$name" --job "$demoDir/job" "$@"
}

# Of a made-up user, so that nobody's own folder is in the picture.
HOME=/home/shop window first-start

picture signals --place signals
picture bike --place bike
picture tuning --place tuning --candidate 4
picture listen-parked
picture listen-75-mph --speed-mph 75 --candidate 3 --light
picture event --event listening --speed-mph 45 --candidate 2
picture report --place report
ls -l "$pictures"
