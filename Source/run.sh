#!/usr/bin/env bash
# Builds Saddletone, plays through the invented demo job and, where there is a display,
# opens it in the standalone program.
set -euo pipefail

source "$(dirname "${BASH_SOURCE[0]}")/setup.sh"

demoDir="$projectDir/build/demo"
demoJob="$demoDir/job"
standalone="$buildDir/Source/Plugin/SaddletonePlugin_artefacts/Release/Standalone/Saddletone"

requirePackages "${buildPackages[@]}"
configureAndBuild -DSADDLETONE_BUILD_PLUGIN=ON -DSADDLETONE_BUILD_TESTS=OFF

"$buildDir/bin/saddletone" demo --out "$demoDir"

echo
echo "Reports and auditions of the demo, in $demoDir:"
find "$demoDir" -type f \( -name '*.html' -o -ipath '*audition*' \) | sort | sed 's/^/  /'

if [[ -n "${DISPLAY:-}" || -n "${WAYLAND_DISPLAY:-}" ]]; then
    exec "$standalone" --job "$demoJob"
fi
echo "No display here; where there is one, open the job with:"
echo "  \"$standalone\" --job \"$demoJob\""
