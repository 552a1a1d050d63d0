"""Holds `audibility` and `exposure` against numpy and scipy: levels at the head by scipy's response of
a filter, masking, speech intelligibility and dose worked again from the standards.

Usage: hearing_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import math
import subprocess
import sys
import tempfile
import unittest
import zlib
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

program = None

REFERENCE = Path(__file__).resolve().parent.parent / "Reference"
CENTRES = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)
RATE = 48000


def run(*arguments):
    command = [program, "--json", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise AssertionError(f"{command} ended with {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def reference_table(name):
    lines = (REFERENCE / name).read_text(encoding="utf-8").splitlines()
    return np.genfromtxt([line for line in lines if not line.startswith("#")], delimiter=",",
                         names=True)


def power(level_db):
    return 10.0 ** (np.asarray(level_db) / 10.0)


def db(value):
    return 10.0 * np.log10(np.maximum(value, 1e-40))


def a_weighting_db(frequency):
    """IEC 61672-1, from its poles."""
    f2 = np.square(frequency)
    return 2.0 + 20.0 * np.log10(
        12194.217148**2 * f2**2
        / ((f2 + 20.598997**2) * np.sqrt((f2 + 107.652649**2) * (f2 + 737.862231**2))
           * (f2 + 12194.217148**2))
    )


def spread(frequency, noise_db, masker_db):
    """ANSI S3.5-1997, equivalent masking spectrum level, in matrices."""
    slope = np.minimum(0.0, -80.0 + 0.6 * (masker_db + 10.0 * np.log10(frequency) - 6.353))
    octaves = 3.32 * np.log10(0.89 * frequency[:, None] / frequency[None, :])
    spread_power = np.tril(power(masker_db[None, :] + slope[None, :] * octaves), -1).sum(axis=1)
    result = db(power(noise_db) + spread_power)
    result[0] = masker_db[0]
    return result


def helmet_loss_db(frequency):
    """Full face: the table of the model, straight over log frequency."""
    octaves = 1000.0 * 2.0 ** np.arange(-5.0, 4.0)
    octaves[:4] = [31.5, 63.0, 125.0, 250.0]
    return np.interp(np.log(frequency), np.log(octaves), [-1, -2, -3, -2, 1, 7, 15, 23, 30])


class Audibility(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        folder = Path(cls.folder.name)
        # A bike that passes 120 Hz to 5 kHz, calibrated: 112 dB at full scale.
        cls.sos = signal.butter(2, [120.0, 5000.0], "bandpass", fs=RATE, output="sos")
        impulse = signal.sosfilt(cls.sos, signal.unit_impulse(RATE // 2))
        impulse_file = folder / "bike.impulse.wav"
        wavfile.write(impulse_file, RATE, impulse.astype(np.float32))
        cls.state = folder / "bike.json"
        cls.state.write_text(json.dumps({
            "kind": "saddletone-state", "schemaVersion": 1, "name": "bike", "sampleRate": RATE,
            "arrivalFrame": 0, "fromHz": 20.0, "toHz": 20000.0,
            "calibration": {"toneSplDb": 94.0, "toneDbfs": -18.0},
            "impulse": {"file": impulse_file.name,
                        "checksum": f"{zlib.crc32(impulse_file.read_bytes()):08x}"}}),
            encoding="utf-8")
        cls.music = folder / "music.wav"
        random = np.random.default_rng(5)
        cls.samples = 0.1 * random.standard_normal((1 << 20, 2))
        wavfile.write(cls.music, RATE, cls.samples.astype(np.float32))

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def audibility(self, *arguments):
        table = Path(self.folder.name) / "table.csv"
        result = run("audibility", "--measured", self.state, "--programme", self.music, "--table",
                     table, *arguments)
        return result, np.genfromtxt(table, delimiter=",", names=True)

    def test_level_at_the_head(self):
        result, table = self.audibility("--speed-kmh", 60)
        self.assertEqual(result["programmeLevelSource"], "measured")
        frequency, density = signal.welch(self.samples, RATE, nperseg=1 << 16, axis=0)
        density = density.mean(axis=1)
        response = np.abs(signal.sosfreqz(self.sos, worN=frequency, fs=RATE)[1]) ** 2
        used = frequency > 10.0
        heard = np.zeros_like(density)
        heard[used] = (density * response)[used] * power(-helmet_loss_db(frequency[used]))
        step = frequency[1]
        total = 0.0
        for centre, level in zip(CENTRES, table["programme_spl_db"]):
            inside = np.clip(np.minimum(centre * 10**0.05, frequency + step / 2)
                             - np.maximum(centre * 10**-0.05, frequency - step / 2), 0.0, step)
            expected = db(2.0 * np.sum(inside * heard)) + 112.0
            total += power(expected + a_weighting_db(centre))
            if 100.0 < centre < 8000.0:
                # Of one noise both estimates have little spread; the slope within a band is taken
                # for a programme that is even in it.
                self.assertAlmostEqual(level, expected, delta=0.2, msg=f"{centre:.0f} Hz")
        self.assertAlmostEqual(result["programmeSplDba"], db(total), delta=0.2)
        louder, _ = self.audibility("--speed-kmh", 60, "--volume", 7.5)
        self.assertAlmostEqual(louder["programmeSplDba"] - result["programmeSplDba"], 7.5, 6)

    def test_masked_threshold_and_share(self):
        quiet = np.append(reference_table("iso226_2003.csv")["T_f_db"], [40.2, 70.4])
        width_db = db(CENTRES * (10**0.05 - 10**-0.05))
        for speed, plugs in ((30, 0), (70, 0), (70, 22), (110, 0)):
            with self.subTest(speed=speed, plugs=plugs):
                result, table = self.audibility("--speed-kmh", speed, "--ear-plugs", plugs)
                ride = run("ride", "--speed-kmh", speed, "--helmet", "full")
                noise = np.array([-400.0 if level is None else level
                                  for level in ride["thirdOctaves"]["totalSplDb"]])
                heard = noise > -200.0
                np.testing.assert_allclose(table["noise_spl_db"][heard], noise[heard], atol=2e-3)
                inside = table["noise_spl_db"] - plugs - width_db
                expected = np.maximum(quiet, spread(CENTRES, inside, inside) + width_db) + plugs
                np.testing.assert_allclose(table["threshold_spl_db"], expected, atol=2e-3)

                # The share, on a grid of the ERB scale (Glasberg and Moore 1990).
                cams = 21.366 * np.log10(0.004368 * CENTRES + 1.0)
                grid = cams[0] + 0.1 * np.arange(410)
                counts = np.interp(grid, cams, table["programme_spl_db"] - quiet - plugs) >= 0.0
                above = np.interp(grid, cams, table["programme_spl_db"] - expected)
                share = np.mean(above[counts] >= 0.0)
                # One step of the grid may fall on either side by rounding of the table.
                self.assertAlmostEqual(result["shareOfErbScale"], share, delta=1.5 / counts.sum())
                wanted = np.sort(above[counts])[::-1][math.ceil(0.8 * counts.sum()) - 1]
                self.assertAlmostEqual(result["overallGainDb"], -wanted, delta=0.3)

    def test_speech_intelligibility(self):
        table = reference_table("sii_third_octave.csv")
        bandwidth = 15.65 + np.arange(18)
        for speed in (20, 50, 90):
            with self.subTest(speed=speed):
                path = Path(self.folder.name) / "speech.csv"
                result = run("audibility", "--measured", self.state, "--speech", "--speed-kmh",
                             speed, "--table", path)
                levels = np.genfromtxt(path, delimiter=",", names=True)
                speech = levels["programme_spl_db"][9:27] - bandwidth
                noise = np.maximum(levels["noise_spl_db"][9:27] - bandwidth, -50.0)
                masker = np.maximum(noise, speech - 24.0)
                disturbance = np.maximum(spread(table["hz"], noise, masker),
                                         table["internal_noise_db"] - 1.7)
                distortion = np.clip(1.0 - (speech - table["speech_normal_db"] - 10.0) / 160.0,
                                     0.0, 1.0)
                audible = np.clip((speech - disturbance + 15.0) / 30.0, 0.0, 1.0)
                index = np.sum(table["importance_avg_speech"] * distortion * audible)
                self.assertAlmostEqual(result["speechIntelligibilityIndex"], index, delta=1e-3)

    def test_the_drowning_speed_parts_heard_from_drowned(self):
        speed = self.audibility("--speed-kmh", 60, "--share", 50)[0]["drowningSpeedKmh"]
        self.assertGreater(speed, 10.0)
        self.assertGreaterEqual(
            self.audibility("--speed-kmh", speed - 1.0)[0]["shareOfErbScale"], 0.5)
        self.assertLess(self.audibility("--speed-kmh", speed + 1.0)[0]["shareOfErbScale"], 0.5)


class Exposure(unittest.TestCase):
    def test_doses(self):
        random = np.random.default_rng(11)
        for _ in range(20):
            noise, music = random.uniform(82.0, 112.0, 2)
            hours, plugs = random.uniform(0.1, 12.0), random.uniform(0.0, 25.0)
            result = run("exposure", "--noise-dba", noise, "--music-dba", music, "--hours", hours,
                         "--ear-plugs", plugs)
            both = db(power(noise) + power(music)) - plugs
            dose = 100.0 * hours / 8.0 * 2.0 ** ((both - 85.0) / 3.0)
            self.assertAlmostEqual(result["niosh"]["dosePercent"], dose, delta=1e-6 * dose)
            self.assertAlmostEqual(result["niosh"]["timeWeightedAverageDba"],
                                   85.0 + 10.0 * math.log10(dose / 100.0), 6)
            osha = 100.0 * hours / 8.0 * 2.0 ** ((both - 90.0) / 5.0)
            for key, lowest in (("oshaPel", 90.0), ("oshaHearingConservation", 80.0)):
                expected = osha if both >= lowest else 0.0
                self.assertAlmostEqual(result[key]["dosePercent"], expected, delta=1e-6 * osha)
            alone = 100.0 * hours / 8.0 * 2.0 ** ((noise - plugs - 85.0) / 3.0)
            self.assertAlmostEqual(result["nioshNoiseAlone"]["dosePercent"], alone,
                                   delta=1e-6 * alone)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    program = sys.argv.pop(1)
    unittest.main(verbosity=2)
