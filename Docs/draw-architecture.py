#!/usr/bin/env python3
"""Draws Docs/pictures/architecture.svg: what of Source includes what.

Boxes are the folders, the words in them those of the map in DEVELOPERS.md, and arrows come from the
#include lines. An arrow that follows from others is left out: if A needs B and B needs C, that A
needs C is not drawn. Usage: draw-architecture.py
"""

import sys
from pathlib import Path
from xml.sax.saxutils import escape

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "Tests" / "Structure"))
from structure import include_graph, layers_of_map  # noqa: E402

BOX_WIDTH, BOX_HEIGHT = 212, 92
GAP_X, GAP_Y = 36, 62
MARGIN = 28
COLUMNS = 5
# Rows from top to bottom; what stands above needs what stands below. (folder, column)
ROWS = [
    [("Source/CommandLine", 0.3), ("Source/Plugin", 1.6), ("Source/Gui", 3.2)],
    [("Source/Core/Demo", 0.3)],
    [("Source/Core/Job", 1.3)],
    [("Source/Core/Presets", 0.3)],
    [("Source/Core/Report", 2.6)],
    [("Source/Core/Audition", 2)],
    [("Source/Core/Hearing", 2.8), ("Source/Core/Seat", 0.6)],
    [("Source/Core/Ride", 3.5), ("Source/Core/Tuning", 2.1)],
    [("Source/Core/Measure", 1.2)],
    [("Source/Core/Signals", 1.2)],
    [("Source/Core/Files", 1.2)],
    [("Source/Core/Dsp", 1.2)],
    [("Source/Core/Platform", 1.2)],
]


def reachable(graph, start, without):
    """Folders that start needs by way of others, the direct arrow to `without` passed over."""
    seen, waiting = set(), [node for node in graph[start] if node != without]
    while waiting:
        node = waiting.pop()
        if node not in seen:
            seen.add(node)
            waiting.extend(graph[node])
    return seen


def wrapped(words, width):
    lines, line = [], ""
    for word in words.split():
        if len(line) + len(word) + 1 > width and line:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}".strip()
    return [*lines, line]


def main():
    words = dict(layers_of_map())
    graph = include_graph()
    places = {}
    for row, folders in enumerate(ROWS):
        for folder, column in folders:
            places[folder] = (MARGIN + column * (BOX_WIDTH + GAP_X),
                              MARGIN + row * (BOX_HEIGHT + GAP_Y))
    if set(places) != set(words):
        sys.exit(f"ROWS and the map in DEVELOPERS.md differ: {set(places) ^ set(words)}")
    width = 2 * MARGIN + COLUMNS * BOX_WIDTH + (COLUMNS - 1) * GAP_X
    height = 2 * MARGIN + len(ROWS) * BOX_HEIGHT + (len(ROWS) - 1) * GAP_Y
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="DejaVu Sans, sans-serif">',
        "<title>Folders of Source and what they need</title>",
        '<defs><marker id="tip" viewBox="0 0 10 10" refX="10" refY="5" markerWidth="8" '
        'markerHeight="8" orient="auto"><path d="M0 0 L10 5 L0 10 z" fill="#454e58"/></marker></defs>',
        f'<rect width="{width}" height="{height}" fill="#faf9f6"/>',
    ]
    for start, (x, y) in places.items():
        for end in sorted(graph[start], key=lambda folder: places[folder]):
            if end in reachable(graph, start, end):
                continue
            endX, endY = places[end]
            fromX, toX = x + BOX_WIDTH / 2, endX + BOX_WIDTH / 2
            if y == endY:  # neighbours of one row
                fromX, toX = x + BOX_WIDTH, endX
                out.append(f'<path d="M{fromX:.0f} {y + BOX_HEIGHT / 2:.0f} H{toX - 2:.0f}" '
                           'fill="none" stroke="#454e58" stroke-width="2" marker-end="url(#tip)"/>')
                continue
            top, bottom = y + BOX_HEIGHT, endY - 2
            out.append(f'<path d="M{fromX:.0f} {top} C{fromX:.0f} {top + 0.45 * (bottom - top):.0f} '
                       f'{toX:.0f} {bottom - 0.6 * (bottom - top):.0f} {toX:.0f} {bottom}" '
                       'fill="none" stroke="#454e58" stroke-width="2" marker-end="url(#tip)"/>')
    for folder, (x, y) in places.items():
        fill = "#e7edf4" if folder.startswith("Source/Core") else "#fbe8c4"
        out.append(f'<rect x="{x:.0f}" y="{y}" width="{BOX_WIDTH}" height="{BOX_HEIGHT}" rx="8" '
                   f'fill="{fill}" stroke="#8a929b"/>')
        out.append(f'<text x="{x + 12:.0f}" y="{y + 24}" font-size="16" font-weight="bold" '
                   f'fill="#15191e">{escape(folder.removeprefix("Source/"))}</text>')
        for index, line in enumerate(wrapped(words[folder], 27)[:4]):
            out.append(f'<text x="{x + 12:.0f}" y="{y + 43 + 15 * index}" font-size="12.5" '
                       f'fill="#15191e">{escape(line)}</text>')
    out.append("</svg>")
    target = ROOT / "Docs" / "pictures" / "architecture.svg"
    target.parent.mkdir(exist_ok=True)
    target.write_text("\n".join(out) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
