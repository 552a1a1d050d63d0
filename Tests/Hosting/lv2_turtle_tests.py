"""Holds what the LV2's files say against the standard's own description of it.

Usage: lv2_turtle_tests.py BUNDLE

The files are written by JUCE while the plug-in is built. What lv2_validate minds about its way of
writing is listed below and does no harm: hosts do not look at it. Anything else is a fault.
"""

import os
import re
import subprocess
import sys

PLUGIN = "https://saddletone.invalid/plugins/saddletone"
LV2 = "http://lv2plug.in/ns/lv2core#"
DOAP = "http://usefulinc.com/ns/doap#"

# Message, and the property that it is about.
JUCES_WAY = {
    # The plug-in itself has a maintainer and a release, not a project of its own.
    (f"Subject not in domain <{DOAP}Project>", DOAP + "maintainer"),
    (f"Subject not in domain <{DOAP}Project>", DOAP + "release"),
    # Two of the window's features are named as the other kind of thing.
    (f"Object not in range <{LV2}ExtensionData>", LV2 + "extensionData"),
    (f"Object not in range <{LV2}Feature>", LV2 + "optionalFeature"),
    # Choices and switches are marked as if they were ports.
    (f"Subject not in domain <{LV2}Port>", LV2 + "portProperty"),
    # A preset is the number of a program.
    ("Use of undefined property", PLUGIN + ":Program"),
    (f"Property <{PLUGIN}:Program> has no label", PLUGIN + ":Program"),
}


def main():
    bundle = sys.argv[1]
    files = sorted(os.path.join(bundle, name) for name in os.listdir(bundle)
                   if name.endswith(".ttl"))
    names = [os.path.basename(file) for file in files]
    if names != ["dsp.ttl", "manifest.ttl", "ui.ttl"]:
        sys.exit(f"FAILED: the bundle has {names}")
    for file in files:
        read = subprocess.run(["sordi", file], capture_output=True, text=True, check=False)
        if read.returncode != 0 or not read.stdout:
            sys.exit(f"FAILED: {file} is no Turtle: {read.stderr}")

    said = subprocess.run(["lv2_validate", *files], capture_output=True, text=True, check=False)
    words = said.stdout + said.stderr
    total = re.search(r"Found (\d+) errors among (\d+) files", words)
    if total is None or int(total.group(2)) < 50:
        sys.exit(f"FAILED: lv2_validate did not read the standard's files:\n{words}")
    found = re.findall(r"^error: (.*)\n\s*(?:\S+)\n\s+(\S+)\n", re.sub(r"\n\s*\n", "\n", words),
                       re.MULTILINE)
    if len(found) != int(total.group(1)):
        sys.exit(f"FAILED: {total.group(1)} errors are told, {len(found)} understood:\n{words}")
    others = [each for each in found if each not in JUCES_WAY]
    if others:
        sys.exit("FAILED: " + "\n".join(map(str, others)) + "\n" + words)
    print(f"passed: {len(files)} files, and nothing in them but JUCE's way ({len(found)} times)")


main()
