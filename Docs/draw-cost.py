#!/usr/bin/env python3
"""Draws Docs/pictures/cost.svg: how time grows with taps, candidates, channels, filters and length.

One plot for each axis of the table that `saddletone_benchmark --sweep FILE.csv` writes, both scales
logarithmic, with faint lines of even slopes. Beside each series stands its exponent, the slope of
the straight line that fits its least times best. Usage: draw-cost.py FILE.csv
"""

import csv
import math
import sys
from pathlib import Path
from xml.sax.saxutils import escape

ROOT = Path(__file__).resolve().parent.parent
PLOT_WIDTH, PLOT_HEIGHT = 460, 300
LEFT, TOP, GAP_X, LEGEND = 78, 64, 66, 112
COLUMNS = 2
INK, FAINT, PAPER = "#15191e", "#8a929b", "#faf9f6"
# Colour, dashes and mark of the series of a plot: none is told by its colour alone.
STYLES = [("#1f5fa8", "", "circle"), ("#b4490f", "9 4", "square"),
          ("#2b7a3d", "3 3", "diamond"), ("#7a3f98", "12 3 3 3", "triangle")]
UNITS = [(1.0, "s"), (1e-3, "ms"), (1e-6, "µs")]
TITLES = {"taps": "Taps of a response", "candidates": "Candidates of a scene",
          "channels or paths": "Channels or paths", "filters": "Filters of a fit",
          "length, s": "Length of recording or programme, s"}


def read(path):
    """{axis: {series: [(size, seconds)]}} in the order of the table."""
    plots = {}
    with open(path, encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, delimiter=";"):
            series = plots.setdefault(row["axis"], {}).setdefault(row["series"], [])
            series.append((float(row["size"]), float(row["leastSeconds"])))
    return plots


def exponent(points):
    """Slope of the least-squares line through the logarithms."""
    logs = [(math.log(size), math.log(seconds)) for size, seconds in points]
    mean_x = sum(x for x, _ in logs) / len(logs)
    mean_y = sum(y for _, y in logs) / len(logs)
    return (sum((x - mean_x) * (y - mean_y) for x, y in logs)
            / sum((x - mean_x) ** 2 for x, _ in logs))


def time_text(exponent_of_ten):
    seconds = 10.0 ** exponent_of_ten
    scale, unit = next((pair for pair in UNITS if seconds >= 0.9999 * pair[0]), UNITS[-1])
    return f"{seconds / scale:g} {unit}"


def mark(shape, x, y, colour):
    if shape == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{colour}"/>'
    corners = {"square": [(-4, -4), (4, -4), (4, 4), (-4, 4)],
               "diamond": [(0, -6), (6, 0), (0, 6), (-6, 0)],
               "triangle": [(0, -6), (5.5, 4.5), (-5.5, 4.5)]}[shape]
    points = " ".join(f"{x + dx:.1f},{y + dy:.1f}" for dx, dy in corners)
    return f'<polygon points="{points}" fill="{colour}"/>'


def text(x, y, words, size=13.5, anchor="start", weight="normal", fill=INK):
    return (f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" '
            f'font-weight="{weight}" fill="{fill}">{escape(words)}</text>')


class Scales:
    """Places of sizes and times in a plot whose upper left corner is at (left, top)."""

    def __init__(self, left, top, all_points):
        self.left, self.top = left, top
        sizes = [size for size, _ in all_points]
        seconds = [second for _, second in all_points]
        room = 0.04 * math.log(max(sizes) / min(sizes))
        self.from_x, self.to_x = math.log(min(sizes)) - room, math.log(max(sizes)) + room
        self.decades = range(math.floor(math.log10(min(seconds))),
                             math.ceil(math.log10(max(seconds))) + 1)
        self.from_y, self.to_y = (math.log(10.0) * decade
                                  for decade in (self.decades[0], self.decades[-1]))

    def x(self, log_size):
        return self.left + PLOT_WIDTH * (log_size - self.from_x) / (self.to_x - self.from_x)

    def y(self, log_seconds):
        return self.top + PLOT_HEIGHT * (self.to_y - log_seconds) / (self.to_y - self.from_y)


def guides(scales, steepest):
    """Lines from the lower left, so that slopes can be read: 0, 1/2 and 1, where something is steeper
    2 and 3 too."""
    out = []
    slopes = [(0.0, "0"), (0.5, "½"), (1.0, "1")]
    if steepest > 1.2:
        slopes += [(2.0, "2"), (3.0, "3")]
    begin_y = scales.from_y + 0.12 * (scales.to_y - scales.from_y)
    for slope, words in slopes:
        end_x = min(scales.to_x, scales.from_x + (scales.to_y - begin_y) / slope
                    if slope else scales.to_x)
        end_y = begin_y + slope * (end_x - scales.from_x)
        out.append(f'<path d="M{scales.x(scales.from_x):.1f} {scales.y(begin_y):.1f} '
                   f'L{scales.x(end_x):.1f} {scales.y(end_y):.1f}" stroke="{FAINT}" '
                   'stroke-width="1" stroke-dasharray="2 4" fill="none"/>')
        out.append(text(scales.x(end_x) - 5, scales.y(end_y) + (-5 if end_x == scales.to_x else 14),
                        f"slope {words}", 12, "end", fill="#5b646d"))
    return out


def axes(scales, axis, sizes):
    out = [f'<rect x="{scales.left}" y="{scales.top}" width="{PLOT_WIDTH}" '
           f'height="{PLOT_HEIGHT}" fill="#ffffff" stroke="{FAINT}"/>',
           text(scales.left, scales.top - 12, TITLES.get(axis, axis), 16, weight="bold")]
    for decade in scales.decades:
        y = scales.y(math.log(10.0) * decade)
        out.append(f'<path d="M{scales.left} {y:.1f} h{PLOT_WIDTH}" stroke="#e3e5e7"/>')
        out.append(text(scales.left - 8, y + 5, time_text(decade), anchor="end"))
    for size in sizes:
        x = scales.x(math.log(size))
        out.append(f'<path d="M{x:.1f} {scales.top} v{PLOT_HEIGHT}" stroke="#e3e5e7"/>')
        out.append(text(x, scales.top + PLOT_HEIGHT + 19, f"{size:g}", 12.5, "middle"))
    return out


def plot(left, top, axis, series):
    scales = Scales(left, top, [point for points in series.values() for point in points])
    out = axes(scales, axis, sorted({size for points in series.values() for size, _ in points}))
    out += guides(scales, max(exponent(points) for points in series.values()))
    for index, (name, points) in enumerate(series.items()):
        colour, dashes, shape = STYLES[index]
        places = [(scales.x(math.log(size)), scales.y(math.log(seconds)))
                  for size, seconds in points]
        path = " L".join(f"{x:.1f} {y:.1f}" for x, y in places)
        out.append(f'<path d="M{path}" fill="none" stroke="{colour}" stroke-width="2" '
                   f'stroke-dasharray="{dashes}"/>')
        out += [mark(shape, x, y, colour) for x, y in places]
        row = top + PLOT_HEIGHT + 44 + 19 * index
        out.append(mark(shape, left + 8, row - 5, colour))
        out.append(text(left + 22, row, f"{name}: exponent {exponent(points):.2f}"))
    return out


def caption(left, top):
    """What the plots have in common, in the place that is left."""
    lines = ["Upright: time, the least of nine repetitions.", "Across: what the title says.",
             "Both logarithmic; dotted lines have the slope written on them.",
             "The exponent is that of the power of the size which fits best."]
    return [text(left, top + 24 * index, line, 14) for index, line in enumerate(lines)]


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__.strip().splitlines()[-1].split(". ")[-1])
    plots = read(sys.argv[1])
    rows = -(-len(plots) // COLUMNS)
    width = COLUMNS * (LEFT + PLOT_WIDTH) + (COLUMNS - 1) * (GAP_X - 40) + 40
    height = rows * (TOP + PLOT_HEIGHT + LEGEND)
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="DejaVu Sans, sans-serif">',
        "<title>How time grows</title>",
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
    ]
    for index, (axis, series) in enumerate(plots.items()):
        row, column = divmod(index, COLUMNS)
        out += plot(LEFT + column * (LEFT + PLOT_WIDTH + GAP_X - 40),
                    TOP + row * (TOP + PLOT_HEIGHT + LEGEND), axis, series)
        for name, points in series.items():
            print(f"{axis}: {name}: {exponent(points):.2f}")
    if len(plots) % COLUMNS:
        out += caption(LEFT + LEFT + PLOT_WIDTH + GAP_X - 40,
                       TOP + (rows - 1) * (TOP + PLOT_HEIGHT + LEGEND) + 24)
    out.append("</svg>")
    target = ROOT / "Docs" / "pictures" / "cost.svg"
    target.parent.mkdir(exist_ok=True)
    target.write_text("\n".join(out) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
