#!/usr/bin/env python3
"""Writes saddletone.1 from what the program itself says with --help.

Usage: make_man_page.py PROGRAM OUTPUT
"""

import re
import subprocess
import sys

INTRODUCTION = """\
.SH DESCRIPTION
Saddletone lets a motorcycle audio shop and its customer hear a tuning before the bike is changed.
This program makes the test tracks that are played through the bike's radio, turns recordings made at
the rider's head into responses, describes what another radio profile, tone controls or a DSP would
do, and renders music through the measured response, the tuning and the noise of the road.
.PP
.B saddletone\\-app
does the same on the screen.
.PP
With
.B \\-\\-json
a verb prints its result as JSON on standard output. Progress is on standard error when that is a
terminal. Files are written whole or not at all.
"""

EPILOGUE = """\
.SH EXIT STATUS
.TP
0
Done.
.TP
1
The input or the measurement is not good enough; the reason is on standard error.
.TP
2
Wrong usage.
.TP
3
An internal fault.
.SH FILES
.TP
.I share/saddletone/Presets
Tunings, targets, speakers, tone controls and headphones to begin with, beside the folder
.I bin
that holds this program.
.SH CAUTIONS
Loud sound harms hearing, and test tones can damage speakers and amplifiers: start with the volume at
its lowest. Headphones are for a parked listener, never for riding.
.SH SEE ALSO
quick\\-start.md, measuring.md, method.md and limits.md in the documentation that is installed with
the program.
"""

ENTRY = re.compile(r"^  (\S.*?)(?:  +(\S.*))?$")


def escaped(text):
    """Text as roff takes it: no line is a request, hyphens of options stay hyphens."""
    text = text.replace("\\", "\\e").replace("-", "\\-")
    return "\\&" + text if text.startswith((".", "'")) else text


def help_of(program, verbs):
    result = subprocess.run([program, *verbs, "--help"], capture_output=True, text=True, check=True)
    return result.stdout.splitlines()


def parsed(lines):
    """(summary, {section: [(name, words)]}): what CLI11 prints, its continued lines joined."""
    summary = lines[0].strip() if lines else ""
    sections = {}
    entries = None
    for line in lines[1:]:
        if line and not line[0].isspace():
            title = line.strip().rstrip(":")
            entries = None if line.startswith("Usage") else sections.setdefault(title, [])
            continue
        if entries is None or not line.strip():
            continue
        match = ENTRY.match(line)
        if match:
            entries.append((match.group(1), match.group(2) or ""))
        elif entries:
            name, words = entries[-1]
            entries[-1] = (name, f"{words} {line.strip()}".strip())
    return summary, sections


def listed(entries):
    for name, words in entries:
        yield ".TP"
        yield f".B {escaped(name)}"
        yield escaped(words) or "\\&"


def described(program, verbs):
    """The part of the page about one verb, and of those below it."""
    summary, sections = parsed(help_of(program, verbs))
    yield f'.SS "{escaped(" ".join(verbs))}"'
    yield escaped(summary)
    below = sections.pop("Subcommands", [])
    for entries in sections.values():
        yield from listed(entry for entry in entries if not entry[0].startswith("-h,"))
    for name, _ in below:
        yield from described(program, [*verbs, name])


def page(program):
    version = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    summary, sections = parsed(help_of(program, []))
    # roff's header line has no date: the page changes with the program only.
    yield f'.TH SADDLETONE 1 "" "{version.stdout.strip()}" "User Commands"'
    # Left-aligned and without hyphenation: what is to be typed stays whole.
    yield ".ad l"
    yield ".nh"
    yield ".SH NAME"
    yield "saddletone \\- " + escaped(summary.removeprefix("Saddletone: ").rstrip("."))
    yield ".SH SYNOPSIS"
    yield ".B saddletone"
    yield "[\\fB\\-\\-json\\fR] \\fIVERB\\fR [\\fIOPTION\\fR...]"
    yield ".br"
    yield ".B saddletone"
    yield "[\\fIVERB\\fR] \\fB\\-\\-help\\fR"
    yield INTRODUCTION.rstrip()
    yield ".SH OPTIONS"
    yield from listed(sections["Options"])
    yield ".SH VERBS"
    for name, _ in sections["Subcommands"]:
        yield from described(program, [name])
    yield EPILOGUE.rstrip()


def main():
    program, output = sys.argv[1:]
    text = "\n".join(page(program)) + "\n"
    with open(output, "w", encoding="utf-8") as file:
        file.write(text)


if __name__ == "__main__":
    main()
