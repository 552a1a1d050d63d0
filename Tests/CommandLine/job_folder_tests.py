"""Jobs as folders: copied, packed, unpacked. Archives are read and made with Python's zipfile, which
shares no code with the program's libzip.

Usage: job_folder_tests.py PATH_OF_SADDLETONE
"""

import json
import os
import stat
import subprocess
import sys
import tempfile
import unittest
import zipfile

PROGRAM = ""


def run(*arguments, cwd=None):
    return subprocess.run([PROGRAM, *arguments], cwd=cwd, capture_output=True, text=True, check=False)


def tree(folder):
    """Every file below a folder and its bytes, or where a link leads."""
    files = {}
    for place, _, names in os.walk(folder):
        for name in names:
            path = os.path.join(place, name)
            kind = os.lstat(path).st_mode
            if stat.S_ISLNK(kind):
                content = os.readlink(path)
            elif stat.S_ISREG(kind):
                with open(path, "rb") as file:
                    content = file.read()
            else:
                content = kind  # a pipe, say, which would never end
            files[os.path.relpath(path, folder)] = content
    return files


class JobFolderTests(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.at = self.folder.name
        self.done("job", "new", "tourer", "--title", "Grand tourer", "--bike", "Made-up bike")
        self.write("tourer/takes/first take.wav", bytes(range(256)) * 40)
        self.write("tourer/notes/größe.txt", "a note of the shop".encode())
        # So that there is a previous version.
        self.done("job", "ride", "tourer", "--speed-kmh", "90")

    def tearDown(self):
        self.folder.cleanup()

    def path(self, name):
        return os.path.join(self.at, name)

    def write(self, name, content):
        os.makedirs(os.path.dirname(self.path(name)), exist_ok=True)
        with open(self.path(name), "wb") as file:
            file.write(content)

    def done(self, *arguments):
        result = run(*arguments, cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        return result

    def refused(self, words, *arguments, code=1):
        """The call fails, says the words, and changes nothing anywhere."""
        before = tree(self.at)
        result = run(*arguments, cwd=self.at)
        self.assertEqual(result.returncode, code, result.stderr)
        for word in words:
            self.assertIn(word, result.stderr)
        self.assertEqual(tree(self.at), before)
        return result.stderr

    def pack(self, entries, name="bad.zip"):
        """An archive with these entries: (name or ZipInfo, bytes)."""
        with zipfile.ZipFile(self.path(name), "w", zipfile.ZIP_DEFLATED) as archive:
            for entry, content in entries:
                archive.writestr(entry, content)

    def document(self):
        with open(self.path("tourer/job.json"), "rb") as file:
            return file.read()

    def test_copy_is_byte_for_byte(self):
        said = json.loads(self.done("job", "copy", "tourer", "second/tourer", "--json").stdout)
        self.assertEqual(tree(self.path("second/tourer")), tree(self.path("tourer")))
        self.assertEqual(said["numFiles"], 4)
        self.assertEqual(said["problems"], [])
        self.assertEqual(os.listdir(self.path("second")), ["tourer"])
        for name in ("job.json", "takes/first take.wav"):
            self.assertAlmostEqual(os.path.getmtime(self.path("second/tourer/" + name)),
                                   os.path.getmtime(self.path("tourer/" + name)), places=3)

    def test_copy_overwrites_nothing(self):
        os.mkdir(self.path("there"))
        self.refused(["exists already"], "job", "copy", "tourer", "there")
        self.refused(["exists already"], "job", "copy", "tourer", "tourer")
        self.refused(["copy of itself"], "job", "copy", "tourer", "tourer/inner")
        self.refused(["no job.json"], "job", "copy", "there", "new")
        self.refused(["no such folder"], "job", "copy", "nowhere", "new")

    def test_links_out_of_a_job_are_not_handed_on(self):
        self.write("secret.txt", b"secret")
        os.symlink(self.path("secret.txt"), self.path("tourer/link.txt"))
        self.refused(["link.txt", "leads out"], "job", "copy", "tourer", "new")
        self.refused(["link.txt", "leads out"], "job", "archive", "tourer", "--out", "new.zip")
        os.remove(self.path("tourer/link.txt"))
        os.symlink("notes", self.path("tourer/more"))
        self.refused(["more", "link to a folder"], "job", "copy", "tourer", "new")
        os.remove(self.path("tourer/more"))
        os.symlink("nothing", self.path("tourer/dangling"))
        self.refused(["dangling"], "job", "copy", "tourer", "new")
        os.remove(self.path("tourer/dangling"))
        os.mkfifo(self.path("tourer/pipe"))
        self.refused(["pipe"], "job", "copy", "tourer", "new")
        os.remove(self.path("tourer/pipe"))
        # One that stays inside becomes the file it leads to.
        os.symlink("notes/größe.txt", self.path("tourer/inside.txt"))
        self.done("job", "copy", "tourer", "new")
        self.assertFalse(os.path.islink(self.path("new/inside.txt")))
        self.assertEqual(tree(self.path("new"))["inside.txt"], b"a note of the shop")

    def test_archive_is_a_zip_file_of_everything(self):
        self.write("tourer/.saddletone.lock", b"left by a crash")
        self.write("tourer/.job.part-00000000-999999999-0.json", b"half")
        self.done("job", "archive", "tourer", "--out", "kept/tourer.zip")
        self.assertEqual(os.listdir(self.path("kept")), ["tourer.zip"])
        with zipfile.ZipFile(self.path("kept/tourer.zip")) as archive:
            self.assertIsNone(archive.testzip())
            names = sorted(archive.namelist())
            self.assertEqual(names, ["tourer/job.json", "tourer/job.previous.json",
                                     "tourer/notes/größe.txt", "tourer/takes/first take.wav"])
            for name in names:
                self.assertEqual(archive.read(name), tree(self.at)[name])
        mode = stat.S_IMODE(os.stat(self.path("kept/tourer.zip")).st_mode)
        umask = os.umask(0)
        os.umask(umask)
        self.assertEqual(mode, 0o666 & ~umask)

    def test_archive_and_unpack_give_the_job_back(self):
        self.done("job", "archive", "tourer", "--out", "tourer.zip")
        said = self.done("job", "unpack", "tourer.zip", "--out", "back/here")
        self.assertIn("4 file(s)", said.stdout)
        self.assertEqual(tree(self.path("back/here")), tree(self.path("tourer")))
        self.assertEqual(os.listdir(self.path("back")), ["here"])
        # A ZIP file's times have steps of two seconds.
        self.assertAlmostEqual(os.path.getmtime(self.path("back/here/job.json")),
                               os.path.getmtime(self.path("tourer/job.json")), delta=2.0)

    def test_archives_overwrite_nothing(self):
        self.write("old.zip", b"an older archive")
        self.refused(["exists already"], "job", "archive", "tourer", "--out", "old.zip")
        self.refused(["in the job"], "job", "archive", "tourer", "--out", "tourer/new.zip")
        self.refused([".zip"], "job", "archive", "tourer", "--out", "new.tar", code=2)
        self.done("job", "archive", "tourer", "--out", "tourer.zip")
        self.refused(["exists already"], "job", "unpack", "tourer.zip", "--out", "tourer")

    def test_missing_files_of_a_job_are_named(self):
        document = json.loads(self.document())
        document["programmes"] = ["music/gone.wav"]
        self.write("tourer/job.json", json.dumps(document).encode())
        said = self.done("job", "archive", "tourer", "--out", "tourer.zip").stdout
        self.assertIn("music/gone.wav", said)
        self.assertIn("music/gone.wav",
                      self.done("job", "unpack", "tourer.zip", "--out", "back").stdout)

    def test_an_archive_made_inside_the_folder_is_unpacked_too(self):
        self.pack([("job.json", self.document()), ("notes/a.txt", b"a")], "plain.zip")
        self.done("job", "unpack", "plain.zip", "--out", "plain")
        self.assertEqual(tree(self.path("plain")),
                         {"job.json": self.document(), "notes/a.txt": b"a"})

    def test_names_that_leave_the_job_are_refused(self):
        for name in ("/etc/new.txt", "../new.txt", "tourer/../../new.txt", "tourer/..",
                     "tourer\\..\\new.txt", "C:/new.txt", "C:new.txt", "tourer//new.txt",
                     "tourer/./new.txt", "./tourer/new.txt", "tourer/a\nb.txt"):
            info = zipfile.ZipInfo("tourer/new.txt")
            info.filename = name  # the constructor would put some of them right
            self.pack([("tourer/job.json", self.document()), (info, b"x")])
            self.refused(["bad.zip", "nothing was unpacked"], "job", "unpack", "bad.zip", "--out",
                         "new")

    def test_entries_beside_the_job_are_refused(self):
        for name in ("other/new.txt", "new.txt", "tourer2/new.txt", "other/"):
            self.pack([("tourer/job.json", self.document()), (name, b"")])
            self.refused(["outside the job"], "job", "unpack", "bad.zip", "--out", "new")
        self.pack([("one/job.json", self.document()), ("two/job.json", self.document())])
        self.refused(["2 jobs"], "job", "unpack", "bad.zip", "--out", "new")
        self.pack([("a/b/job.json", self.document())])
        self.refused(["no job.json"], "job", "unpack", "bad.zip", "--out", "new")

    def test_links_and_devices_in_an_archive_are_refused(self):
        for kind in (stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR):
            info = zipfile.ZipInfo("tourer/link")
            info.create_system = 3
            info.external_attr = (kind | 0o777) << 16
            self.pack([("tourer/job.json", self.document()), (info, b"/etc/passwd")])
            self.refused(["tourer/link", "link, a device"], "job", "unpack", "bad.zip", "--out",
                         "new")

    def test_names_that_recur_are_refused(self):
        import warnings
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self.pack([("tourer/job.json", self.document()), ("tourer/a", b"1"),
                       ("tourer/a", b"2")])
        self.refused(["bad.zip", "twice"], "job", "unpack", "bad.zip", "--out", "new")
        self.pack([("tourer/job.json", self.document()), ("tourer/a", b"1"), ("tourer/a/b", b"2")])
        self.refused(["a/b"], "job", "unpack", "bad.zip", "--out", "new")

    def test_archives_without_a_sound_job_are_refused(self):
        self.pack([("tourer/notes.txt", b"x")])
        self.refused(["no job.json"], "job", "unpack", "bad.zip", "--out", "new")
        self.pack([("tourer/job.json", b"{")])
        self.refused(["bad.zip: job.json", "not valid JSON"], "job", "unpack", "bad.zip", "--out",
                     "new")
        self.pack([])
        self.refused(["no job.json"], "job", "unpack", "bad.zip", "--out", "new")
        self.write("bad.zip", b"no archive")
        self.refused(["bad.zip", "ZIP archive"], "job", "unpack", "bad.zip", "--out", "new")
        self.refused(["none.zip"], "job", "unpack", "none.zip", "--out", "new")

    def test_damaged_archives_are_refused_wherever_they_are_hit(self):
        self.done("job", "archive", "tourer", "--out", "good.zip")
        with open(self.path("good.zip"), "rb") as file:
            good = file.read()
        with zipfile.ZipFile(self.path("good.zip")) as archive:
            places = [info.header_offset + 30 + len(info.filename.encode()) + info.compress_size // 2
                      for info in archive.infolist()]
        for place in places:  # in the middle of each file's packed bytes
            damaged = bytearray(good)
            damaged[place] ^= 0x10
            self.write("bad.zip", bytes(damaged))
            self.refused(["bad.zip"], "job", "unpack", "bad.zip", "--out", "new")
        for length in range(0, len(good), 97):
            self.write("bad.zip", good[:length])
            self.refused(["bad.zip"], "job", "unpack", "bad.zip", "--out", "new")

    def test_sizes_that_are_not_true_are_refused(self):
        self.pack([("tourer/job.json", self.document()), ("tourer/bomb.wav", b"0" * 1000)])
        with open(self.path("bad.zip"), "rb") as file:
            good = file.read()
        for size in (0, 10, 999, 1001, 5000, 0xFFFFFFF0):
            content = bytearray(good)
            # Where the size of the last file stands, in the directory and in front of its bytes.
            for place in (content.rfind(b"PK\x01\x02") + 24, content.rfind(b"PK\x03\x04") + 22):
                content[place:place + 4] = size.to_bytes(4, "little")
            self.write("bad.zip", bytes(content))
            self.refused(["bad.zip"], "job", "unpack", "bad.zip", "--out", "new")

    def test_too_many_files_are_refused(self):
        with zipfile.ZipFile(self.path("many.zip"), "w") as archive:
            archive.writestr("tourer/job.json", self.document())
            for number in range(20001):
                archive.writestr(f"tourer/{number}", b"")
        self.refused(["20002 files", "20000"], "job", "unpack", "many.zip", "--out", "new")


if __name__ == "__main__":
    PROGRAM = os.path.abspath(sys.argv.pop(1))
    unittest.main()
