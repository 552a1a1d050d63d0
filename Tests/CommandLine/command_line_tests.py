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
        for verb in ("signal", "tracks", "measure", "calibrate", "import", "analyse", "compare",
                     "predict", "listen", "report", "job", "demo"):
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

    def test_wrong_types_and_newer_schemas_are_named(self):
        with open(os.path.join(self.at, "state.json"), encoding="utf-8") as file:
            state = json.load(file)
        self.write("newer.json", json.dumps({**state, "schemaVersion": 99}))
        self.write("type.json", json.dumps({**state, "sampleRate": "fast"}))
        common = ("--programme", "music.wav", "--out", "x.wav")
        self.refused(1, ["newer.json", "99", "newer Saddletone"], "listen", "--measured", "newer.json", *common)
        self.refused(1, ["type.json", "sampleRate", "number"], "listen", "--measured", "type.json", *common)

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


class HearingVerbs(unittest.TestCase):
    """audibility and exposure."""

    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.at = cls.folder.name
        made = run("signal", "sweep", "--seconds", "3", "--out", "sweep.wav", cwd=cls.at)
        assert made.returncode == 0, made.stderr
        made = run("measure", "--recording", "sweep.wav", "--signal", "sweep.signal.json",
                   "--out", "state.json", cwd=cls.at)
        assert made.returncode == 0, made.stderr
        made = run("signal", "silence", "--seconds", "1", "--out", "silence.wav", cwd=cls.at)
        assert made.returncode == 0, made.stderr

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

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


class RideVerb(unittest.TestCase):
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


class TextureVerb(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.at = cls.folder.name
        for name, seconds in (("ride", "12"), ("short", "5")):
            made = run("signal", "pink", "--seconds", seconds, "--out", name + ".wav", cwd=cls.at)
            assert made.returncode == 0, made.stderr

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

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
