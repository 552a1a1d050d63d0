"""Arrows point down, Core has no JUCE, and what is one operating system's stays where it is meant to be.

Usage: structure_tests.py
"""

import re
import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from structure import ROOT, folder_of, includes_of, layers_of_map, source_files  # noqa: E402

# Headers and calls that not every operating system has. (Of words in comments and strings the
# second takes no notice.)
SYSTEM_HEADER = re.compile(r"^(unistd|fcntl|dlfcn|pthread|io|process|windows|direct)\.h$|^sys/|^linux/",
                           re.IGNORECASE)
SYSTEM_CALL = re.compile(r"\b(fsync|fork|mkstemp|getpid|isatty|gmtime_r|localtime_r|popen)\s*\(")
# JUCE's own macros are how JUCE asks; they are in Gui and Plugin alone, as Core has no JUCE.
SYSTEM_MACRO = re.compile(r"\b(__linux__|__unix__|__APPLE__|_WIN32)\b")
# Where a choice by system is made. By macro alone: how paths are spelled.
PLATFORM = {"Core/Platform/Platform.cpp"}
MACRO_ONLY = {"Core/Files/InnerPath.cpp"}


def code_of(path):
    """The file without comments and strings."""
    text = path.read_text(encoding="utf-8")
    return re.sub(r'//[^\n]*|/\*.*?\*/|"(?:\\.|[^"\\\n])*"', " ", text, flags=re.DOTALL)


class StructureTests(unittest.TestCase):
    def test_the_map_names_every_folder_and_no_other(self):
        folders = {folder_of(name) for _, name in source_files()}
        self.assertGreater(len(folders), 10)
        self.assertEqual({folder for folder, _ in layers_of_map()}, folders)

    def test_arrows_point_down(self):
        order = [folder for folder, _ in layers_of_map()]
        upwards = []
        for path, name in source_files():
            for included in includes_of(path):
                if (ROOT / "Source" / included).is_file():
                    here, there = folder_of(name), folder_of(included)
                    if here != there and order.index(there) < order.index(here):
                        upwards.append(f"{name} includes {included}")
        self.assertEqual(upwards, [])

    def test_adapters_are_apart(self):
        crossing = [f"{name} includes {included}" for path, name in source_files()
                    for included in includes_of(path)
                    if name.startswith("CommandLine/") and included.startswith(("Gui/", "Plugin/"))
                    or name.startswith("Gui/") and included.startswith(("Plugin/", "CommandLine/"))
                    or name.startswith("Plugin/") and included.startswith("CommandLine/")]
        self.assertEqual(crossing, [])

    def test_core_and_the_command_line_have_no_juce(self):
        found = [name for path, name in source_files()
                 if name.startswith(("Core/", "CommandLine/"))
                 and re.search(r"\bjuce\b", code_of(path), re.IGNORECASE)]
        found += [f"{name} includes {included}" for path, name in source_files()
                  if name.startswith(("Core/", "CommandLine/"))
                  for included in includes_of(path) if included.lower().startswith("juce")]
        self.assertEqual(found, [])

    def test_what_differs_between_systems_is_kept_in_its_place(self):
        found = []
        for path, name in source_files():
            if name in PLATFORM:
                continue
            found += [f"{name} includes {included}" for included in includes_of(path)
                      if SYSTEM_HEADER.match(included)]
            code = code_of(path)
            found += [f"{name} calls {match.group(1)}" for match in SYSTEM_CALL.finditer(code)]
            if name not in MACRO_ONLY:
                found += [f"{name} asks for {match.group(1)}"
                          for match in SYSTEM_MACRO.finditer(code)]
        self.assertEqual(found, [])

    def test_headers_stand_alone(self):
        # A source's own header comes first, so that compiling the one compiles the other alone; the
        # build has a check of the headers without a source.
        late, unguarded = [], []
        for path, name in source_files():
            if path.suffix == ".h":
                if not path.read_text(encoding="utf-8").startswith("#pragma once\n"):
                    unguarded.append(name)
            elif path.with_suffix(".h").is_file():
                included = includes_of(path)
                if not included or included[0] != str(Path(name).with_suffix(".h")):
                    late.append(name)
        self.assertEqual((late, unguarded), ([], []))

    def test_documents_name_files_that_exist(self):
        missing = []
        documents = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "Docs").glob("*.md"))]
        for document in documents:
            text = document.read_text(encoding="utf-8")
            for name in re.findall(r"`((?:Docs|Presets|Source|Tests)/[\w./-]+)`", text):
                # What a class is called stands for its header.
                if not any((ROOT / (name + ending)).exists() for ending in ("", ".h", ".cpp")):
                    missing.append(f"{document.name}: {name}")
            for name in re.findall(r"`([\w-]+\.md)`", text):
                if not (ROOT / "Docs" / name).is_file() and not (ROOT / name).is_file():
                    missing.append(f"{document.name}: {name}")
        self.assertEqual(missing, [])

    def test_the_map_of_tests_names_tests_that_exist(self):
        text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
        table = text[text.index("| in question"):]
        names = {path.stem for path in (ROOT / "Tests").rglob("*.cpp")}
        scripts = [path for path in (ROOT / "Tests").rglob("*.py")]
        inside = "".join(path.read_text(encoding="utf-8") for path in scripts)
        named = re.findall(r"`(\w+Tests)`", table)
        self.assertGreater(len(named), 20)
        self.assertEqual([name for name in named
                          if name not in names and f"class {name}(" not in inside], [])
        self.assertEqual([name for name in re.findall(r"`(\w+\.py)`", table)
                          if name not in {path.name for path in scripts}], [])


if __name__ == "__main__":
    unittest.main()
