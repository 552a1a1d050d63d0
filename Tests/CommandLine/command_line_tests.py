"""Exit codes, messages and whole files: the contract of the command line, run from outside.

Usage: command_line_tests.py PATH_OF_SADDLETONE
"""

import json
import os
import struct
import subprocess
import sys
import tempfile
import unittest
import wave

PROGRAM = ""


def run(*arguments, cwd=None):
    return subprocess.run([PROGRAM, *arguments], cwd=cwd, capture_output=True, text=True, check=False)


def wav_header(sample_rate, num_bytes):
    return (
        b"RIFF"
        + struct.pack("<I", 36 + num_bytes)
        + b"WAVEfmt "
        + struct.pack("<IHHIIHH", 16, 1, 1, sample_rate, sample_rate * 2, 2, 16)
        + b"data"
        + struct.pack("<I", num_bytes)
    )


class CommandLineTests(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.at = cls.folder.name
        made = run("signal", "sweep", "--seconds", "3", "--out", "sweep.wav", cwd=cls.at)
        assert made.returncode == 0, made.stderr
        # A loop-back: the track itself is a recording of a bike that changes nothing.
        made = run("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json",
                   "--out", "state.json", "--profile", "A", cwd=cls.at)
        assert made.returncode == 0, made.stderr
        made = run("signal", "pink", "--seconds", "2", "--out", "music.wav", cwd=cls.at)
        assert made.returncode == 0, made.stderr
        with open(os.path.join(cls.at, "tuning.json"), "w", encoding="utf-8") as file:
            json.dump({"kind": "saddletone-tuning", "schemaVersion": 1, "name": "t",
                       "chains": [{"elements": [{"type": "gain", "gainDb": -3}]}]}, file)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def setUp(self):
        self.before = sorted(os.listdir(self.at))

    def refused(self, code, words, *arguments):
        """The call fails with the code, says the words on stderr, and leaves no file behind."""
        result = run(*arguments, cwd=self.at)
        self.assertEqual(result.returncode, code, result.stderr)
        for word in words:
            self.assertIn(word, result.stderr)
        self.assertEqual(result.stdout, "")
        self.assertEqual(sorted(os.listdir(self.at)), self.before)

    def write(self, name, content):
        mode = "wb" if isinstance(content, bytes) else "w"
        with open(os.path.join(self.at, name), mode) as file:
            file.write(content)
        self.before = sorted(os.listdir(self.at))

    def test_help_is_everywhere(self):
        self.assertEqual(run("--help").returncode, 0)
        self.assertEqual(run("--version").returncode, 0)
        for verb in ("signal", "tracks", "measure", "analyse", "compare", "predict", "listen",
                     "report", "job", "demo"):
            result = run(verb, "--help")
            self.assertEqual(result.returncode, 0)
            self.assertIn("Usage", result.stdout)

    def test_wrong_usage_is_2(self):
        self.refused(2, ["subcommand"])
        self.refused(2, ["--out"], "signal", "pink")
        self.refused(2, ["purple", "sweep"], "signal", "purple", "--out", "x.wav")
        self.refused(2, ["3 Hz", "48000"], "signal", "pink", "--rate", "3", "--out", "x.wav")
        self.refused(2, ["full scale", "at most"], "signal", "pink", "--level", "0", "--out", "x.wav")
        self.refused(2, ["--level"], "signal", "pink", "--level", "loud", "--out", "x.wav")
        self.refused(2, ["--bands"], "analyse", "--recording", "music.wav", "--bands", "5")
        self.refused(2, ["helmet"], "listen", "--measured", "state.json", "--programme", "music.wav",
                     "--helmet", "straw", "--out", "x.wav")
        self.refused(2, ["speed"], "listen", "--measured", "state.json", "--programme", "music.wav",
                     "--speed-kmh", "50", "--speed-mph", "50", "--out", "x.wav")

    def test_bad_input_is_1_and_nothing_is_half_written(self):
        self.write("zero.wav", wav_header(48000, 0))
        self.write("slow.wav", wav_header(3, 8) + b"\0" * 8)
        self.write("words.wav", "this is no audio")
        self.write("nan.txt", "# microphone\n100 0\n200 nan\n")
        self.write("broken.json", "{ \"kind\": ")
        measure = ("measure", "--signal", "sweep.signal.json", "--out", "x.json", "--table", "x.csv",
                   "--impulse", "x.wav", "--recording")
        self.refused(1, ["none.wav", "not exist"], *measure, "none.wav")
        self.refused(1, ["zero.wav", "zero length"], *measure, "zero.wav")
        self.refused(1, ["slow.wav", "3 Hz"], *measure, "slow.wav")
        self.refused(1, ["words.wav"], *measure, "words.wav")
        self.refused(1, ["music.wav", "no marker"], *measure, "music.wav")
        self.refused(1, ["nan.txt", "line 3"], *measure, "sweep.wav", "--microphone", "nan.txt")
        self.refused(1, ["broken.json", "JSON"], "predict", "--measured", "state.json", "--tuning",
                     "broken.json", "--table", "x.csv")
        self.refused(1, ["sweep.signal.json", "kind"], "predict", "--measured", "sweep.signal.json",
                     "--tuning", "tuning.json", "--table", "x.csv")
        self.refused(1, ["zero.wav"], "listen", "--measured", "state.json", "--programme", "zero.wav",
                     "--out", "x.wav")
        self.refused(1, ["nowhere"], "job", "list", "nowhere")
        self.refused(1, ["nowhere"], "report", "--job", "nowhere", "--out", "x.html")

    def test_wrong_types_and_newer_schemas_are_named(self):
        with open(os.path.join(self.at, "state.json"), encoding="utf-8") as file:
            state = json.load(file)
        self.write("newer.json", json.dumps({**state, "schemaVersion": 99}))
        self.write("type.json", json.dumps({**state, "sampleRate": "fast"}))
        common = ("--programme", "music.wav", "--out", "x.wav")
        self.refused(1, ["newer.json", "99", "newer Saddletone"], "listen", "--measured", "newer.json", *common)
        self.refused(1, ["type.json", "sampleRate", "number"], "listen", "--measured", "type.json", *common)

    def test_json_output_is_json(self):
        with tempfile.TemporaryDirectory() as folder:
            result = run("signal", "sine", "--seconds", "1", "--out", os.path.join(folder, "s.wav"), "--json")
            self.assertEqual(json.loads(result.stdout)["numFrames"], 48000)
        result = run("compare", "state.json", "state.json", "--json", cwd=self.at)
        self.assertFalse(json.loads(result.stdout)["comparisons"][0]["significant"])

    def test_a_job_from_nothing_to_a_report(self):
        with tempfile.TemporaryDirectory() as folder:
            job = os.path.join(folder, "job")
            state = os.path.join(self.at, "state.json")
            tuning = os.path.join(self.at, "tuning.json")
            self.assertEqual(run("job", "new", job, "--title", "A bike").returncode, 0)
            self.assertEqual(run("job", "new", job).returncode, 1)
            self.assertEqual(run("job", "add", job, "--state", state).returncode, 0)
            self.assertEqual(run("job", "add", job, "--state", state, "--tuning", tuning,
                                 "--name", "quieter").returncode, 0)
            self.assertEqual(run("job", "check", job).returncode, 0)
            listed = json.loads(run("job", "list", job, "--json").stdout)
            self.assertEqual([c["name"] for c in listed["candidates"]], ["state", "quieter"])
            report = os.path.join(folder, "report.html")
            self.assertEqual(run("report", "--job", job, "--out", report).returncode, 0)
            with open(report, encoding="utf-8") as file:
                self.assertIn("A bike", file.read())
            os.remove(os.path.join(job, "states", "state.impulse.wav"))
            self.assertEqual(run("job", "check", job).returncode, 1)

    def test_a_rendering_does_not_depend_on_the_block_and_stays_below_the_ceiling(self):
        with tempfile.TemporaryDirectory() as folder:
            rendered = []
            for block in ("512", "37"):
                out = os.path.join(folder, block + ".wav")
                result = run("listen", "--measured", "state.json", "--tuning", "tuning.json", "--speed-mph",
                             "75", "--programme", "music.wav", "--block", block, "--bits", "16",
                             "--level", "0", "--ceiling", "-20", "--out", out, cwd=self.at)
                self.assertEqual(result.returncode, 0, result.stderr)
                with wave.open(out) as file:
                    self.assertEqual(file.getnchannels(), 2)
                    rendered.append(file.readframes(file.getnframes()))
            self.assertEqual(rendered[0], rendered[1])
            samples = struct.unpack(f"<{len(rendered[0]) // 2}h", rendered[0])
            # One step of dither above the ceiling of -20 dBFS.
            self.assertLessEqual(max(abs(s) for s in samples), 32768 * 10 ** (-20 / 20) + 2)
            self.assertGreater(max(abs(s) for s in samples), 1000)


if __name__ == "__main__":
    PROGRAM = os.path.abspath(sys.argv.pop(1))
    unittest.main()
