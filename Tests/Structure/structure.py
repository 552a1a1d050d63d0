"""What the source says of itself: the map in DEVELOPERS.md and the #include lines."""

import functools
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
INCLUDE = re.compile(r'^\s*#\s*include\s+["<]([^">]+)[">]', re.MULTILINE)


def layers_of_map():
    """[(folder, words)] of the first block in DEVELOPERS.md, from top to bottom."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = text.split("```")[1]
    return [(match.group(1), match.group(2))
            for match in re.finditer(r"^(Source/\S+)\s+(.+)$", block, re.MULTILINE)]


def folder_of(path):
    """The layer of a file below Source, by its path from there: "Source/Core/Dsp"."""
    parts = Path(path).parts
    return "/".join(("Source", *parts[: 2 if parts[0] == "Core" else 1]))


@functools.cache
def source_files():
    """[(file, its path from Source)] of every C++ file below Source."""
    return [(path, path.relative_to(ROOT / "Source").as_posix())
            for path in sorted((ROOT / "Source").rglob("*"))
            if path.suffix in (".cpp", ".h", ".mm")]


@functools.cache
def includes_of(path):
    return INCLUDE.findall(path.read_text(encoding="utf-8"))


def include_graph():
    """{folder: folders that its files include, itself left out}."""
    graph = {}
    for path, name in source_files():
        needed = graph.setdefault(folder_of(name), set())
        for included in includes_of(path):
            if (ROOT / "Source" / included).is_file():
                needed.add(folder_of(included))
        needed.discard(folder_of(name))
    return graph
