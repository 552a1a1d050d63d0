"""The Debian package: made, looked into, unpacked, run, installed and removed, from outside.

Usage: package_tests.py BUILD_DIR VERSION

Installing happens in a folder of its own, and only as root, which dpkg asks for. Into the system
itself it is installed and removed with SADDLETONE_REAL_INSTALL=1 alone.
"""

import gzip
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

BUILD_DIR = Path()
VERSION = ""
SOURCE_DIR = Path(__file__).resolve().parent.parent.parent


def run(*command, check=True, **options):
    result = subprocess.run([str(part) for part in command], capture_output=True, text=True,
                            check=False, **options)
    if check and result.returncode != 0:
        raise AssertionError(f"{command} ended with {result.returncode}\n"
                             f"{result.stdout}\n{result.stderr}")
    return result


def files_of(folder):
    return {str(path.relative_to(folder)) for path in Path(folder).rglob("*") if not path.is_dir()}


def verbs_of_help(program, *verbs):
    lines = run(program, *verbs, "--help").stdout.split("Subcommands:")[1].splitlines()
    return {match.group(1) for line in lines if (match := re.match(r"^  (\S+)", line))}


class PackageTests(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.at = Path(cls.folder.name)
        # A package is made of files with the rights of a release, whatever this user's are.
        os.umask(0o022)
        run("cpack", "--config", BUILD_DIR / "CPackConfig.cmake", "-G", "DEB", "-B", cls.at / "made")
        made = list((cls.at / "made").glob("*.deb"))
        assert len(made) == 1, made
        cls.package = made[0]
        cls.root = cls.at / "root"
        run("dpkg-deb", "--extract", cls.package, cls.root)
        cls.usr = cls.root / "usr"
        cls.program = cls.usr / "bin/saddletone"
        cls.app = cls.usr / "bin/saddletone-app"

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def field(self, name):
        return run("dpkg-deb", "--field", self.package, name).stdout.strip()

    def test_the_head_says_what_it_is_and_what_it_needs(self):
        self.assertIn("Debian package", run("dpkg-deb", "--info", self.package).stdout)
        self.assertEqual(self.field("Package"), "saddletone")
        self.assertEqual(self.field("Version"), VERSION)
        self.assertEqual(self.field("Architecture"),
                         run("dpkg", "--print-architecture").stdout.strip())
        self.assertRegex(self.field("Maintainer"), r"^.+ <.+@.+>$")
        self.assertGreater(len(self.field("Description").splitlines()), 3)
        needed = {entry.split()[0] for entry in self.field("Depends").split(", ")}
        # Linked (Debian's names), and opened by name while the program runs.
        self.assertLessEqual(
            {"libc6", "libstdc++6", "libfftw3-double3", "libfftw3-single3", "libsndfile1",
             "libsoxr0", "libebur128-1", "libmysofa1", "libnlopt0", "libasound2", "libfreetype6",
             "libx11-6", "libxext6", "libxcursor1", "libxinerama1", "libxrandr2", "libxrender1",
             "fonts-dejavu-core"}, needed)
        self.assertFalse([name for name in needed if name.endswith("-dev")])

    def test_the_files_are_where_they_belong(self):
        presets = {f"usr/share/saddletone/{name}" for name in files_of(SOURCE_DIR)
                   if name.startswith("Presets/")}
        self.assertGreater(len(presets), 10)
        documentation = {"usr/share/doc/saddletone/" + str(path.relative_to(SOURCE_DIR / "Docs"))
                         for ending in ("md", "svg")
                         for path in (SOURCE_DIR / "Docs").rglob(f"*.{ending}")}
        icons = {f"usr/share/icons/hicolor/{size}x{size}/apps/saddletone.png"
                 for size in (16, 22, 24, 32, 48, 64, 128, 256)}
        architecture = os.uname().machine
        self.assertEqual(
            files_of(self.root),
            presets | documentation | icons
            | {"usr/bin/saddletone", "usr/bin/saddletone-app",
               f"usr/lib/vst3/Saddletone.vst3/Contents/{architecture}-linux/Saddletone.so",
               "usr/lib/lv2/Saddletone.lv2/libSaddletone.so",
               "usr/lib/lv2/Saddletone.lv2/manifest.ttl", "usr/lib/lv2/Saddletone.lv2/dsp.ttl",
               "usr/lib/lv2/Saddletone.lv2/ui.ttl",
               "usr/share/applications/saddletone.desktop",
               "usr/share/doc/saddletone/README.md", "usr/share/doc/saddletone/changelog.gz",
               "usr/share/doc/saddletone/copyright",
               "usr/share/icons/hicolor/scalable/apps/saddletone.svg",
               "usr/share/man/man1/saddletone.1.gz",
               "usr/share/metainfo/org.saddletone.auditioner.metainfo.xml"})
        for line in run("dpkg-deb", "--contents", self.package).stdout.splitlines():
            rights, owner = line.split()[:2]
            self.assertEqual(owner, "root/root", line)
            runs = rights[0] == "d" or "/usr/bin/" in line
            self.assertIn(rights[1:], ("rwxr-xr-x",) if runs else ("rw-r--r--", "rwxr-xr-x"), line)

    def test_presets_are_those_of_the_source(self):
        for path in (SOURCE_DIR / "Presets").rglob("*.*"):
            installed = self.usr / "share/saddletone" / path.relative_to(SOURCE_DIR)
            self.assertEqual(installed.read_bytes(), path.read_bytes(), path)

    def test_programs_are_stripped_and_find_their_libraries(self):
        programs = [self.program, self.app, *self.usr.rglob("*.so")]
        self.assertEqual(len(programs), 4)
        for path in programs:
            sections = run("readelf", "--sections", "--wide", path).stdout
            self.assertNotIn(" .symtab", sections, path)
            dynamic = run("readelf", "--dynamic", path).stdout
            self.assertNotRegex(dynamic, r"\((RPATH|RUNPATH)\)", path)
            self.assertNotIn("not found", run("ldd", path).stdout, path)

    def test_menu_entry_and_metainfo_are_valid(self):
        entry = self.usr / "share/applications/saddletone.desktop"
        run("desktop-file-validate", entry)
        text = entry.read_text(encoding="utf-8")
        self.assertIn(f"\nExec={self.app.name}\n", text)
        self.assertTrue((self.usr / "share/icons/hicolor/scalable/apps/saddletone.svg").is_file())
        self.assertIn("\nIcon=saddletone\n", text)
        metainfo = self.usr / "share/metainfo/org.saddletone.auditioner.metainfo.xml"
        run("appstreamcli", "validate", "--no-net", metainfo)
        self.assertIn(f'version="{VERSION}"', metainfo.read_text(encoding="utf-8"))

    def test_changelog_and_copyright_are_debians(self):
        folder = self.usr / "share/doc/saddletone"
        plain = self.at / "changelog"
        plain.write_bytes(gzip.decompress((folder / "changelog.gz").read_bytes()))
        said = run("dpkg-parsechangelog", "--file", plain, "--show-field", "Version").stdout.strip()
        self.assertEqual(said, VERSION)
        rights = (folder / "copyright").read_text(encoding="utf-8")
        used = set(re.findall(r"^Files:.*\nCopyright:.*\nLicense: (\S+)$", rights, re.MULTILINE))
        given = set(re.findall(r"^License: (\S+)\n ", rights, re.MULTILINE))
        self.assertEqual(used, given)
        self.assertGreater(len(used), 3)

    def test_every_verb_is_in_the_manual_page_and_the_page_has_no_other(self):
        page = gzip.decompress((self.usr / "share/man/man1/saddletone.1.gz").read_bytes()).decode()
        chapters = [name.replace("\\-", "-")
                    for name in re.findall(r'^\.SS "(.*)"$', page, re.MULTILINE)]
        verbs = verbs_of_help(self.program)
        self.assertGreater(len(verbs), 20)
        self.assertEqual({name for name in chapters if " " not in name}, verbs)
        nested = verbs_of_help(self.program, "job")
        self.assertGreater(len(nested), 2)
        self.assertEqual({name for name in chapters if name.startswith("job ")},
                         {f"job {name}" for name in nested})
        self.assertIn(f"saddletone {VERSION}", page)
        # What every reader sees: each option of a verb stands in it as typed.
        shown = run("man", "--warnings", "--local-file", "-", input=page,
                    env={**os.environ, "MANWIDTH": "100", "MAN_KEEP_FORMATTING": "", "LC_ALL": "C"})
        self.assertEqual(shown.stderr, "")
        for option in re.findall(r"--[a-z0-9-]+", run(self.program, "measure", "--help").stdout):
            self.assertIn(option, shown.stdout)

    def test_the_unpacked_program_says_its_version_and_makes_the_demo(self):
        self.assertEqual(run(self.program, "--version").stdout.strip(), f"saddletone {VERSION}")
        demo = self.at / "demo"
        run(self.program, "demo", "--out", demo, cwd="/")
        job = json.loads((demo / "job/job.json").read_text(encoding="utf-8"))
        self.assertTrue(job["invented"])
        checked = json.loads(run(self.program, "--json", "job", "check", demo / "job").stdout)
        self.assertEqual(checked["problems"], [])
        self.assertTrue(list(demo.rglob("*.html")))

    @unittest.skipUnless(os.environ.get("DISPLAY"), "there is no display")
    def test_the_unpacked_app_draws_its_window(self):
        picture = self.at / "window.png"
        run(self.app, "--screenshot", picture, "--place", "signals", cwd="/",
            env={**os.environ, "HOME": str(self.at)})
        self.assertEqual(picture.read_bytes()[:8], b"\x89PNG\r\n\x1a\n")

    @unittest.skipUnless(os.geteuid() == 0, "dpkg installs as root only")
    def test_it_is_installed_in_a_folder_and_removed_without_a_rest(self):
        root = self.at / "installed"
        for name in ("info", "updates", "triggers"):
            (root / "var/lib/dpkg" / name).mkdir(parents=True)
        for name in ("status", "available"):
            (root / "var/lib/dpkg" / name).touch()
        before = {path for path in root.rglob("*") if "dpkg" not in str(path.relative_to(root))}
        # What it depends on is in the system around the folder, not in the folder.
        dpkg = ("dpkg", f"--root={root}", f"--log={self.at}/dpkg.log", "--force-depends",
                "--force-script-chrootless")
        run(*dpkg, "--install", self.package)
        status = run("dpkg-query", f"--admindir={root}/var/lib/dpkg", "--show",
                     "--showformat=${db:Status-Status}", "saddletone")
        self.assertEqual(status.stdout, "installed")
        said = run(root / "usr/bin/saddletone", "--version").stdout.strip()
        self.assertEqual(said, f"saddletone {VERSION}")
        run(*dpkg, "--remove", "saddletone")
        after = {path for path in root.rglob("*") if "dpkg" not in str(path.relative_to(root))}
        self.assertEqual(after, before)

    @unittest.skipUnless(os.geteuid() == 0 and os.environ.get("SADDLETONE_REAL_INSTALL") == "1",
                         "not root, or SADDLETONE_REAL_INSTALL is not 1")
    def test_it_is_installed_in_the_system_and_removed(self):
        self.assertFalse(self.is_installed("saddletone"),
                         "saddletone is installed here already; remove it first")
        run("dpkg", "--install", self.package)
        try:
            self.assertEqual(shutil.which("saddletone"), "/usr/bin/saddletone")
            self.assertEqual(run("saddletone", "--version").stdout.strip(),
                             f"saddletone {VERSION}")
            run("saddletone", "demo", "--out", self.at / "installed-demo", cwd="/")
            self.assertTrue(list((self.at / "installed-demo").rglob("*.html")))
        finally:
            run("dpkg", "--purge", "saddletone")
        self.assertFalse(Path("/usr/share/saddletone").exists())
        self.assertFalse(Path("/usr/bin/saddletone").exists())

    @staticmethod
    def is_installed(package):
        state = run("dpkg-query", "--show", "--showformat=${db:Status-Status}", package, check=False)
        return state.stdout == "installed"


if __name__ == "__main__":
    BUILD_DIR, VERSION = Path(sys.argv[1]), sys.argv[2]
    unittest.main(argv=sys.argv[:1])
