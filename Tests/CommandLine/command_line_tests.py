"""Exit codes, messages and whole files: the contract of the command line, run from outside.

Usage: command_line_tests.py PATH_OF_SADDLETONE
"""

import json
import math
import os
import shutil
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


class FolderTests(unittest.TestCase):
    """Tests that share a folder, which a class fills in setUpClass()."""

    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.at = cls.folder.name

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def refused(self, code, words, *arguments):
        """The call fails with the code, says the words on stderr, and leaves no file behind."""
        before = sorted(os.listdir(self.at))
        result = run(*arguments, cwd=self.at)
        self.assertEqual(result.returncode, code, result.stderr)
        for word in words:
            self.assertIn(word, result.stderr)
        self.assertEqual(result.stdout, "")
        self.assertEqual(sorted(os.listdir(self.at)), before)


class CommandLineTests(FolderTests):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
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

    def write(self, name, content):
        mode = "wb" if isinstance(content, bytes) else "w"
        with open(os.path.join(self.at, name), mode) as file:
            file.write(content)

    def test_help_is_everywhere(self):
        self.assertEqual(run("--help").returncode, 0)
        self.assertEqual(run("--version").returncode, 0)
        for verb in ("signal", "tracks", "measure", "calibrate", "import", "analyse", "compare",
                     "predict", "tone-controls", "verdict", "ride", "texture", "audibility", "exposure",
                     "overdrive", "headphone", "headphone-level", "placement", "blind", "take-home",
                     "export", "listen", "report", "presets", "job", "job report", "job new", "job add", "job check",
                     "job list", "demo"):
            result = run(*verb.split(), "--help")
            self.assertEqual(result.returncode, 0)
            self.assertIn("Usage", result.stdout)
            self.assertEqual(result.stderr, "")

    def test_wrong_usage_is_2(self):
        self.refused(2, ["subcommand"])
        self.refused(2, ["--out"], "signal", "pink")
        self.refused(2, ["purple", "sweep"], "signal", "purple", "--out", "x.wav")
        self.refused(2, ["3 Hz", "48000"], "signal", "pink", "--rate", "3", "--out", "x.wav")
        self.refused(2, ["full scale", "at most"], "signal", "pink", "--level", "0", "--out", "x.wav")
        self.refused(2, ["--level"], "signal", "pink", "--level", "loud", "--out", "x.wav")
        self.refused(2, ["sine", "--from"], "signal", "sine", "--from", "30", "--out", "x.wav")
        self.refused(2, ["-18.5 dBFS"], "signal", "calibrated-pink", "--level", "-12", "--out", "x.wav")
        self.refused(2, ["horn", "tweeter"], "signal", "pink", "--driver", "horn", "--out", "x.wav")
        self.refused(2, ["--driver"], "signal", "sweep", "--driver", "mid", "--out", "x.wav")
        self.refused(2, ["multitone"], "signal", "bands", "--tones", "12", "--out", "x.wav")
        self.refused(2, ["1 to 20 s"], "signal", "bands", "--seconds", "30", "--out", "x.wav")
        self.refused(2, ["ogg", "mp3"], "tracks", "--format", "ogg", "--out", "set")
        self.refused(2, ["MP3", "44100"], "tracks", "--format", "mp3", "--rate", "96000", "--out", "set")
        self.refused(2, ["32000"], "tracks", "--rate", "32000", "--out", "set")
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

    def test_numbers_that_are_none_or_out_of_range_are_2(self):
        measure = ("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json", "--out", "x.json")
        listen = ("listen", "--measured", "state.json", "--programme", "music.wav", "--out", "x.wav")
        for value in ("nan", "inf", "-1", "1e9", "much"):
            for option, verb in (("--window-ms", measure), ("--window-cycles", measure),
                                 ("--speed-kmh", measure), ("--ceiling", listen), ("--level", listen)):
                if value != "-1" or option not in ("--ceiling", "--level"):
                    self.refused(2, [option, value], *verb, option, value)
            self.refused(2, ["--spl", value], "calibrate", "--recording", "sweep.wav", "--microphone", "m",
                         "--out", "x.json", "--spl", value)
            self.refused(2, ["--calibration-spl", value], *measure, "--calibration", "sweep.wav",
                         "--calibration-spl", value)
        self.refused(2, ["--tracks-apart"], "compare", "--left", "state.json", "--right", "state.json",
                     "--tracks-apart", "nan")
        self.refused(2, ["name"], "calibrate", "--recording", "sweep.wav", "--microphone", "", "--out", "x.json")

    def test_no_output_overwrites_what_is_read_or_another_output(self):
        def bytes_of(name):
            with open(os.path.join(self.at, name), "rb") as file:
                return file.read()

        names = ("sweep.wav", "sweep.signal.json", "state.json", "state.impulse.wav", "music.wav", "tuning.json")
        before = [bytes_of(name) for name in names]
        self.write("curve.txt", "20 0\n1000 0\n20000 0\n")
        measure = ("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json")
        for name in ("sweep.wav", "sweep.signal.json", "./sweep.wav", os.path.join(self.at, "sweep.wav")):
            self.refused(2, [name, "overwritten"], *measure, "--out", name)
            self.refused(2, [name, "overwritten"], *measure, "--out", "x.json", "--table", name)
        self.refused(2, ["curve.txt"], *measure, "--out", "x.json", "--microphone", "curve.txt", "--table",
                     "curve.txt")
        self.refused(2, ["twice"], *measure, "--out", "x.json", "--table", "x.json")
        self.refused(2, ["twice"], *measure, "--out", "x.json", "--impulse", "x.impulse.wav")
        self.refused(2, ["music.wav"], "analyse", "--recording", "music.wav", "--table", "music.wav")
        self.refused(2, ["state.json"], "compare", "state.json", "state.json", "--table", "state.json")
        self.refused(2, ["state.json"], "compare", "--left", "state.json", "--right", "state.json", "--table",
                     "state.json")
        self.refused(2, ["tuning.json"], "predict", "--measured", "state.json", "--tuning", "tuning.json",
                     "--table", "tuning.json")
        self.refused(2, ["curve.txt"], "import", "--table", "curve.txt", "--out", "curve.txt")
        self.refused(2, ["state.impulse.wav"], "import", "--impulse", "state.impulse.wav", "--out", "state.json")
        self.refused(2, ["music.wav"], "calibrate", "--recording", "music.wav", "--microphone", "m", "--out",
                     "music.wav")
        impulse = "state.impulse.wav"
        self.refused(2, [impulse], "fit", "--measured", "state.json", "--with", "filters", "--out", impulse)
        self.refused(2, [impulse], "verdict", "--state", "state.json", "--out", impulse)
        self.refused(2, [impulse], "compare", "state.json", "state.json", "--table", impulse)
        self.refused(2, [impulse], "tone-controls", "--reference", "state.json", "--moved", "state.json",
                     "--control", "bass", "--to-step", "6", "--out", impulse)
        for name in ("music.wav", "state.impulse.wav"):
            self.refused(2, [name], "listen", "--measured", "state.json", "--programme", "music.wav", "--out", name)
        self.assertEqual([bytes_of(name) for name in names], before)

    def test_places_that_cannot_be_written_are_1_and_leave_nothing(self):
        measure = ("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json")
        with tempfile.TemporaryDirectory() as folder:
            os.makedirs(os.path.join(folder, "state.json"))
            pipe = os.path.join(folder, "pipe.wav")
            os.mkfifo(pipe)
            for name, word in ((os.path.join(folder, "state.json"), "folder"), (pipe, "pipe"),
                               ("sweep.wav/x.json", "sweep.wav")):
                self.refused(1, [word], *measure, "--out", name, "--table", "x.csv", "--impulse", "x.wav")
                self.refused(1, [word], *measure, "--out", "x.json", "--table", name)
            self.refused(1, ["pipe"], "signal", "pink", "--out", pipe)
            self.assertEqual(sorted(os.listdir(folder)), ["pipe.wav", "state.json"])
            self.assertEqual(os.listdir(os.path.join(folder, "state.json")), [])
        self.refused(1, ["sweep.wav"], "tracks", "--out", "sweep.wav")

    @unittest.skipUnless(os.path.isdir("/proc/self"), "has no folder that not even the superuser writes to")
    def test_a_folder_without_the_right_to_write_is_1(self):
        self.refused(1, ["/proc/x.wav", "read-only"], "signal", "pink", "--out", "/proc/x.wav")
        self.refused(1, ["/proc/x.json", "read-only"], "measure", "--recording", "sweep.wav", "--signal",
                     "sweep.signal.json", "--table", "x.csv", "--out", "/proc/x.json")

    def test_endings_say_what_is_written(self):
        for name in ("x.xyz", "x", "x.ogg"):
            self.refused(2, [name, ".wav", ".flac", ".mp3"], "signal", "pink", "--seconds", "1", "--out", name)
        self.refused(2, ["x.txt", ".wav"], "measure", "--recording", "sweep.wav", "--signal",
                     "sweep.signal.json", "--out", "x.json", "--impulse", "x.txt")
        self.refused(2, ["x.mp3", ".flac"], "listen", "--measured", "state.json", "--programme", "music.wav",
                     "--out", "x.mp3")

    def test_a_recording_counts_once(self):
        with open(os.path.join(self.at, "sweep.wav"), "rb") as file:
            self.write("copy.wav", file.read())
        for second in ("sweep.wav", "copy.wav"):
            self.refused(2, [second, "same recording"], "measure", "--recording", "sweep.wav", "--recording",
                         second, "--signal", "sweep.signal.json", "--out", "x.json")
        os.remove(os.path.join(self.at, "copy.wav"))

    def test_groups_in_one_recording_have_their_arrival(self):
        with tempfile.TemporaryDirectory() as folder:
            made = run("signal", "sweep", "--seconds", "2", "--bits", "16", "--level", "-20", "--out", "one.wav",
                       cwd=folder)
            self.assertEqual(made.returncode, 0, made.stderr)
            with wave.open(os.path.join(folder, "one.wav")) as file:
                frames = file.readframes(file.getnframes())
            # The second group plays a second after the first has ended, and arrives 1.5 ms (72 frames)
            # later.
            apart = len(frames) // 2 + 48000
            with wave.open(os.path.join(folder, "both.wav"), "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(48000)
                file.writeframes(frames + bytes(2 * (48000 + 72)) + frames + bytes(2 * 48000))
            middle = str(len(frames) / 2 / 48000 + 0.5)
            for name, part in (("l.json", ["--part-to", middle]), ("r.json", ["--part-from", middle])):
                result = run("measure", "--recording", "both.wav", "--signal", "one.signal.json", "--out", name,
                             *part, "--json", cwd=folder)
                self.assertEqual(result.returncode, 0, result.stderr)
                self.assertEqual(json.loads(result.stdout)["numTakes"], 1)
            result = run("compare", "--left", "l.json", "--right", "r.json", "--tracks-apart",
                         str(apart / 48000), "--json", cwd=folder)
            self.assertEqual(result.returncode, 0, result.stderr)
            match = json.loads(result.stdout)["match"]
            self.assertAlmostEqual(match["arrivalDifferenceMs"], 1.5, delta=0.005)
            self.assertEqual(match["polarity"], "same")
        self.refused(2, ["--part-from", "--part-to"], "measure", "--recording", "sweep.wav", "--signal",
                     "sweep.signal.json", "--out", "x.json", "--part-from", "3", "--part-to", "2")
        self.refused(1, ["sweep.wav", "marker"], "measure", "--recording", "sweep.wav", "--signal",
                     "sweep.signal.json", "--out", "x.json", "--part-from", "4")

    def test_recordings_that_are_broken_are_named(self):
        with open(os.path.join(self.at, "sweep.wav"), "rb") as file:
            whole = file.read()
        def floats(samples):
            data = struct.pack(f"<{len(samples)}f", *samples)
            return (b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVEfmt "
                    + struct.pack("<IHHIIHH", 16, 3, 1, 48000, 192000, 4, 32) + b"data"
                    + struct.pack("<I", len(data)) + data)
        self.write("empty.wav", b"")
        self.write("header.wav", whole[:20])
        self.write("half.wav", whole[:len(whole) // 2])
        self.write("nan.wav", floats([0.1] * 480 + [float("nan")] + [0.1] * 480))
        self.write("inf.wav", floats([0.1] * 480 + [float("-inf")] + [0.1] * 480))
        common = ("--signal", "sweep.signal.json", "--out", "x.json", "--recording")
        for name, words in (("empty.wav", ["WAV, FLAC"]), ("header.wav", []), (self.at, ["folder"]),
                            ("half.wav", ["cut off", "record until"]), ("nan.wav", ["frame 480"]),
                            ("inf.wav", ["frame 480"])):
            self.refused(1, [name] + words, "measure", *common, name)
            if name != "half.wav":
                self.refused(1, [name] + words, "analyse", "--recording", name, "--json")
                self.refused(1, [name], "calibrate", "--recording", name, "--microphone", "m", "--out", "x.json")
        # The second of two is looked at before the first is measured.
        self.refused(1, ["nan.wav"], "measure", *common, "sweep.wav", "--recording", "nan.wav")

    def test_descriptions_that_are_wrong_are_named(self):
        with open(os.path.join(self.at, "sweep.signal.json"), encoding="utf-8") as file:
            track = json.load(file)
        def with_layout(**changes):
            return {**track, "layout": {**track["layout"], **changes}}
        cases = {"cut": (json.dumps(track)[:50], ["JSON"]),
                 "list": ("[]", ["object"]),
                 "kind": (json.dumps({**track, "kind": "saddletone-state"}), ["kind", "saddletone-signal"]),
                 "rate": (json.dumps({**track, "sampleRate": -1}), ["sampleRate", "8000"]),
                 "plain": (json.dumps({key: track[key] for key in track if key != "layout"}), ["layout"]),
                 "far": (json.dumps(with_layout(sweepFrame=10 ** 9)), ["layout.sweepFrame"]),
                 "order": (json.dumps(with_layout(secondMarkerFrame=0)), ["layout"]),
                 "newer": (json.dumps({**track, "schemaVersion": 99}), ["99", "newer"])}
        for name, (text, words) in cases.items():
            self.write(name + ".signal.json", text)
            self.refused(1, [name + ".signal.json"] + words, "measure", "--recording", "sweep.wav", "--signal",
                         name + ".signal.json", "--out", "x.json")
        self.refused(1, ["pink", "sweep"], "measure", "--recording", "sweep.wav", "--signal",
                     "music.signal.json", "--out", "x.json")

    def test_names_with_blanks_and_letters_of_all_languages_pass(self):
        with tempfile.TemporaryDirectory() as folder:
            place = os.path.join(folder, "Prüf stand – 測定 (1)")
            os.makedirs(place)
            names = {kind: os.path.join(place, f"Mes été {kind}") for kind in ("a.wav", "b.json", "c.csv")}
            made = run("signal", "sweep", "--seconds", "2", "--out", names["a.wav"])
            self.assertEqual(made.returncode, 0, made.stderr)
            measured = run("measure", "--recording", names["a.wav"], "--signal",
                           names["a.wav"].replace(".wav", ".signal.json"), "--out", names["b.json"], "--table",
                           names["c.csv"], "--profile", "Straße \"3\"", "--json")
            self.assertEqual(measured.returncode, 0, measured.stderr)
            self.assertEqual(json.loads(measured.stdout)["state"], names["b.json"])
            compared = run("compare", names["b.json"], os.path.join(self.at, "state.json"))
            self.assertEqual(compared.returncode, 0, compared.stderr)
            self.assertIn("Straße \"3\"", compared.stdout)
            self.assertEqual(len(os.listdir(place)), 5)

    def test_analyse_has_every_width_weighting_and_both_methods(self):
        numbers = {"3": 31, "6": 60, "12": 120, "24": 240}  # of 20 Hz to 20 kHz, IEC 61260-1
        help_text = run("analyse", "--help").stdout
        with tempfile.TemporaryDirectory() as folder:
            totals = {}
            for bands, number in numbers.items():
                for weighting in ("A", "C", "Z"):
                    for method in ("fourier", "filters"):
                        self.assertIn(method, help_text)
                        table = os.path.join(folder, "t.csv")
                        result = run("analyse", "--recording", "music.wav", "--bands", bands, "--weighting",
                                     weighting, "--method", method, "--table", table, "--json", cwd=self.at)
                        self.assertEqual(result.returncode, 0, result.stderr)
                        said = json.loads(result.stdout)
                        self.assertEqual((said["method"], said["weighting"]), (method, weighting))
                        self.assertEqual(len(said["levelsDbfs"]), number)
                        with open(table, encoding="utf-8") as file:
                            rows = [line.split(",") for line in file.read().splitlines()]
                        self.assertEqual(rows[0], ["frequency_hz", "level_dbfs"])
                        for row, frequency, level in zip(rows[1:], said["frequenciesHz"], said["levelsDbfs"]):
                            self.assertAlmostEqual(float(row[0]), frequency, delta=0.001)
                            self.assertAlmostEqual(float(row[1]), level, delta=0.001)
                        totals.setdefault((weighting, method), set()).add(round(said["totalDbfs"], 6))
            for weighting in ("A", "C", "Z"):
                # The total has nothing to do with the bands' width, and little with the method:
                # a weighting run as a filter falls off near half the rate.
                self.assertEqual([len(totals[weighting, method]) for method in ("fourier", "filters")], [1, 1])
                self.assertAlmostEqual(*(next(iter(totals[weighting, method])) for method in
                                         ("fourier", "filters")), delta=0.05)
        text = run("analyse", "--recording", "music.wav", "--method", "filters", cwd=self.at).stdout
        self.assertIn("total", text)
        self.refused(2, ["--method", "magic"], "analyse", "--recording", "music.wav", "--method", "magic")
        self.refused(2, ["weighting", "'B'"], "analyse", "--recording", "music.wav", "--weighting", "B")
        self.write("slow.wav", wav_header(16000, 64000) + b"\1\0" * 32000)
        self.refused(1, ["slow.wav", "16000 Hz", "--method fourier"], "analyse", "--recording", "slow.wav",
                     "--method", "filters")
        slow = run("analyse", "--recording", "slow.wav", cwd=self.at)
        self.assertEqual(slow.returncode, 0, slow.stderr)

    def test_tables_of_every_number_format_give_the_same_state(self):
        levels = {31.5: -12.5, 100.25: 1.0, 315.0: 2.5, 1000.5: 0.25, 4000.0: -2.0, 16000.0: -9.5}
        with tempfile.TemporaryDirectory() as folder:
            found = {}
            for phase in (False, True):
                for separator in ("\t", " ", "   ", ",", ", ", ";", "; "):
                    for mark in (".", ","):
                        if "," in separator and mark == ",":
                            continue
                        for front in ("", "# a, b\n", "* a; b\n", "; a\n", "Hz;dB\n", "\ufefff,dB\r\n"):
                            text = front
                            for index, (frequency, level) in enumerate(levels.items()):
                                row = [f"{frequency:.3f}", f"{level:.2f}"] + ([f"{-30.5 * index}"] if phase else [])
                                text += separator.join(number.replace(".", mark) for number in row) + "\r\n"
                            with open(os.path.join(folder, "t.csv"), "w", encoding="utf-8", newline="") as file:
                                file.write(text)
                            result = run("import", "--table", "t.csv", "--out", "s.json", "--rate", "44100",
                                         "--json", cwd=folder)
                            self.assertEqual(result.returncode, 0, text + result.stderr)
                            self.assertEqual("minimum phase" in " ".join(json.loads(result.stdout)["remarks"]),
                                             not phase)
                            with open(os.path.join(folder, "s.impulse.wav"), "rb") as file:
                                found.setdefault(phase, set()).add(file.read())
            self.assertEqual([len(found[phase]) for phase in (False, True)], [1, 1])
        for text, words in (("100 0\n200 nan\n400 0\n", ["line 2", "finite"]),
                            ("100 0\n200 ---\n400 0\n", ["line 2", "'200 ---'"]),
                            ("31,5,-3,5\n63,0,-2,5\n125,0,0,0\n", ["commas", "';'"]),
                            ("400 0\n200 0\n100 0\n", ["line 2", "rise"]),
                            ("", ["frequency in Hz"]), ("# nothing\n", ["frequency in Hz"]),
                            (b"\xff\xfe1\x000\x000\x00", ["plain text", "UTF-8"])):
            self.write("curve.txt", text)
            for arguments in (("import", "--table", "curve.txt", "--out", "x.json"),
                              ("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json",
                               "--microphone", "curve.txt", "--out", "x.json")):
                self.refused(1, ["curve.txt"] + words, *arguments)

    def test_wrong_types_and_newer_schemas_are_named(self):
        with open(os.path.join(self.at, "state.json"), encoding="utf-8") as file:
            state = json.load(file)
        self.write("newer.json", json.dumps({**state, "schemaVersion": 99}))
        self.write("type.json", json.dumps({**state, "sampleRate": "fast"}))
        common = ("--programme", "music.wav", "--out", "x.wav")
        self.refused(1, ["newer.json", "99", "newer Saddletone"], "listen", "--measured", "newer.json", *common)
        self.refused(1, ["type.json", "sampleRate", "number"], "listen", "--measured", "type.json", *common)

    def test_settings_are_exported_as_table_csv_and_biquads(self):
        with tempfile.TemporaryDirectory() as folder:
            tuning = os.path.join(self.at, "tuning.json")
            for ending, words in (("txt", ("positive gain is a boost", "Overall gain: -3.0 dB", "Polarity: normal")),
                                  ("csv", ("gain_db (positive = boost)", "all,gain,,-3.0000")),
                                  ("json", ("differenceEquation", "\"sampleRate\": 96000"))):
                options = ("--rate", "96000") if ending == "json" else ()
                out = os.path.join(folder, "settings." + ending)
                result = run("export", "--tuning", tuning, "--out", out, *options, cwd=folder)
                self.assertEqual(result.returncode, 0, result.stderr)
                with open(out, encoding="utf-8") as file:
                    text = file.read()
                for word in words:
                    self.assertIn(word, text)
        export = ("export", "--tuning", "tuning.json", "--out")
        self.refused(2, ["x.pdf", ".txt", ".csv", ".json"], *export, "x.pdf")
        self.refused(2, ["--rate", ".json"], *export, "x.txt", "--rate", "48000")
        self.refused(2, ["--rate"], *export, "x.json", "--rate", "50")
        self.refused(2, ["tuning.json"], *export, "tuning.json")
        self.refused(1, ["none.json"], "export", "--tuning", "none.json", "--out", "x.txt")

    def test_tunings_of_a_part_of_the_speakers_and_limiters_are_said(self):
        def tuning(name, group, element):
            self.write(name, json.dumps({"kind": "saddletone-tuning", "schemaVersion": 2, "name": "t",
                                         "chains": [{"group": group, "elements": [element]}]}))
        tuning("front.json", "front", {"type": "gain", "gainDb": 3})
        tuning("limited.json", "all", {"type": "limiter", "thresholdDbfs": -6})
        predict = ("predict", "--measured", "state.json", "--table", "x.csv", "--tuning")
        self.refused(1, ["front.json", "'front'", "'all'"], *predict, "front.json")
        self.refused(1, ["front.json", "'left'"], *predict, "front.json", "--side", "left")
        self.refused(2, ["--side"], *predict, "front.json", "--side", "middle")
        listen = ("listen", "--measured", "state.json", "--programme", "music.wav", "--out", "x.wav", "--tuning")
        self.refused(1, ["'front'", "'left'"], *listen, "front.json")
        for arguments in ((*predict, "limited.json"), (*listen, "limited.json")):
            result = run(*arguments, cwd=self.at)
            self.assertEqual(result.returncode, 0, result.stderr)
            self.assertIn("limiter is not in this result", result.stdout)
        for name in ("x.csv", "x.wav"):
            os.remove(os.path.join(self.at, name))
        result = run(*predict, "front.json", "--side", "front-left", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        os.remove(os.path.join(self.at, "x.csv"))

    def test_every_signal_is_made_with_a_description_that_names_it(self):
        types = ("pink", "white", "sweep", "sine", "silence", "level", "calibrated-pink", "bands", "stepped",
                 "multitone", "polarity", "channels", "gain-set")
        help_text = run("signal", "--help").stdout
        with tempfile.TemporaryDirectory() as folder:
            for kind in types:
                self.assertIn(kind, help_text)
                name = kind + (".flac" if kind == "bands" else ".mp3" if kind == "stepped" else ".wav")
                result = run("signal", kind, "--seconds", "1", "--out", name, "--json", cwd=folder)
                self.assertEqual(result.returncode, 0, result.stderr)
                said = json.loads(result.stdout)
                with open(os.path.join(folder, said["description"]), encoding="utf-8") as file:
                    description = json.load(file)
                self.assertEqual(description["file"], name)
                self.assertEqual(description["type"], kind)
                self.assertEqual(description["schemaVersion"], 1)
                self.assertEqual(description["numChannels"], 2 if kind == "channels" else 1)
                self.assertEqual(said["levelsAreNominal"], kind == "stepped")
            driver = run("signal", "pink", "--driver", "tweeter", "--seconds", "1", "--out", "t.wav", "--json",
                         cwd=folder)
            self.assertEqual(json.loads(driver.stdout)["levelDbfs"], -30)
            # NAME.mp3 must not take NAME.wav's description.
            taken = run("signal", "pink", "--seconds", "1", "--out", "pink.mp3", cwd=folder)
            self.assertEqual(taken.returncode, 1)
            self.assertIn("pink.wav", taken.stderr)
            self.assertFalse(os.path.exists(os.path.join(folder, "pink.mp3")))

    def test_a_set_of_mp3_tracks_measures(self):
        with tempfile.TemporaryDirectory() as folder:
            result = run("tracks", "--out", "set", "--format", "mp3", "--json", cwd=folder)
            self.assertEqual(result.returncode, 0, result.stderr)
            tracks = json.loads(result.stdout)["tracks"]
            self.assertEqual(len(tracks), 15)
            with open(os.path.join(folder, "set", "track-list.html"), encoding="utf-8") as file:
                track_list = file.read()
            for track in tracks:
                self.assertIn(os.path.basename(track), track_list)
                self.assertTrue(os.path.getsize(os.path.join(folder, track)) > 0)
            measured = run("measure", "--recording", "set/03-sweep.mp3", "--signal",
                           "set/03-sweep.signal.json", "--out", "state.json", cwd=folder)
            self.assertEqual(measured.returncode, 0, measured.stderr)

    def test_microphone_curves_and_smoothing_of_the_table(self):
        with tempfile.TemporaryDirectory() as folder:
            curve = os.path.join(folder, "side.txt")
            with open(curve, "w", encoding="utf-8") as file:
                file.write("20 0\n1000 0\n2000 3\n20000 3\n")
            levels = {}
            for smoothing, extra in (("24", []), ("ear", []), ("0", []),
                                     ("3", ["--microphone-90", curve, "--incidence", "90"])):
                table = os.path.join(folder, smoothing + ".csv")
                result = run("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json",
                             "--out", os.path.join(folder, "s.json"), "--table", table,
                             "--smoothing", smoothing, *extra, cwd=self.at)
                self.assertEqual(result.returncode, 0, result.stderr)
                with open(table, encoding="utf-8") as file:
                    rows = [line.split(",") for line in file.read().splitlines()[1:]]
                levels[smoothing] = {float(row[0]): float(row[1]) for row in rows}
            for frequency, level in levels["24"].items():
                if 40 < frequency < 16000:
                    # A loop-back is flat however it is smoothed.
                    self.assertAlmostEqual(level, 0.0, delta=0.01)
                    self.assertAlmostEqual(levels["ear"][frequency], 0.0, delta=0.01)
                    self.assertAlmostEqual(levels["0"][frequency], 0.0, delta=0.01)
                if 4000 < frequency < 16000:
                    # The microphone's 3 dB too much are taken out.
                    self.assertAlmostEqual(levels["3"][frequency], -3.0, delta=0.01)
        self.refused(2, ["45"], "measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json",
                     "--out", "x.json", "--microphone-90", "none.txt", "--incidence", "45")

    def test_json_output_is_json(self):
        with tempfile.TemporaryDirectory() as folder:
            result = run("signal", "sine", "--seconds", "1", "--out", os.path.join(folder, "s.wav"), "--json")
            self.assertEqual(json.loads(result.stdout)["numFrames"], 48000)
        result = run("compare", "state.json", "state.json", "--json", cwd=self.at)
        self.assertFalse(json.loads(result.stdout)["comparisons"][0]["significant"])
        sides = run("compare", "--left", "state.json", "--right", "state.json", "--json", cwd=self.at)
        match = json.loads(sides.stdout)["match"]
        self.assertEqual((match["levelDifferenceDb"], match["rmsDb"]), (0.0, 0.0))

    def test_every_verb_says_its_result_as_json(self):
        with tempfile.TemporaryDirectory() as folder:
            state = os.path.join(self.at, "state.json")
            sweep = os.path.join(self.at, "sweep.wav")
            for arguments, key in (
                    (("signal", "sine", "--seconds", "2", "--out", "tone.wav"), "description"),
                    (("tracks", "--format", "flac", "--out", "set"), "trackList"),
                    (("measure", "--recording", sweep, "--signal", sweep.replace(".wav", ".signal.json"), "--out",
                      "m.json"), "bands"),
                    (("calibrate", "--recording", "tone.wav", "--microphone", "m", "--out", "c.json"),
                     "splAtFullScaleDb"),
                    (("import", "--impulse", state.replace(".json", ".impulse.wav"), "--out", "i.json"), "remarks"),
                    (("analyse", "--recording", sweep), "levelsDbfs"),
                    (("compare", state, "i.json"), "comparisons"),
                    (("predict", "--measured", state, "--tuning", os.path.join(self.at, "tuning.json"), "--table",
                      "p.csv"), "table"),
                    (("export", "--tuning", os.path.join(self.at, "tuning.json"), "--out", "e.json"), "sampleRate"),
                    (("listen", "--measured", state, "--programme", "tone.wav", "--out", "l.wav"), "file"),
                    (("job", "new", "job", "--title", "T"), "folder"),
                    (("job", "add", "job", "--state", state), "candidate"),
                    (("job", "check", "job"), "problems"),
                    (("job", "list", "job"), "candidates"),
                    (("job", "events", "job"), "events"),
                    (("blind", "--job", "job"), "runs"),
                    (("report", "--job", "job", "--out", "r.html"), "report")):
                # Before the verb or after it.
                before = key in ("description", "bands", "comparisons", "folder", "problems")
                result = run(*(("--json", *arguments) if before else (*arguments, "--json")), cwd=folder)
                self.assertEqual(result.returncode, 0, result.stderr)
                self.assertIn(key, json.loads(result.stdout))
                self.assertEqual(result.stderr, "")

    def test_compare_takes_states_or_sides_but_not_both(self):
        self.refused(2, ["--reference", "--left"], "compare", "state.json")
        self.refused(2, ["--right"], "compare", "--left", "state.json")
        self.refused(2, ["not both"], "compare", "state.json", "--left", "state.json", "--right", "state.json")
        self.refused(2, ["--from"], "compare", "state.json", "state.json", "--from", "500", "--to", "100")

    def test_a_saved_calibration_serves_a_measurement_and_shows_its_drift(self):
        with tempfile.TemporaryDirectory() as folder:
            def at(name):
                return os.path.join(folder, name)
            for name, level in (("old.wav", "-20"), ("new.wav", "-19")):
                made = run("signal", "sine", "--seconds", "2", "--level", level, "--out", at(name))
                self.assertEqual(made.returncode, 0, made.stderr)
            saved = run("calibrate", "--recording", at("old.wav"), "--spl", "94", "--microphone", "m1",
                        "--date", "2026-01-31", "--out", at("old.json"), "--json")
            self.assertEqual(saved.returncode, 0, saved.stderr)
            self.assertAlmostEqual(json.loads(saved.stdout)["splAtFullScaleDb"], 114.0, delta=0.01)
            drifted = run("calibrate", "--recording", at("new.wav"), "--microphone", "m1", "--date",
                          "2026-02-02", "--previous", at("old.json"), "--out", at("new.json"))
            self.assertEqual(drifted.returncode, 0, drifted.stderr)
            self.assertIn("caution: The calibrator reads 1.00 dB higher", drifted.stdout)
            self.assertIn("2 days before", drifted.stdout)
            other = run("calibrate", "--recording", at("new.wav"), "--microphone", "m2",
                        "--previous", at("old.json"), "--out", at("other.json"))
            self.assertEqual(other.returncode, 1)
            self.assertIn("different microphones", other.stderr)
            self.assertFalse(os.path.exists(at("other.json")))

            sweep = os.path.join(self.at, "sweep.wav")
            for calibration in ("old.json", "old.wav"):
                measured = run("measure", "--recording", sweep, "--signal",
                               os.path.join(self.at, "sweep.signal.json"), "--calibration",
                               at(calibration), "--out", at("state.json"))
                self.assertEqual(measured.returncode, 0, measured.stderr)
                self.assertEqual("calibration of 2026-01-31" in measured.stdout,
                                 calibration == "old.json")
                with open(at("state.json"), encoding="utf-8") as file:
                    read = json.load(file)["calibration"]
                self.assertEqual(read["toneSplDb"], 94.0)
                self.assertAlmostEqual(read["toneDbfs"], -20.0, delta=0.01)
        self.write("broken.json", "{}")
        self.refused(1, ["broken.json", "kind"], "measure", "--recording", "sweep.wav", "--signal",
                     "sweep.signal.json", "--calibration", "broken.json", "--out", "x.json")
        self.refused(1, ["1 kHz"], "calibrate", "--recording", "music.wav", "--microphone", "m",
                     "--out", "x.json")
        self.refused(2, ["2026-05-01"], "calibrate", "--recording", "music.wav", "--microphone", "m",
                     "--date", "today", "--out", "x.json")

    def test_results_of_other_instruments_are_imported(self):
        levels = {31.5: -12.5, 100.0: 1.0, 315.0: 2.5, 1000.0: 0.0, 4000.0: -2.0, 16000.0: -9.5}
        with tempfile.TemporaryDirectory() as folder:
            def at(name):
                return os.path.join(folder, name)

            def imported(*arguments):
                result = run("import", *arguments, "--out", at("state.json"), "--json")
                self.assertEqual(result.returncode, 0, result.stderr)
                return " ".join(json.loads(result.stdout)["remarks"])

            for separator, mark in (("\t", "."), (";", ","), (",", "."), ("  ", ",")):
                with open(at("curve.txt"), "w", encoding="utf-8") as file:
                    file.write("* curve of another instrument\n")
                    for frequency, level in levels.items():
                        file.write(f"{frequency}|{level}\n".replace(".", mark).replace("|", separator))
                remarks = imported("--table", at("curve.txt"), "--profile", "B", "--engine", "idle")
                self.assertIn("Phase unknown, made minimum phase", remarks)
                with open(at("state.json"), encoding="utf-8") as file:
                    state = json.load(file)
                self.assertEqual(state["state"]["radioProfile"], "B")
                for band in state["bands"]:
                    self.assertEqual(band["uncertaintyDb"], 1.0)
                    if not 31.5 < band["frequencyHz"] < 16000.0:
                        self.assertFalse(band["trusted"])
                self.assertEqual(run("compare", os.path.join(self.at, "state.json"), at("state.json")).returncode, 0)

            with open(at("bands.csv"), "w", encoding="utf-8") as file:
                file.write("Hz;dB\n" + "".join(f"{f};{70 + i % 3},5\n" for i, f in
                                               enumerate((100, 125, 160, 200, 250, 315, 400, 500))))
            self.assertIn("pink noise", imported("--third-octave", at("bands.csv")))
            impulse = os.path.join(self.at, "state.impulse.wav")
            self.assertIn("impulse response", imported("--impulse", impulse, "--channel", "1"))

        self.write("words.txt", "no numbers at all\n")
        self.refused(1, ["words.txt"], "import", "--table", "words.txt", "--out", "x.json")
        self.refused(1, ["missing.txt"], "import", "--third-octave", "missing.txt", "--out", "x.json")
        self.refused(1, ["channel(s), not 7"], "import", "--impulse", "music.wav", "--channel", "7",
                     "--out", "x.json")
        self.refused(2, ["--table"], "import", "--out", "x.json")
        self.refused(2, ["--table"], "import", "--table", "words.txt", "--impulse", "music.wav",
                     "--out", "x.json")

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

    def test_a_job_says_what_its_report_asks_and_proposes(self):
        with tempfile.TemporaryDirectory() as folder:
            job = os.path.join(folder, "job")
            self.assertEqual(run("job", "new", job, "--title", "A bike", "--question", "Why?").returncode, 0)
            self.assertEqual(run("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json", "--out",
                                 f"{folder}/dated.json", "--date", "2026-05-01", "--microphone-name", "Mic 7",
                                 cwd=self.at).returncode, 0)
            for tuning in ("preset:voice-lift", "preset:bass-down-6-db"):
                added = run("job", "add", job, "--state", f"{folder}/dated.json", "--tuning", tuning,
                            "--name", tuning)
                self.assertEqual(added.returncode, 0, added.stderr)
            self.refused(2, ["2 candidate(s)"], "job", "report", job, "--propose", "3")
            self.refused(2, ["mph, kmh or both"], "job", "report", job, "--units", "knots")
            self.refused(2, ["must rise"], "job", "report", job, "--speeds-mph", "75,45")
            self.refused(2, ["--speeds"], "job", "report", job, "--speeds-mph", "75", "--speeds-kmh", "90")
            said = run("job", "report", job, "--propose", "2", "--units", "kmh", "--speeds-kmh", "0,50,100",
                       "--amplifier-watts", "40", "--json")
            self.assertEqual(said.returncode, 0, said.stderr)
            self.assertEqual(json.loads(said.stdout)["proposed"], "preset:bass-down-6-db")
            written = run("report", "--job", job, "--out", f"{folder}/r.html", "--json")
            self.assertEqual(written.returncode, 0, written.stderr)
            self.assertEqual(sorted(json.loads(written.stdout)), ["appendix", "curves", "report"])
            with open(f"{folder}/r.html", encoding="utf-8") as file:
                page = file.read()
            for words in ("Why?", "100 km/h", "day 2026-05-01", "microphone and recorder Mic 7", "Low shelf"):
                self.assertIn(words, page)
            self.assertNotIn("mph", page)
            self.assertEqual(run("report", "--job", job, "--out", f"{folder}/r.html", "--units", "mph",
                                 "--speeds-mph", "60", "--question", "And now?").returncode, 0)
            with open(f"{folder}/r.html", encoding="utf-8") as file:
                page = file.read()
            self.assertIn("And now?", page)
            self.assertNotIn("km/h", page)
            self.assertEqual(run("job", "report", job, "--propose", "0").returncode, 0)
            with open(f"{job}/job.json", encoding="utf-8") as file:
                document = json.load(file)
            self.assertFalse(any("isProposed" in candidate for candidate in document["candidates"]))
            self.assertEqual(document["question"], "Why?")

    def test_presets_are_listed_and_stand_for_files(self):
        listed = json.loads(run("presets", "--json").stdout)["presets"]
        self.assertEqual({preset["kind"] for preset in listed},
                         {"target", "ride", "helmet", "headphone", "tuning", "speaker", "tone-controls"})
        for preset in listed:
            self.assertTrue(preset["name"] and preset["description"] and preset["status"])
            self.assertTrue(os.path.isfile(preset["file"]))
            self.assertTrue(preset["source"] or preset["status"] in ("judgement", "invented"))
        text = run("presets", "--kind", "ride").stdout
        self.assertIn("published: ", text)
        self.assertNotIn("voice-lift", text)
        self.refused(2, ["tone-controls"], "presets", "--kind", "bikes")
        self.refused(1, ["no presets"], "presets", "--folder", "nowhere")
        self.refused(2, ["there is no preset 'flatt'", "flat"], "fit", "--measured", "state.json", "--target",
                     "preset:flatt", "--with", "filters", "--out", "x.json")
        with tempfile.TemporaryDirectory() as folder:
            fitted = run("fit", "--measured", "state.json", "--target", "preset:bass-shelf-6-db", "--with", "filters",
                         "--filters", "1", "--out", f"{folder}/fit.json", cwd=self.at)
            self.assertEqual(fitted.returncode, 0, fitted.stderr)
            cost = run("cost", "--tuning", "preset:bass-down-6-db", "--speaker", "preset:generic-6-5-inch-fairing",
                       "--amplifier-watts", "25", "--level-db-spl", "90")
            self.assertEqual(cost.returncode, 0, cost.stderr)
            self.assertIn("(invented)", cost.stdout)
            self.assertEqual(run("job", "new", f"{folder}/job").returncode, 0)
            for name in ("published-80-mph", "preset:highway-75-mph-low-screen"):
                ride = run("job", "ride", f"{folder}/job", "--preset", name, "--plugs", "nominal", "--json")
                self.assertEqual(ride.returncode, 0, ride.stderr)
            said = json.loads(ride.stdout)
            self.assertEqual((said["helmet"], said["screen"], said["earPlugs"]), ("full", "low", "nominal"))
            self.assertAlmostEqual(said["speedKmh"], 75 * 1.609344, delta=0.1)
            # A folder of one's own, with a slip of the pen in it.
            os.makedirs(f"{folder}/own/Targets")
            with open(f"{folder}/own/Targets/mine.json", "w", encoding="utf-8") as file:
                json.dump({"kind": "saddletone-target", "schemaVersion": 1, "name": "Mine",
                           "about": {"description": "My own.", "status": "judgement"},
                           "bassShelf": {"gainDb": 3, "frequencyHz": 100, "slope": 1}}, file)
            self.refused(1, ["mine.json", "'bassShelf.slope' is not known"], "presets", "--folder", f"{folder}/own")

    def test_events_of_a_job_are_counted_and_not_called_a_test(self):
        with tempfile.TemporaryDirectory() as folder:
            job = os.path.join(folder, "job")
            self.refused(1, ["not a job"], "job", "events", job)
            self.assertEqual(run("job", "new", job, "--title", "A bike").returncode, 0)
            self.assertIn("no event", run("job", "events", job).stdout)
            events = {"kind": "saddletone-events", "schemaVersion": 1,
                      "events": [{"startedAt": "2026-05-04T10:20:30.000+02:00", "numListeners": 7,
                                  "equalLoudness": True,
                                  "candidates": [{"name": "As delivered", "timesPreferred": 0},
                                                 {"name": "Less boom", "timesPreferred": 4}]}]}
            with open(os.path.join(job, "events.json"), "w", encoding="utf-8") as file:
                json.dump(events, file)
            said = run("job", "events", job).stdout
            for words in ("2026-05-04", "7 listeners", "2 Less boom: 4 times", "3 of 7 gave no answer",
                          "not a blind test"):
                self.assertIn(words, said)
            told = json.loads(run("job", "events", job, "--json").stdout)["events"][0]
            self.assertEqual(told["numListeners"], 7)
            self.assertEqual(told["candidates"], events["events"][0]["candidates"])
            measured = os.path.join(folder, "state.json")
            self.assertEqual(run("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json", "--out",
                                 measured, cwd=self.at).returncode, 0)
            self.assertEqual(run("job", "add", job, "--state", measured).returncode, 0)
            report = os.path.join(folder, "report.html")
            self.assertEqual(run("report", "--job", job, "--out", report).returncode, 0)
            with open(os.path.join(folder, "report.appendix.html"), encoding="utf-8") as file:
                self.assertIn("2 Less boom: 4 times", file.read())
            events["events"][0]["numListeners"] = 3
            with open(os.path.join(job, "events.json"), "w", encoding="utf-8") as file:
                json.dump(events, file)
            self.refused(1, ["events.json", "numListeners"], "job", "events", job)
            self.refused(1, ["events.json", "numListeners"], "job", "check", job)

    def test_a_customer_takes_home_each_candidate_and_a_card(self):
        with tempfile.TemporaryDirectory() as folder:
            job = os.path.join(folder, "job")
            home = os.path.join(folder, "home")
            self.assertEqual(run("job", "new", job, "--title", "Taken home", "--bike", "A bike").returncode, 0)
            state = os.path.join(self.at, "state.json")
            self.assertEqual(run("job", "add", job, "--state", state, "--name", "now").returncode, 0)
            self.assertEqual(run("job", "add", job, "--state", state, "--tuning",
                                 os.path.join(self.at, "tuning.json"), "--name", "quieter").returncode, 0)
            self.refused(2, ["--programme"], "take-home", "--job", job, "--out", home)
            music = ("--programme", os.path.join(self.at, "music.wav"))
            self.refused(2, ["loudness", "road"], "take-home", "--job", job, "--out", home, *music, "--match", "x")
            self.refused(2, ["flac", "wav"], "take-home", "--job", job, "--out", home, *music, "--format", "mp3")
            self.refused(2, ["--from"], "take-home", "--job", job, "--out", home, *music, "--from", "100")
            self.assertFalse(os.path.exists(home))
            for match, difference in (("loudness", 0.0), ("road", -3.0)):
                result = run("take-home", "--job", job, "--out", home, *music, "--speed-mph", "45",
                             "--programme-only", "--match", match, "--format", "wav", "--json")
                self.assertEqual(result.returncode, 0, result.stderr)
                files = json.loads(result.stdout)["files"]
                self.assertEqual([f["candidate"] for f in files], ["now", "quieter"])
                self.assertEqual([f["asItIsNow"] for f in files], [True, False])
                self.assertAlmostEqual(files[1]["differenceDb"], -3.0, delta=0.05)
                self.assertAlmostEqual(files[1]["loudnessLufs"] - files[0]["loudnessLufs"], difference, delta=0.1)
            self.assertEqual(sorted(os.listdir(home)), ["1-now.wav", "2-quieter.wav", "card.txt"])
            with open(os.path.join(home, "card.txt"), encoding="utf-8") as file:
                card = file.read()
            for words in ("Taken home", "A bike", "1-now.wav", "45 mph", "headphones", "Never while riding"):
                self.assertIn(words, card)

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


class CostAndVerifyTests(FolderTests):
    """What a tuning costs, and whether the work did what was predicted."""

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        made = run("signal", "sweep", "--seconds", "3", "--bits", "16", "--level", "-18", "--out", "sweep.wav",
                   cwd=cls.at)
        assert made.returncode == 0, made.stderr
        cls.filter_track("sweep.wav", "tuned.wav", 1000.0, 6.0, 1.0)
        for name in ("sweep", "tuned"):
            made = run("measure", "--recording", name + ".wav", "--signal", "sweep.signal.json",
                       "--out", name + ".json", cwd=cls.at)
            assert made.returncode == 0, made.stderr
        cls.write_json("tuning.json", {
            "kind": "saddletone-tuning", "schemaVersion": 1, "name": "t",
            "chains": [{"elements": [{"type": "peaking", "frequencyHz": 1000, "gainDb": 6, "q": 1}]}]})
        cls.write_json("shelf.json", {
            "kind": "saddletone-tuning", "schemaVersion": 1, "name": "shelf",
            "chains": [{"elements": [{"type": "low-shelf", "frequencyHz": 150, "gainDb": 6}]}]})
        cls.write_json("front.json", {
            "kind": "saddletone-tuning", "schemaVersion": 1, "name": "front",
            "chains": [{"group": "front", "elements": [{"type": "gain", "gainDb": 6}]}]})
        cls.speaker = {"kind": "saddletone-speaker", "schemaVersion": 1, "name": "six and a half",
                       "status": "data sheet", "fsHz": 75, "qts": 0.6, "qms": 4, "vasLitres": 10,
                       "sdSquareCentimetres": 133, "xmaxMm": 3, "reOhm": 3.5, "nominalImpedanceOhm": 4,
                       "powerLimitWatts": 50, "numSpeakers": 2,
                       "enclosure": {"kind": "sealed", "volumeLitres": 5}}
        cls.write_json("speaker.json", cls.speaker)

    @classmethod
    def write_json(cls, name, content):
        with open(os.path.join(cls.at, name), "w", encoding="utf-8") as file:
            json.dump(content, file)

    @classmethod
    def filter_track(cls, source, target, frequency, gain_db, q):
        """A peaking filter of the cookbook of R. Bristow-Johnson on a 16-bit track."""
        with wave.open(os.path.join(cls.at, source)) as file:
            parameters = file.getparams()
            samples = struct.unpack(f"<{file.getnframes()}h", file.readframes(file.getnframes()))
        omega = 2 * math.pi * frequency / parameters.framerate
        amplitude = 10 ** (gain_db / 40)
        alpha = math.sin(omega) / (2 * q)
        a0 = 1 + alpha / amplitude
        b0, b1, b2 = (1 + alpha * amplitude) / a0, -2 * math.cos(omega) / a0, (1 - alpha * amplitude) / a0
        a1, a2 = b1, (1 - alpha / amplitude) / a0
        z1 = z2 = 0.0
        filtered = []
        for x in samples:
            y = b0 * x + z1
            z1, z2 = b1 * x - a1 * y + z2, b2 * x - a2 * y
            filtered.append(round(y))
        with wave.open(os.path.join(cls.at, target), "w") as file:
            file.setparams(parameters)
            file.writeframes(struct.pack(f"<{len(filtered)}h", *filtered))

    def cost(self, *arguments):
        result = run("cost", "--tuning", "shelf.json", "--speaker", "speaker.json", "--amplifier-watts", "25",
                     "--level-db-spl", "95", "--json", *arguments, cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        return json.loads(result.stdout)

    def test_help(self):
        for verb in ("cost", "verify"):
            self.assertIn("Usage", run(verb, "--help").stdout)

    def test_cost_says_what_is_data_and_what_an_estimate(self):
        result = run("cost", "--tuning", "shelf.json", "--speaker", "speaker.json", "--amplifier-watts", "25",
                     "--level-db-spl", "95", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        for words in ("95.0 dB SPL before", "from its data sheet", "Estimate:", "radio is taken to be flat"):
            self.assertIn(words, result.stdout)
        cost = self.cost("--table", "cost.csv")
        self.assertAlmostEqual(cost["before"]["splDb"], 95.0, places=6)
        self.assertAlmostEqual(cost["largestBoostDb"], 6.0, delta=0.05)
        self.assertEqual(len(cost["bands"]), 31)
        with open(os.path.join(self.at, "cost.csv"), encoding="utf-8") as file:
            self.assertEqual(len(file.read().splitlines()), 32)
        # A measured bike that is louder in the bass than its speaker could be: the radio boosts.
        self.assertGreater(self.cost("--measured", "sweep.json")["measuredExcessDb"], 3.0)
        # Peaks 3 dB lower leave 3 dB more.
        self.assertAlmostEqual(self.cost("--crest-db", "9")["after"]["clipMarginDb"],
                               cost["after"]["clipMarginDb"] + 3.0, places=6)

    def test_cost_is_refused_with_a_reason(self):
        cost = ("cost", "--tuning", "shelf.json", "--amplifier-watts", "25")
        self.refused(2, ["--level-db-spl"], *cost, "--speaker", "speaker.json")
        self.refused(2, ["planned level", "130"], *cost, "--speaker", "speaker.json", "--level-db-spl", "300")
        self.refused(1, ["none.json"], *cost, "--speaker", "none.json", "--level-db-spl", "90")
        self.write_json("wrong.json", {**self.speaker, "xmaxMm": -1})
        self.refused(1, ["wrong.json", "xmaxMm"], *cost, "--speaker", "wrong.json", "--level-db-spl", "90")
        self.refused(1, ["tuning.json", "kind"], *cost, "--speaker", "tuning.json", "--level-db-spl", "90")
        self.refused(2, ["overwritten"], *cost, "--speaker", "speaker.json", "--level-db-spl", "90",
                     "--table", "speaker.json")
        self.refused(1, ["front.json", "front"], "cost", "--tuning", "front.json", "--amplifier-watts", "25",
                     "--speaker", "speaker.json", "--level-db-spl", "90")

    def test_work_done_as_predicted_is_confirmed(self):
        result = run("verify", "--before", "sweep.json", "--tuning", "tuning.json", "--after", "tuned.json",
                     "--count-level", "--table", "verify.csv", "--json", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        verified = json.loads(result.stdout)
        self.assertEqual(verified["verdict"], "confirmed")
        self.assertLess(abs(verified["largestDb"]), 0.3)
        with open(os.path.join(self.at, "verify.csv"), encoding="utf-8") as file:
            self.assertEqual(len(file.read().splitlines()), 1 + verified["numBands"])
        result = run("verify", "--before", "sweep.json", "--tuning", "tuning.json", "--after", "tuned.json",
                     cwd=self.at)
        self.assertIn("Confirmed", result.stdout)

    def test_a_predicted_state_is_a_state_and_is_what_verify_expects(self):
        result = run("predict", "--measured", "sweep.json", "--tuning", "shelf.json", "--table", "p.csv",
                     "--out", "predicted.json", "--json", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertEqual(json.loads(result.stdout)["state"], "predicted.json")
        with open(os.path.join(self.at, "predicted.json"), encoding="utf-8") as file:
            self.assertTrue(any("redicted" in remark for remark in json.load(file)["remarks"]))
        result = run("verify", "--before", "sweep.json", "--tuning", "shelf.json", "--after",
                     "predicted.json", "--count-level", "--json", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        # The impulse is kept in single precision.
        self.assertLess(abs(json.loads(result.stdout)["largestDb"]), 0.01)

    def test_other_speakers_than_before_cannot_verify(self):
        result = run("measure", "--recording", "tuned.wav", "--signal", "sweep.signal.json", "--out",
                     "left.json", "--speakers", "left", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        self.refused(1, ["left.json", "same speakers"], "verify", "--before", "sweep.json", "--tuning",
                     "tuning.json", "--after", "left.json")

    def test_work_not_done_fails_with_the_place(self):
        verify = ("verify", "--before", "sweep.json", "--after", "sweep.json", "--tuning")
        self.refused(1, ["sweep.json", "Not as predicted", "1000 Hz", "stored"], *verify, "tuning.json")
        self.refused(1, ["Cannot be judged"], *verify, "tuning.json", "--from", "900", "--to", "1100")
        self.refused(1, ["front.json", "front"], *verify, "front.json")
        self.refused(2, ["--from"], *verify, "tuning.json", "--from", "900", "--to", "100")
        self.refused(1, ["none.json"], *verify, "none.json")


class ToneControlsAndVerdictTests(FolderTests):
    """What a radio's tone controls do, and what a bike takes."""

    @staticmethod
    def shelf(frequency_hz, corner_hz, gain_db, high=False, q=0.7071):
        """A shelf's level in dB, from the prototypes of R. Bristow-Johnson's cookbook."""
        s = 1j * (corner_hz / frequency_hz if high else frequency_hz / corner_hz)
        a = 10 ** (gain_db / 40)
        ratio = a * (s * s + a ** 0.5 / q * s + a) / (a * s * s + a ** 0.5 / q * s + 1)
        return 20 * math.log10(abs(ratio))

    @classmethod
    def make_state(cls, name, profile, engine, level_db):
        rows = [f"{15 * 1.03 ** row:.4f} {level_db(15 * 1.03 ** row):.5f}" for row in range(247)]
        with open(os.path.join(cls.at, name + ".txt"), "w", encoding="utf-8") as file:
            file.write("\n".join(rows) + "\n")
        made = run("import", "--table", name + ".txt", "--profile", profile, "--engine", engine,
                   "--out", name + ".json", cwd=cls.at)
        assert made.returncode == 0, made.stderr

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        # The trade's usual case (common practice, no source; the numbers are invented): a huge boost below
        # 125 Hz parked, another curve once the engine runs, and an alternative that is even both ways.
        cls.make_state("parked", "Stock", "off", lambda f: cls.shelf(f, 125, 12))
        cls.make_state("running", "Stock", "idle",
                       lambda f: cls.shelf(f, 125, 2) + cls.shelf(f, 2000, 4, high=True))
        for name, engine in (("touring", "off"), ("touring-running", "idle")):
            cls.make_state(name, "Touring", engine, lambda f: cls.shelf(f, 90, -2))
        cls.make_state("flat", "Stock", "off", lambda f: 0)
        cls.make_state("bass", "Stock", "off", lambda f: cls.shelf(f, 100, 9))
        cls.make_state("treble", "Stock", "off", lambda f: cls.shelf(f, 5000, -6, high=True))
        cls.trade = [word for name in ("parked", "running", "touring", "touring-running")
                     for word in ("--state", name + ".json")]

    def done(self, *arguments):
        result = run(*arguments, cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        return result.stdout

    def verdict(self, *arguments):
        return json.loads(self.done("verdict", *arguments, "--json"))

    def make_model(self, name):
        self.done("tone-controls", "--reference", "flat.json", "--moved", "bass.json", "--control", "bass",
                  "--from-step", "0", "--to-step", "6", "--out", name)
        return json.loads(self.done("tone-controls", "--reference", "flat.json", "--moved", "treble.json",
                                    "--control", "treble", "--to-step", "-4", "--steps-down", "-5",
                                    "--steps-up", "5", "--out", name, "--json"))

    def test_tone_controls_are_identified_and_gathered_in_one_model(self):
        said = self.make_model("model.json")
        self.assertEqual(said["control"]["type"], "high-shelf")
        self.assertLess(said["rmsDb"], 0.2)
        with open(os.path.join(self.at, "model.json"), encoding="utf-8") as file:
            model = json.load(file)
        self.assertEqual(model["kind"], "saddletone-tone-controls")
        self.assertEqual(model["status"], "measured")
        bass, treble = model["controls"]
        self.assertEqual((bass["name"], bass["type"]), ("bass", "low-shelf"))
        self.assertAlmostEqual(bass["frequencyHz"], 100, delta=5)
        self.assertAlmostEqual(bass["stepDb"], 1.5, delta=0.2 / 6)
        self.assertAlmostEqual(bass["highestDb"], 6 * bass["stepDb"])
        self.assertAlmostEqual(treble["frequencyHz"], 5000, delta=250)
        self.assertAlmostEqual(treble["lowestDb"], -5 * treble["stepDb"])
        # The same control once more takes the place of the first.
        text = self.done("tone-controls", "--reference", "flat.json", "--moved", "bass.json", "--control", "bass",
                         "--to-step", "3", "--steps-down", "-3", "--steps-up", "3", "--out", "model.json")
        self.assertIn("low shelf", text)
        with open(os.path.join(self.at, "model.json"), encoding="utf-8") as file:
            bass, treble = json.load(file)["controls"]
        self.assertAlmostEqual(bass["stepDb"], 3.0, delta=0.1)
        os.remove(os.path.join(self.at, "model.json"))

    def test_tone_controls_that_cannot_be_told_are_refused(self):
        common = ("tone-controls", "--reference", "flat.json", "--control", "bass", "--out", "x.json")
        self.refused(1, ["bass", "both stand at step 0"], *common, "--moved", "bass.json", "--to-step", "0")
        self.refused(1, ["radio profile", "Touring"], *common, "--moved", "touring.json", "--to-step", "4")
        self.refused(1, ["no more than they can tell"], *common, "--moved", "flat.json", "--to-step", "4")
        self.refused(1, ["wrong way round"], *common, "--moved", "bass.json", "--to-step", "-4")
        self.refused(1, ["none.json"], *common, "--moved", "none.json", "--to-step", "4")
        self.refused(2, ["--to-step"], *common, "--moved", "bass.json")
        self.refused(2, ["--to-step"], *common, "--moved", "bass.json", "--to-step", "4", "5")
        self.refused(2, ["flat.json"], "tone-controls", "--reference", "flat.json", "--moved", "bass.json",
                     "--control", "bass", "--to-step", "6", "--out", "flat.json")

    def test_the_trades_usual_case_takes_another_profile(self):
        said = self.verdict(*self.trade, "--current", "Stock")
        self.assertEqual(said["verdict"], "other-profile")
        self.assertEqual(said["profile"], "Touring")
        self.assertEqual([means["means"] for means in said["means"]],
                         ["nothing", "tone-controls", "other-profile", "other-profile-and-tone-controls", "dsp"])
        self.assertFalse(said["dspSetParked"]["holds"])
        self.assertGreater(said["dspSetParked"]["running"]["largestDb"], 3)
        text = self.done("verdict", *self.trade, "--current", "Stock")
        self.assertTrue(text.startswith("The Touring profile stays"), text)
        self.assertIn("from 80 Hz to 12 kHz, parked and running", text)
        self.assertIn("it fails on the road", text)
        self.assertIn("%.1f dB off" % said["dspSetParked"]["running"]["largestDb"], text)

    def test_the_states_of_a_job_are_judged(self):
        with tempfile.TemporaryDirectory() as folder:
            names = ("parked", "running", "touring", "touring-running")
            for name in names:
                for ending in (".json", ".impulse.wav"):
                    shutil.copy(os.path.join(self.at, name + ending), folder)
            with open(os.path.join(folder, "job.json"), "w", encoding="utf-8") as file:
                json.dump({"kind": "saddletone-job", "schemaVersion": 1, "title": "t",
                           "states": [{"id": name, "file": name + ".json"} for name in names]}, file)
            said = self.verdict("--job", folder, "--current", "Stock")
            for name in ("job.json", "parked.impulse.wav"):
                self.refused(2, [name, "overwritten"], "verdict", "--job", folder, "--current", "Stock", "--out",
                             os.path.join(folder, name))
        self.assertEqual(said["sentence"], self.verdict(*self.trade, "--current", "Stock")["sentence"])

    def test_tone_controls_that_suffice_are_written_as_a_tuning(self):
        self.make_model("model.json")
        states = ("--state", "bass.json", "--count", "parked", "--tone-controls", "model.json")
        said = self.verdict(*states, "--out", "tuning.json")
        self.assertEqual(said["verdict"], "tone-controls")
        self.assertEqual(said["means"][1]["toneSteps"], {"bass": -6, "treble": 0})
        self.assertIn("With the Stock profile, bass -6 stays within", said["sentence"])
        predicted = self.done("predict", "--measured", "bass.json", "--tuning", "tuning.json", "--table", "t.csv")
        self.assertTrue(predicted)
        for name in ("model.json", "tuning.json", "t.csv"):
            os.remove(os.path.join(self.at, name))

    def test_what_was_not_measured_is_said_and_not_claimed(self):
        before = sorted(os.listdir(self.at))
        text = self.done("verdict", "--state", "flat.json", "--out", "none.json")
        self.assertIn("As far as it was measured", text)
        self.assertIn("NOT MEASURED WITH THE ENGINE RUNNING", text)
        self.assertNotIn("parked and running", text)
        self.assertIn("'none.json' was not written", text)
        self.assertEqual(sorted(os.listdir(self.at)), before)

    def test_no_verdict_is_a_failure_with_its_reason(self):
        self.refused(1, ["several profiles", "'Stock', 'Touring'"], "verdict", *self.trade)
        self.refused(1, ["'Sport'", "not measured"], "verdict", *self.trade, "--current", "Sport")
        self.refused(1, ["none.json"], "verdict", "--state", "none.json")
        self.refused(1, ["job.json"], "verdict", "--job", ".")
        self.refused(2, ["--state", "--job"], "verdict")
        self.refused(2, ["--state", "--job"], "verdict", "--state", "flat.json", "--job", ".")
        self.refused(2, ["octave"], "verdict", "--state", "flat.json", "--from", "1000", "--to", "1500")
        self.refused(2, ["--within"], "verdict", "--state", "flat.json", "--within", "0")
        self.refused(2, ["--count"], "verdict", "--state", "flat.json", "--count", "some")
        self.refused(2, ["flat.json"], "verdict", "--state", "flat.json", "--out", "flat.json")


class SidesTests(FolderTests):
    """Which speakers played, and left against right."""

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        made = run("signal", "sweep", "--seconds", "2", "--bits", "16", "--level", "-20", "--out", "one.wav",
                   cwd=cls.at)
        assert made.returncode == 0, made.stderr
        with wave.open(os.path.join(cls.at, "one.wav")) as file:
            frames = file.readframes(file.getnframes())
        samples = struct.unpack(f"<{len(frames) // 2}h", frames)
        # The right side starts a second after the left has ended, is half as loud (-6.02 dB), the other way
        # round, and arrives 1.5 ms (72 frames) later.
        turned = struct.pack(f"<{len(samples)}h", *[-sample // 2 for sample in samples])
        cls.apart = (len(samples) + 48000) / 48000
        with wave.open(os.path.join(cls.at, "both.wav"), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(48000)
            file.writeframes(frames + bytes(2 * (48000 + 72)) + turned + bytes(2 * 48000))
        middle = str(len(samples) / 48000 + 0.5)
        for name, words in (("l", ["--speakers", "left", "--part-to", middle, "--track-start", "0"]),
                            ("r", ["--speakers", "right", "--part-from", middle, "--track-start",
                                   str(cls.apart)]),
                            ("none", ["--part-to", middle]),
                            ("idle", ["--speakers", "left", "--engine", "idle", "--part-to", middle])):
            made = run("measure", "--recording", "both.wav", "--signal", "one.signal.json", "--profile", "Touring",
                       "--out", name + ".json", *words, cwd=cls.at)
            assert made.returncode == 0, made.stderr

    def state(self, name):
        with open(os.path.join(self.at, name), encoding="utf-8") as file:
            return json.load(file)

    def done(self, *arguments):
        result = run(*arguments, "--json", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        return json.loads(result.stdout)

    def test_states_keep_which_speakers_played(self):
        self.assertEqual(self.state("l.json")["state"]["speakers"], "left")
        self.assertEqual(self.state("none.json")["state"]["speakers"], "all")
        with open(os.path.join(self.at, "table.txt"), "w", encoding="utf-8") as file:
            file.write("20 0\n1000 0\n20000 0\n")
        self.done("import", "--table", "table.txt", "--speakers", "rear-left", "--out", "table.json")
        self.assertEqual(self.state("table.json")["state"]["speakers"], "rear-left")
        for verb in (["import", "--table", "table.txt"],
                     ["measure", "--recording", "both.wav", "--signal", "one.signal.json"]):
            self.refused(2, ["--speakers", "'middle'", "front-left"], *verb, "--speakers", "middle", "--out",
                         "x.json")

    def test_a_job_takes_a_state_as_the_speakers_it_is_given_as(self):
        self.done("job", "new", "job")
        self.refused(2, ["--speakers", "'middle'", "front-left"], "job", "add", "job", "--state", "none.json",
                     "--speakers", "middle")
        first = self.done("job", "add", "job", "--state", "none.json", "--speakers", "front-right")["stateId"]
        second = self.done("job", "add", "job", "--state", "l.json")["stateId"]
        files = {state["id"]: state["file"] for state in self.done("job", "list", "job")["states"]}
        for name, speakers in ((first, "front-right"), (second, "left")):
            self.assertEqual(self.state(os.path.join("job", files[name]))["state"]["speakers"], speakers)
        shutil.rmtree(os.path.join(self.at, "job"))

    def test_two_sides_are_matched_whichever_comes_first(self):
        for states in (("l.json", "r.json"), ("r.json", "l.json")):
            said = self.done("compare", *states)
            self.assertEqual((said["left"]["state"], said["right"]["state"]), ("l.json", "r.json"))
            match = said["match"]
            self.assertAlmostEqual(match["levelDifferenceDb"], -6.02, delta=0.05)
            self.assertEqual(match["polarity"], "reversed")
            # Known from the states: one recording, and where each track starts in the file.
            self.assertAlmostEqual(match["arrivalDifferenceMs"], 1.5, delta=0.005)
        self.assertNotIn("arrivalDifferenceMs",
                         self.done("compare", "--left", "none.json", "--right", "r.json")["match"])

    def test_sides_of_one_recording_are_heard_together(self):
        with wave.open(os.path.join(self.at, "music.wav"), "wb") as file:
            file.setnchannels(2)
            file.setsampwidth(2)
            file.setframerate(48000)
            file.writeframes(bytes([0, 8, 0, 8, 0, 0, 0, 0]) * 12000)
        listen = ("listen", "--programme", "music.wav", "--out", "heard.wav", "--measured")
        heard = self.done(*listen, "l.json", "--group", "r.json")["groups"]
        self.assertEqual((heard["sum"], heard["isEstimate"]), ("timed", False))
        self.assertEqual([state["speakers"] for state in heard["states"]], ["left", "right"])
        self.assertAlmostEqual(heard["states"][0]["laterMs"], 0)
        # The loudest sample of either is the arrival, half a frame off at most.
        self.assertAlmostEqual(heard["states"][1]["laterMs"], 1.5, delta=0.011)
        self.assertNotIn("groups", self.done(*listen, "l.json"))

        # Without a known time, and as an estimate where that is asked for.
        with open(os.path.join(self.at, "apart.json"), "w", encoding="utf-8") as file:
            json.dump(dict(self.state("r.json"), recordingChecksum="another"), file)
        self.refused(1, ["nobody knows when", "'r'", "--track-start"], *listen, "l.json", "--group", "apart.json")
        words = run(*listen, "l.json", "--group", "apart.json", "--group-power", cwd=self.at)
        self.assertEqual(words.returncode, 0, words.stderr)
        self.assertIn("estimate", words.stdout)
        self.assertIn("left and right", words.stdout)
        self.refused(1, ["heard twice"], *listen, "l.json", "--group", "none.json")
        self.refused(1, ["heard twice"], *listen, "l.json", "--group", "l.json")
        self.refused(2, ["--group"], *listen, "l.json", "--group-power")
        self.refused(2, ["r.json"], "listen", "--programme", "music.wav", "--measured", "l.json", "--group", "r.json",
                     "--out", "r.json")

        with open(os.path.join(self.at, "delay.json"), "w", encoding="utf-8") as file:
            json.dump({"kind": "saddletone-tuning", "schemaVersion": 2, "name": "right earlier", "chains": [
                {"group": "left", "elements": [{"type": "delay", "delayMs": 1.5}]},
                {"group": "right", "elements": [{"type": "polarity"}]}]}, file)
        predict = ("predict", "--tuning", "delay.json", "--table", "table.csv", "--measured")
        self.done(*predict, "l.json", "--group", "r.json", "--out", "both.json")
        self.assertEqual(self.state("both.json")["state"]["speakers"], "all")
        # Turned back and brought to one time they are one and a half times as loud as the left.
        with open(os.path.join(self.at, "table.csv"), encoding="utf-8") as file:
            rows = [[float(field) for field in line.split(",")] for line in file if line[0].isdigit()]
        for row in rows:
            if 100 < row[0] < 5000:
                self.assertAlmostEqual(row[1], 3.52, delta=0.15)
        self.refused(2, ["--side"], *predict, "l.json", "--group", "r.json", "--side", "left")

        self.done("job", "new", "grouped")
        added = self.done("job", "add", "grouped", "--state", "l.json", "--group", "r.json", "--tuning", "delay.json")
        self.assertEqual(added["candidate"], "left and right")
        self.assertEqual(len(added["stateIds"]), 2)
        listed = self.done("job", "list", "grouped")["candidates"][0]
        self.assertEqual([listed["stateId"], *listed["groupStateIds"]], added["stateIds"])
        self.assertEqual(self.done("job", "check", "grouped")["problems"], [])
        report = self.done("report", "--job", "grouped", "--out", "grouped.html")["report"]
        with open(os.path.join(self.at, report), encoding="utf-8") as file:
            self.assertIn("Put together from left and right", file.read())
        shutil.rmtree(os.path.join(self.at, "grouped"))

    def test_sides_that_contradict_their_states_are_refused(self):
        self.refused(1, ["'r.json'", "--left", "--right"], "compare", "--left", "r.json", "--right", "l.json")
        self.refused(2, ["--tracks-apart"], "compare", "l.json", "idle.json", "--tracks-apart", "1")

    def test_other_speakers_are_warned_of_and_make_no_verdict(self):
        entry = self.done("compare", "none.json", "idle.json")["comparisons"][0]
        self.assertIn("left against all", " ".join(entry["notes"]))
        self.assertFalse(entry["changesWithEngine"])
        entry = self.done("compare", "l.json", "--reference", "r.json")["comparisons"][0]
        self.assertIn("left against right", " ".join(entry["notes"]))
        self.assertEqual(self.done("compare", "l.json", "idle.json")["comparisons"][0]["notes"], [])

    def test_a_state_with_unknown_speakers_is_refused(self):
        state = self.state("l.json")
        state["state"]["speakers"] = "middle"
        with open(os.path.join(self.at, "wrong.json"), "w", encoding="utf-8") as file:
            json.dump(state, file)
        self.refused(1, ["wrong.json", "state.speakers", "rear-left or rear-right"], "compare", "wrong.json",
                     "r.json")


class HearingVerbs(FolderTests):
    """audibility and exposure."""

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        made = run("signal", "sweep", "--seconds", "3", "--out", "sweep.wav", cwd=cls.at)
        assert made.returncode == 0, made.stderr
        made = run("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json",
                   "--out", "state.json", cwd=cls.at)
        assert made.returncode == 0, made.stderr
        made = run("signal", "silence", "--seconds", "1", "--out", "silence.wav", cwd=cls.at)
        assert made.returncode == 0, made.stderr

    def audibility(self, *arguments):
        result = run("audibility", "--measured", "state.json", "--json", *arguments, cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        return json.loads(result.stdout)

    def test_help_and_usage(self):
        for verb in ("audibility", "exposure"):
            self.assertEqual(run(verb, "--help").returncode, 0)
        for arguments in (("--speed-kmh", "50", "--speed-mph", "30"), (),
                          ("--speed-kmh", "50", "--helmet", "half"), ("--speed-kmh", "400"),
                          ("--speed-kmh", "50", "--speech", "--programme", "silence.wav"),
                          ("--speed-kmh", "50", "--ear-plugs", "-3")):
            result = run("audibility", "--measured", "state.json", *arguments, cwd=self.at)
            self.assertEqual(result.returncode, 2, arguments)
        self.assertEqual(run("exposure", "--noise-dba", "100").returncode, 2)
        self.assertEqual(run("exposure", "--noise-dba", "100", "--hours", "25").returncode, 2)

    def test_bad_input_is_1(self):
        for arguments, word in ((("--measured", "missing.json"), "missing.json"),
                                (("--measured", "state.json", "--programme", "silence.wav"),
                                 "silent"),
                                (("--measured", "state.json", "--tuning", "sweep.wav"),
                                 "sweep.wav")):
            result = run("audibility", "--speed-kmh", "50", *arguments, cwd=self.at)
            self.assertEqual(result.returncode, 1)
            self.assertIn(word, result.stderr)
            self.assertEqual(result.stdout, "")

    def test_less_remains_at_speed_and_the_gain_brings_it_back(self):
        slow = self.audibility("--speed-kmh", "40")
        fast = self.audibility("--speed-mph", "65", "--table", "table.csv")
        self.assertLess(fast["shareOfErbScale"], slow["shareOfErbScale"])
        self.assertLess(fast["shareOfLoudness"], slow["shareOfLoudness"])
        self.assertLess(fast["speechIntelligibilityIndex"], slow["speechIntelligibilityIndex"])
        self.assertEqual(fast["programmeLevelSource"], "assumed")
        with open(os.path.join(self.at, "table.csv"), encoding="utf-8") as file:
            lines = file.read().splitlines()
        self.assertEqual(lines[0], "frequency_hz,programme_spl_db,noise_spl_db,threshold_spl_db,"
                                   "above_db,gain_needed_db")
        self.assertEqual(len(lines), 32)

        gain = fast["overallGainDb"]
        self.assertGreater(gain, 0.0)
        self.assertAlmostEqual(fast["powerRatioOverall"], 10 ** (gain / 10), 6)
        louder = self.audibility("--speed-mph", "65", "--volume", str(gain + 0.01))
        # More of the programme is heard in quiet then, and counts, too.
        self.assertGreater(louder["shareOfErbScale"], 0.75)
        self.assertLess(louder["overallGainDb"], 2.0)

    def test_levels_watts_and_scale(self):
        result = self.audibility("--speed-kmh", "60", "--programme-spl", "80", "--helmet", "none",
                                 "--sensitivity", "90", "--distance", "1", "--speakers", "1",
                                 "--headphone-dba", "70")
        self.assertAlmostEqual(result["programmeSplDba"], 80.0, places=6)
        self.assertEqual(result["programmeLevelSource"], "set")
        # Pink noise has 2 to 3 dB more unweighted than A-weighted.
        self.assertGreater(result["wattsEachNow"], 10 ** ((81 - 90) / 10))
        self.assertLess(result["wattsEachNow"], 10 ** ((84 - 90) / 10))
        self.assertAlmostEqual(result["headphoneScaleDownDb"], result["roadSplDba"] - 70.0, 6)
        text = run("audibility", "--measured", "state.json", "--speed-kmh", "60", cwd=self.at)
        for words in ("still heard", "drowns", "not medical or legal advice"):
            self.assertIn(words, text.stdout)

    def test_exposure_says_dose_remedies_and_what_it_is_not(self):
        text = run("exposure", "--noise-dba", "100", "--music-dba", "100", "--hours", "1").stdout
        for words in ("400 %", "ear plugs", "not medical or legal advice", "Local law"):
            self.assertIn(words, text)
        result = json.loads(run("exposure", "--noise-dba", "85", "--hours", "8", "--json").stdout)
        self.assertAlmostEqual(result["niosh"]["dosePercent"], 100.0)
        self.assertAlmostEqual(result["oshaHearingConservation"]["dosePercent"], 50.0)
        self.assertIsNone(result["oshaPel"]["hoursToFull"])


class RideVerb(FolderTests):
    def test_it_states_levels_and_the_status_of_every_figure(self):
        ride = json.loads(run("ride", "--speed-mph", "40", "--helmet", "none", "--json").stdout)
        self.assertAlmostEqual(ride["engineSplDba"], 82.0, places=1)
        self.assertAlmostEqual(ride["windSplDba"], 108.0, delta=0.05)
        self.assertEqual(ride["firingAnglesDegrees"], [0, 315])
        self.assertEqual(len(ride["thirdOctaves"]["totalSplDb"]), 31)
        self.assertEqual({figure["status"] for figure in ride["figures"]}, {"sourced", "judgement"})
        for figure in ride["figures"]:
            self.assertTrue(figure["source"] and figure["value"], figure)
        parked = json.loads(run("ride", "--json").stdout)
        self.assertIsNone(parked["windSplDba"])
        self.assertEqual(parked["rpm"], 950)
        self.assertIn("[judgement: ", run("ride").stdout)

    def test_it_writes_one_file_of_two_ears(self):
        with tempfile.TemporaryDirectory() as folder:
            made = run("ride", "--speed-kmh", "100", "--seconds", "1", "--bits", "24",
                       "--out", "ride.wav", cwd=folder)
            self.assertEqual(made.returncode, 0, made.stderr)
            self.assertEqual(os.listdir(folder), ["ride.wav"])
            with wave.open(os.path.join(folder, "ride.wav")) as file:
                self.assertEqual((file.getnchannels(), file.getnframes()), (2, 48000))

    def test_what_it_does_not_know_is_refused_with_the_choice(self):
        for words, arguments in ((["open", "full"], ("--helmet", "half")),
                                 (["cautious"], ("--plugs", "wax")),
                                 (["tall"], ("--screen", "round")),
                                 (["flat-six"], ("--engine", "rotary")),
                                 (["touring-twin"], ("--bike", "moped")),
                                 (["6 gears"], ("--gear", "7")),
                                 (["720"], ("--firing", "0,900")),
                                 (["speed"], ("--speed-kmh", "301"))):
            refused = run("ride", *arguments)
            self.assertEqual(refused.returncode, 2, arguments)
            for word in words:
                self.assertIn(word, refused.stderr)


class ListenOnARide(FolderTests):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        for arguments in (("signal", "sweep", "--seconds", "3", "--out", "sweep.wav"),
                          ("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json",
                           "--out", "state.json"),
                          ("signal", "pink", "--seconds", "2", "--out", "music.wav"),
                          ("signal", "pink", "--seconds", "12", "--level", "-20", "--out", "road.wav"),
                          ("texture", "--recording", "road.wav", "--speed-kmh", "100", "--out", "noise.json")):
            made = run(*arguments, cwd=cls.at)
            assert made.returncode == 0, made.stderr

    def listen(self, *arguments):
        result = run("listen", "--measured", "state.json", "--programme", "music.wav", "--out", "x.wav",
                     "--json", *arguments, cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        return json.loads(result.stdout)

    def test_the_parts_of_the_noise_add_up_and_have_their_status(self):
        result = self.listen("--speed-mph", "70", "--screen", "low", "--engine", "flat-six")
        parts = [result[part] for part in ("windSplDba", "tyreSplDba", "engineSplDba")]
        total = 10 * math.log10(sum(10 ** (part / 10) for part in parts))
        self.assertAlmostEqual(result["noiseSplDba"], total, delta=0.01)
        self.assertEqual(result["noiseLevelSource"], "estimated")
        self.assertEqual({figure["status"] for figure in result["figures"]}, {"sourced", "judgement"})
        self.assertIsNone(self.listen("--speed-mph", "70", "--engine", "off")["engineSplDba"])

    def test_parked_is_silent_unless_the_engine_idles(self):
        self.assertIsNone(self.listen()["noiseSplDba"])
        idle = self.listen("--engine-running")
        self.assertEqual(idle["noiseSplDba"], idle["engineSplDba"])
        self.assertIsNone(idle["windSplDba"])

    def test_volume_and_plugs_move_the_levels(self):
        plain = self.listen("--speed-kmh", "100")
        louder = self.listen("--speed-kmh", "100", "--volume", "6")
        self.assertAlmostEqual(louder["programmeSplDba"] - plain["programmeSplDba"], 6)
        self.assertEqual(louder["noiseSplDba"], plain["noiseSplDba"])
        plugged = self.listen("--speed-kmh", "100", "--plugs", "nominal")
        self.assertAlmostEqual(plain["noiseSplDba"] - plugged["noiseSplDba"], 25)
        self.assertAlmostEqual(plain["programmeSplDba"] - plugged["programmeSplDba"], 25)

    def test_it_says_how_far_below_the_road_the_headphones_are(self):
        result = self.listen("--speed-kmh", "100", "--headphone-spl", "110")
        self.assertAlmostEqual(result["headphoneSplDba"], result["outputDbfsA"] + 110)
        self.assertAlmostEqual(result["headphoneScaleDownDb"], result["roadSplDba"] - result["headphoneSplDba"])
        self.assertAlmostEqual(result["headphoneScaleDownDb"], -result["scaleDb"] - 110, delta=1e-6)

    def test_the_seat_is_heard_and_said_and_moves_no_level(self):
        with open(os.path.join(self.at, "phone.csv"), "w", encoding="utf-8") as file:
            file.write("frequencyHz,levelDb\n50,-3\n200,0\n1000,0\n5000,4\n15000,1\n")
        plain = self.listen()
        self.assertFalse(plain["headphoneCorrected"])
        self.assertIsNone(plain["headSet"])
        with open(os.path.join(self.at, plain["file"]), "rb") as file:
            before = file.read()
        seated = self.listen("--headphones", "phone.csv", "--headphone-target", "phone.csv", "--binaural")
        self.assertTrue(seated["headphoneCorrected"])
        self.assertTrue(seated["headSet"])
        for key in ("programmeSplDba", "outputDbfsA"):
            self.assertEqual(seated[key], plain[key])
        with open(os.path.join(self.at, seated["file"]), "rb") as file:
            self.assertNotEqual(file.read(), before)
        listen = ("listen", "--measured", "state.json", "--programme", "music.wav", "--out", "y.wav")
        self.refused(1, ["gone.csv"], *listen, "--headphones", "gone.csv")
        self.refused(1, ["SOFA"], *listen, "--binaural", "--head-set", "phone.csv")
        self.refused(2, ["--binaural"], *listen, "--head-set", "phone.csv")
        self.refused(2, ["--headphones"], *listen, "--headphone-target", "phone.csv")

    def test_recorded_noise_takes_the_place_of_the_model(self):
        result = self.listen("--speed-kmh", "100", "--recorded-noise", "noise.json")
        modelled = self.listen("--speed-kmh", "100")
        # Not calibrated: as loud as the model.
        self.assertAlmostEqual(result["noiseSplDba"], modelled["noiseSplDba"], delta=0.05)
        self.assertIsNone(result["windSplDba"])
        self.assertIn("recorded", {figure["status"] for figure in result["figures"]})
        self.refused(1, ["nowhere.json"], "listen", "--measured", "state.json", "--programme", "music.wav",
                     "--out", "y.wav", "--recorded-noise", "nowhere.json")

    def test_a_job_keeps_its_ride(self):
        job = os.path.join(self.at, "job")
        for arguments in (("new", job), ("add", job, "--state", "state.json"),
                          ("ride", job, "--speed-kmh", "100", "--screen", "low", "--engine", "flat-six",
                           "--recorded-noise", "noise.json")):
            made = run("job", *arguments, cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)
        made = run("job", "ride", job, "--helmet", "open", "--json", cwd=self.at)
        ride = json.loads(made.stdout)
        self.assertEqual((ride["speedKmh"], ride["screen"], ride["engine"], ride["helmet"]),
                         (100, "low", "flat-six", "open"))
        self.assertEqual(run("job", "check", job, cwd=self.at).returncode, 0)
        self.refused(2, ["helmet"], "job", "ride", job, "--helmet", "hat")
        self.refused(1, ["nowhere.json"], "job", "ride", job, "--recorded-noise", "nowhere.json")

    def test_a_job_keeps_its_seat(self):
        job = os.path.join(self.at, "seatedjob")
        for arguments in (("new", job), ("add", job, "--state", "state.json")):
            made = run("job", *arguments, cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)

        def seat(*arguments):
            made = run("job", "seat", job, *arguments, "--json", cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)
            return json.loads(made.stdout)

        with open(os.path.join(self.at, "phone.csv"), "w", encoding="utf-8") as file:
            file.write("frequencyHz,levelDb\n50,-3\n200,0\n1000,0\n5000,4\n15000,1\n")
        made = run("headphone-level", "--headphone", "counter", "--source", "data sheet", "--measured-spl", "90",
                   "--signal-level", "-20", "--out", "level.json", cwd=self.at)
        self.assertEqual(made.returncode, 0, made.stderr)
        self.assertFalse(seat()["isChanged"])
        with open(os.path.join(job, "job.json"), encoding="utf-8") as file:
            self.assertNotIn("seat", json.load(file))
        changed = seat("--headphones", "phone.csv", "--level", "level.json", "--binaural", "on",
                       "--front-azimuth", "30", "--rear-distance", "0.6")
        self.assertTrue(changed["isChanged"])
        self.assertEqual(changed["headphoneResponseFile"], "seat/phone.csv")
        self.assertEqual(changed["headphoneSplDb"], 110)
        self.assertTrue(changed["headSet"])
        self.assertEqual(changed["speakerPlaces"]["front"]["azimuthDegrees"], 30)
        self.assertIsNone(changed["speakerPlaces"]["front"]["distanceMetres"])
        self.assertEqual(changed["speakerPlaces"]["rear"]["distanceMetres"], 0.6)
        os.remove(os.path.join(self.at, "phone.csv"))
        shown = seat()
        self.assertEqual({**changed, "isChanged": False}, shown)
        said = run("job", "seat", job, cwd=self.at).stdout
        for sentence in shown["sentences"]:
            self.assertIn(sentence, said)
        self.assertEqual(run("job", "check", job, cwd=self.at).returncode, 0)
        self.assertEqual(seat("--spl", "105")["headphoneSplDb"], 105)
        self.assertIsNone(seat("--clear", "level")["headphoneSplDb"])
        for where in ("take", "same"):
            made = run("take-home", "--job", job, "--programme", "music.wav", "--to", "1", "--out", where,
                       *(("--with-correction",) if where == "take" else ()), cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)
            with open(os.path.join(self.at, where, "card.txt"), encoding="utf-8") as file:
                card = " ".join(file.read().split())
            self.assertEqual("for these headphones alone" in card, where == "take")
            self.assertIn("from where they stand", card)
        with open(os.path.join(job, "job.json"), encoding="utf-8") as file:
            before = file.read()
        self.refused(1, ["gone.csv"], "job", "seat", job, "--headphones", "gone.csv")
        self.refused(1, ["state.json"], "job", "seat", job, "--level", "state.json")
        self.refused(2, ["--clear level", "--spl"], "job", "seat", job, "--clear", "level", "--spl", "100")
        self.refused(2, ["--rear-elevation"], "job", "seat", job, "--rear-elevation", "-91")
        self.refused(2, ["--spl"], "job", "seat", job, "--spl", "100", "--level", "level.json")
        self.refused(2, ["--binaural"], "job", "seat", job, "--binaural", "maybe")
        self.refused(1, ["nowhere"], "job", "seat", "nowhere")
        with open(os.path.join(job, "job.json"), encoding="utf-8") as file:
            self.assertEqual(file.read(), before)
        cleared = seat("--clear", "all")
        self.assertIsNone(cleared["headphoneResponseFile"])
        self.assertFalse(cleared["isBinaural"])
        self.refused(2, ["--with-correction", "job seat"], "take-home", "--job", job, "--programme", "music.wav",
                     "--out", "none", "--with-correction")

    def test_a_candidate_is_made_for_the_bikes_own_speakers(self):
        common = ("listen", "--measured", "state.json", "--programme", "music.wav", "--out", "bike.wav",
                  "--on-this-bike")
        with open(os.path.join(self.at, "lift.json"), "w", encoding="utf-8") as file:
            json.dump({"kind": "saddletone-tuning", "schemaVersion": 1, "name": "lift",
                       "chains": [{"elements": [{"type": "gain", "gainDb": -3}]}]}, file)
        made = run(*common, "--tuning", "lift.json", "--json", cwd=self.at)
        self.assertEqual(made.returncode, 0, made.stderr)
        result = json.loads(made.stdout)
        self.assertAlmostEqual(result["onThisBike"]["highestGainDb"], -3, delta=0.05)
        self.assertFalse(result["onThisBike"]["isUnchanged"])
        self.assertEqual(result["outputGainDb"], -12)
        unchanged = json.loads(run(*common, "--now", "state.json", "--json", cwd=self.at).stdout)
        self.assertTrue(unchanged["onThisBike"]["isUnchanged"])
        self.assertAlmostEqual(unchanged["programmeSplDba"] - result["programmeSplDba"], 3, delta=0.05)
        said = run(*common, "--tuning", "lift.json", cwd=self.at).stdout
        self.assertIn("volume at its lowest", said)
        refused = ("listen", "--measured", "state.json", "--programme", "music.wav", "--out", "z.wav")
        for options in (("--speed-kmh", "100"), ("--helmet", "full"), ("--binaural",), ("--headphone-spl", "110"),
                        ("--noise-only",), ("--volume", "3"), ("--overdrive", "m.json")):
            self.refused(2, [options[0], "--on-this-bike"], *refused, "--on-this-bike", "--tuning", "lift.json",
                         *options)
        self.refused(2, ["--tuning", "--now"], *refused, "--on-this-bike")
        self.refused(2, ["--on-this-bike"], *refused, "--now", "state.json")
        self.refused(1, ["gone.json"], *refused, "--on-this-bike", "--now", "gone.json")

    def test_a_radio_may_follow_the_speed(self):
        with open(os.path.join(self.at, "radio.json"), "w", encoding="utf-8") as file:
            json.dump({"kind": "saddletone-speed-volume", "schemaVersion": 1, "name": "radio",
                       "gains": [{"speedKmh": 0, "gainDb": 0}, {"speedKmh": 100, "gainDb": 8}]}, file)
        result = self.listen("--speed-kmh", "50", "--speed-volume", "radio.json")
        self.assertAlmostEqual(result["radioGainDb"], 4)
        self.assertAlmostEqual(result["programmeSplDba"], self.listen("--speed-kmh", "50")["programmeSplDba"] + 4)

    def test_distortion_is_heard_where_its_model_supports_it(self):
        # A speaker that squares: y = x + 0.3 x^2, measured at two levels.
        for name, level in (("loud", "-6"), ("soft", "-12")):
            made = run("signal", "sweep", "--seconds", "6", "--level", level, "--out", name + ".wav", cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)
            with wave.open(os.path.join(self.at, name + ".wav")) as file:
                numbers, width = file.getparams(), file.getsampwidth()
                data = file.readframes(file.getnframes())
            top = 1 << (8 * width - 1)
            taken = bytearray()
            for at in range(0, len(data), width):
                x = int.from_bytes(data[at:at + width], "little", signed=True) / top
                taken += round(0.5 * top * (x + 0.3 * x * x)).to_bytes(width, "little", signed=True)
            with wave.open(os.path.join(self.at, name + ".taken.wav"), "wb") as file:
                file.setparams(numbers)
                file.writeframes(bytes(taken))
            made = run("measure", "--recording", name + ".taken.wav", "--signal", name + ".signal.json",
                       "--out", name + ".json", cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)
        made = run("overdrive", "--measured", "loud.json", "--measured", "soft.json", "--drive-db", "0",
                   "--drive-db", "-6", "--out", "model.json", cwd=self.at)
        self.assertEqual(made.returncode, 0, made.stderr)
        listen = ("listen", "--measured", "soft.json", "--programme", "music.wav", "--overdrive", "model.json")
        heard = run(*listen, "--out", "driven.wav", cwd=self.at)
        self.assertEqual(heard.returncode, 0, heard.stderr)
        self.assertIn("The distortion of the speakers is heard as measured:", heard.stdout)
        result = json.loads(run(*listen, "--out", "driven.wav", "--json", cwd=self.at).stdout)["overdrive"]
        self.assertTrue(result["isHeard"])
        self.assertEqual([order["order"] for order in result["orders"]], [2, 3, 4, 5])
        self.assertTrue(result["orders"][0]["supported"])
        self.assertEqual((result["beyondMeasuredDb"], result["isEstimate"]), (0, False))
        louder = run(*listen, "--volume", "20", "--level", "-60", "--out", "driven.wav", cwd=self.at)
        self.assertIn("harder than they were measured", louder.stdout)
        louder = json.loads(run(*listen, "--volume", "20", "--out", "driven.wav", "--json", cwd=self.at).stdout)
        self.assertGreater(louder["overdrive"]["beyondMeasuredDb"], 1)
        self.assertTrue(louder["overdrive"]["isEstimate"])
        plain = run(*listen[:5], "--out", "plain.wav", "--json", cwd=self.at)
        self.assertNotIn("overdrive", json.loads(plain.stdout))
        with open(os.path.join(self.at, "plain.wav"), "rb") as one, \
                open(os.path.join(self.at, "driven.wav"), "rb") as other:
            self.assertNotEqual(one.read(), other.read())
        silent = json.loads(run(*listen, "--noise-only", "--out", "driven.wav", "--json", cwd=self.at).stdout)
        self.assertFalse(silent["overdrive"]["isHeard"])
        self.refused(1, ["soft.json", "kind"], *listen[:5], "--overdrive", "soft.json", "--out", "y.wav")

    def test_audibility_takes_the_same_ride(self):
        result = run("audibility", "--measured", "state.json", "--speed-kmh", "100", "--engine", "off",
                     "--recorded-noise", "noise.json", "--json", cwd=self.at)
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertIn("recorded", {figure["status"] for figure in json.loads(result.stdout)["noiseFigures"]})
        self.refused(2, ["gears"], "audibility", "--measured", "state.json", "--speed-kmh", "100", "--gear", "8")
class SeatVerbs(FolderTests):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        with open(os.path.join(cls.at, "phone.csv"), "w") as file:
            file.write("frequencyHz,levelDb\n50,-9.0\n1000,0.0\n9000,3.0\n")

    def test_headphone_writes_filter_and_curve(self):
        made = run("headphone", "--response", "phone.csv", "--impulse", "filter.wav", "--table", "curve.csv",
                   cwd=self.at)
        self.assertEqual(made.returncode, 0, made.stderr)
        self.assertIn("4096 taps at 48000 Hz, highest gain 6.0 dB", made.stdout)
        self.assertIn("from 50.0 Hz to 9000 Hz; beyond it the correction is held", made.stdout)
        with open(os.path.join(self.at, "curve.csv")) as file:
            self.assertEqual(file.readline().strip(), "frequencyHz,idealDb,correctionDb,differenceDb")
        self.assertGreater(os.path.getsize(os.path.join(self.at, "filter.wav")), 4 * 4096)

    def test_headphone_level_says_what_full_scale_and_the_ceiling_are(self):
        made = run("headphone-level", "--headphone", "On the counter", "--source", "data sheet",
                   "--sensitivity-per-volt", "110", "--full-scale-volts", "0.5", "--out", "level.json", cwd=self.at)
        self.assertEqual(made.returncode, 0, made.stderr)
        # 110 + 20 lg 0.5 dB SPL at full scale.
        self.assertIn("104.0 dB SPL", made.stdout)
        self.assertIn("Ceiling 80 dB(A) at the ear, -24.0 dBFS", made.stdout)

    def test_placement_says_which_ear_is_first(self):
        for speaker, words in (("front-left", "left ear first"), ("rear-right", "right ear first")):
            made = run("placement", "--speaker", speaker, "--out", "ears.wav", cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)
            self.assertIn(words, made.stdout)

    def test_what_is_not_good_enough_and_what_is_wrong_have_their_codes(self):
        before = sorted(os.listdir(self.at))
        level = ("headphone-level", "--headphone", "x", "--source", "y", "--out", "refused.json")
        for code, words, arguments in (
                (1, "missing.csv", ("headphone", "--response", "missing.csv", "--impulse", "refused.wav")),
                (2, "--max-boost", ("headphone", "--response", "phone.csv", "--max-boost", "nan")),
                (2, "", ("headphone", "--response", "phone.csv", "--table", "phone.csv")),
                (2, ".wav", ("headphone", "--response", "phone.csv", "--impulse", "refused.flac")),
                (1, "no SOFA file", ("placement", "--head", "phone.csv", "--out", "refused.wav")),
                (1, "choose another set", ("placement", "--elevation", "-80", "--out", "refused.wav")),
                (2, "--speaker", ("placement", "--speaker", "all", "--out", "refused.wav")),
                (2, "give one of", level),
                (2, "--full-scale-volts", (*level, "--sensitivity-per-volt", "100")),
                (2, "--impedance", (*level, "--sensitivity-per-milliwatt", "100", "--full-scale-volts", "1")),
                (2, "not a day", (*level, "--measured-spl", "94", "--signal-level", "-20", "--date", "today"))):
            refused = run(*arguments, cwd=self.at)
            self.assertEqual(refused.returncode, code, refused.stderr)
            self.assertIn(words, refused.stderr)
        self.assertEqual(sorted(os.listdir(self.at)), before)


class TextureVerb(FolderTests):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        for name, seconds in (("ride", "12"), ("short", "5")):
            made = run("signal", "pink", "--seconds", seconds, "--out", name + ".wav", cwd=cls.at)
            assert made.returncode == 0, made.stderr

    def test_it_writes_a_model_and_renders_the_same_for_a_seed(self):
        rendered = []
        for seed in ("3", "3", "4"):
            made = run("texture", "--recording", "ride.wav", "--speed-kmh", "90", "--out", "noise.json",
                       "--render", "texture.wav", "--seconds", "1.5", "--seed", seed, "--json", cwd=self.at)
            self.assertEqual(made.returncode, 0, made.stderr)
            result = json.loads(made.stdout)
            self.assertFalse(result["calibrated"])
            self.assertIn("recorded at 90 km/h", result["render"]["sentence"])
            for figure in result["figures"]:
                self.assertTrue(figure["source"] and figure["value"], figure)
            with open(os.path.join(self.at, "texture.wav"), "rb") as file:
                rendered.append(file.read())
        self.assertEqual(rendered[0], rendered[1])
        self.assertNotEqual(rendered[0], rendered[2])
        with open(os.path.join(self.at, "noise.json"), encoding="utf-8") as file:
            self.assertEqual(json.load(file)["kind"], "saddletone-ride-noise")

    def test_a_speed_beyond_the_recordings_is_said_to_be_held(self):
        made = run("texture", "--recording", "ride.wav", "--speed-kmh", "90", "--out", "held.json", "--render",
                   "held.wav", "--render-speed-kmh", "120", "--seconds", "1", cwd=self.at)
        self.assertEqual(made.returncode, 0, made.stderr)
        self.assertIn("held as recorded at 90 km/h", made.stdout)

    def test_what_is_not_good_enough_and_what_is_wrong_have_their_codes(self):
        before = sorted(os.listdir(self.at))
        for code, words, arguments in (
                (1, "short.wav", ("--recording", "short.wav", "--speed-kmh", "90")),
                (1, "missing.wav", ("--recording", "missing.wav", "--speed-kmh", "90")),
                (1, "each speed once", ("--recording", "ride.wav", "--speed-kmh", "90",
                                        "--recording", "ride.wav", "--speed-kmh", "90")),
                (1, "cal.json", ("--recording", "ride.wav", "--speed-kmh", "90", "--calibration", "cal.json")),
                (2, "one --speed-kmh for each", ("--recording", "ride.wav", "--recording", "ride.wav",
                                                 "--speed-kmh", "90")),
                (2, "--speed-kmh", ("--recording", "ride.wav")),
                (2, ".wav", ("--recording", "ride.wav", "--speed-kmh", "90", "--render", "x.flac")),
                (2, "--calibration", ("--recording", "ride.wav", "--speed-kmh", "90", "--calibration-spl",
                                      "94"))):
            refused = run("texture", *arguments, "--out", "refused.json", cwd=self.at)
            self.assertEqual(refused.returncode, code, refused.stderr)
            self.assertIn(words, refused.stderr)
        self.assertEqual(sorted(os.listdir(self.at)), before)


if __name__ == "__main__":
    PROGRAM = os.path.abspath(sys.argv.pop(1))
    unittest.main()
