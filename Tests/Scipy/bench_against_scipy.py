"""Holds the bench half of the program against scipy: test signals at every rate, what a
measurement says besides its curve, imported responses, compared states.

Usage: bench_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import math
import sys
import tempfile
import unittest
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

sys.dont_write_bytecode = True  # nothing is left beside the sources
import core_against_scipy as core
from core_against_scipy import band_power, db, read_table, read_wav, run

RATES = (44100, 48000, 96000)


def dbfs(samples):
    """AES17: a full-scale sine reads 0."""
    return db(2.0 * np.mean(np.square(samples)))


def band_level(samples, rate, lower, upper):
    frequency, density = signal.periodogram(samples, rate, detrend=False)
    return db(2.0 * max(band_power(frequency, density, lower, upper), 1e-30))


class Signals(unittest.TestCase):
    """`signal`: levels, bands and frequencies as scipy reads them from the files."""

    def made(self, kind, rate, *arguments):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "signal.wav"
            run("signal", kind, "--out", path, "--rate", rate, *arguments)
            found_rate, samples = read_wav(path)
            self.assertEqual(found_rate, rate)
            description = json.loads((Path(folder) / "signal.signal.json").read_text("utf-8"))
            self.assertEqual(len(samples), description["numFrames"])
            # A step of 24 bits, and dither.
            self.assertAlmostEqual(
                20.0 * math.log10(max(np.max(np.abs(samples)), 1e-9)),
                max(description["peakDbfs"], -180.0), delta=0.01,
            )
            return samples, description

    def test_noise_for_levels_and_drivers_stays_in_its_band(self):
        cases = (("level", (), 500.0, 2000.0, -20.0),
                 ("pink", ("--driver", "woofer"), 60.0, 300.0, -20.0),
                 ("pink", ("--driver", "mid"), 500.0, 2500.0, -20.0),
                 ("pink", ("--driver", "tweeter"), 5000.0, 16000.0, -30.0))
        for rate in RATES:
            for kind, arguments, lower, upper, level in cases:
                with self.subTest(rate=rate, kind=kind, arguments=arguments):
                    samples, _ = self.made(kind, rate, "--seconds", 20, *arguments)
                    self.assertAlmostEqual(dbfs(samples), level, delta=0.01)
                    # A window, or the cut ends of noise that does not repeat would leak.
                    tapered = samples * signal.windows.hann(len(samples), sym=False)
                    tapered *= math.sqrt(8.0 / 3.0)
                    for outside in ((1.0, lower * 0.97), (upper * 1.03, rate / 2.0)):
                        self.assertLess(band_level(tapered, rate, *outside), level - 70.0)
                    # Pink: as much power in the lower half of its octaves as in the upper.
                    middle = math.sqrt(lower * upper)
                    self.assertAlmostEqual(
                        band_level(tapered, rate, lower, middle),
                        band_level(tapered, rate, middle, upper), delta=0.3,
                    )

    def test_calibrated_pink_noise_has_its_level_peak_and_limits(self):
        # SMPTE ST 2095-1: -18.5 dBFS (AES17), peaks at -9.5 dB re full scale; fourth-order
        # Butterworth limits at 10 Hz and 22.4 kHz are 3 dB down there.
        for rate in RATES:
            samples, description = self.made("calibrated-pink", rate, "--seconds", 40)
            period = samples[: description["periodFrames"]]
            self.assertAlmostEqual(dbfs(period), -18.5, delta=0.05)
            self.assertAlmostEqual(20.0 * math.log10(np.max(np.abs(period))), -9.5, delta=0.01)
            levels = [band_level(period, rate, centre * 10.0**-0.05, centre * 10.0**0.05)
                      for centre in core.third_octaves(17, 41)]  # 50 Hz to 12.5 kHz
            self.assertLess(max(levels) - min(levels), 0.35)
            third = band_level(period, rate, 2.0, 4.0)  # 31 dB below a flat one's, and more
            self.assertLess(third, np.mean(levels) - 25.0)

    def test_parts_have_the_level_and_frequency_that_is_stated(self):
        for rate in RATES:
            for kind in ("bands", "stepped", "gain-set"):
                samples, description = self.made(kind, rate, "--seconds", 2)
                for segment in description["segments"]:
                    first = segment["firstFrame"]
                    part = samples[first : first + segment["numFrames"]]
                    held = part[segment["fadeFrames"] : len(part) - segment["fadeFrames"]]
                    centre = segment["frequencyHz"]
                    with self.subTest(rate=rate, kind=kind, centre=centre):
                        # Not a whole number of periods: at 25 Hz half a period is 1 % of it all.
                        self.assertAlmostEqual(dbfs(held), segment["levelDbfs"], delta=0.08)
                        inside = band_level(part, rate, centre * 10.0**-0.05, centre * 10.0**0.05)
                        self.assertGreater(inside - dbfs(part), db(0.97))
                        if kind != "bands":
                            turns = np.unwrap(np.angle(signal.hilbert(held)))
                            middle = slice(len(turns) // 10, -(len(turns) // 10))
                            slope = np.polyfit(np.arange(len(turns))[middle], turns[middle], 1)[0]
                            self.assertAlmostEqual(
                                slope * rate / (2.0 * np.pi) / centre, 1.0, delta=2e-4
                            )
                levels = {(s["frequencyHz"], s["levelDbfs"]) for s in description["segments"]}
                if kind == "gain-set":
                    self.assertEqual(
                        levels, {(f, l) for f in (40.0, 1000.0) for l in (-10.0, -5.0, 0.0)}
                    )

    def test_a_multitone_has_its_tones_and_nothing_else(self):
        for rate in RATES:
            samples, description = self.made("multitone", rate, "--bits", "32f")
            period = samples[: description["periodFrames"]]
            amplitude = 2.0 * np.abs(np.fft.rfft(period)) / len(period)
            tones = np.array(description["tones"]["cyclesPerPeriod"])
            stated = np.array(description["tones"]["levelsDbfs"])
            self.assertLess(np.max(np.abs(20.0 * np.log10(amplitude[tones]) - stated)), 0.01)
            rest = np.delete(amplitude, tones)
            self.assertLess(db(np.sum(rest**2) / np.sum(amplitude[tones] ** 2)), -100.0)
            crest = 20.0 * math.log10(np.max(np.abs(period)) / np.sqrt(np.mean(period**2)))
            # Documented: random phases give 11.5 dB or more.
            self.assertLess(crest, 9.1)

    def test_pulses_are_positive_and_beeps_are_on_their_side(self):
        for rate in RATES:
            pulses, _ = self.made("polarity", rate)
            self.assertAlmostEqual(20.0 * math.log10(np.max(pulses)), -12.0, delta=0.01)
            self.assertGreater(np.min(pulses), -1e-6)
            beeps, description = self.made("channels", rate)
            spoken = [(s["label"], s["channel"]) for s in description["segments"]]
            # One beep front left, two front right, three rear left, four rear right.
            for beep, (label, channel) in enumerate(
                (("front left", 0), ("front right", 1), ("rear left", 0), ("rear right", 1)), 1
            ):
                self.assertEqual(spoken.count((label, channel)) % beep, 0)
                self.assertGreater(spoken.count((label, channel)), 0)
            for segment in description["segments"]:
                first = segment["firstFrame"]
                part = beeps[first : first + segment["numFrames"]]
                self.assertLess(np.max(np.abs(part[:, 1 - segment["channel"]])), 1e-6)
                self.assertAlmostEqual(
                    20.0 * math.log10(np.max(np.abs(part[:, segment["channel"]]))),
                    segment["levelDbfs"], delta=0.05,
                )


class Bench(unittest.TestCase):
    """`measure`, `import` and `compare` with a bike whose response scipy knows."""

    rate = 48000

    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.at = Path(cls.folder.name)
        run("signal", "sweep", "--out", cls.at / "sweep.wav", "--seconds", 6, "--bits", "32f")
        cls.played = read_wav(cls.at / "sweep.wav")[1]
        cls.bike = core.SimulatedBike(cls.rate)
        cls.heard = cls.bike.filter(cls.played)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def take(self, name, sound, ppm=0.0, noise=1e-5, seed=1):
        heard = core.record(sound, 1.0 + ppm * 1e-6, 0.8, 0.6, self.rate)
        heard = heard + noise * np.random.default_rng(seed).standard_normal(len(heard))
        wavfile.write(self.at / name, self.rate, heard.astype(np.float32))
        return self.at / name

    def measure(self, recordings, *arguments, out="state.json"):
        takes = [word for recording in recordings for word in ("--recording", recording)]
        return run("measure", *takes, "--signal", self.at / "sweep.signal.json", "--out",
                   self.at / out, *arguments)

    @staticmethod
    def third_octave_db(responses, centres):
        """Power of one or several responses, mean over third octaves."""
        levels = []
        for centre in centres:
            grid = np.linspace(centre * 10.0**-0.05, centre * 10.0**0.05, 200)
            levels.append(db(np.mean([np.abs(response(grid)) ** 2 for response in responses])))
        return np.array(levels)

    def bands(self, result, lowest=40.0, highest=16000.0):
        used = [band for band in result["bands"] if lowest <= band["frequencyHz"] <= highest]
        return {key: np.array([band[key] for band in used]) for key in used[0]}

    def test_smoothing_and_microphone_of_the_table(self):
        recording = self.take("take.wav", self.heard, 60.0)
        table = self.at / "table.csv"
        for smoothing in ("0", "3", "6", "12", "24", "ear"):
            self.measure([recording], "--table", table, "--smoothing", smoothing)
            found = read_table(table)
            used = (found["frequency_hz"] >= 40.0) & (found["frequency_hz"] <= 16000.0)
            for frequency, level in zip(found["frequency_hz"][used], found["level_db"][used]):
                power = 2.0
                grid = np.array([frequency])
                if smoothing == "ear":
                    # Glasberg and Moore 1990; the fourth-power mean is judgement, as documented.
                    power = 4.0
                    half = 0.5 * 24.7 * (4.37 * frequency / 1000.0 + 1.0)
                    grid = np.linspace(frequency - half, frequency + half, 300)
                elif smoothing != "0":
                    half = 2.0 ** (0.5 / int(smoothing))
                    grid = np.linspace(frequency / half, frequency * half, 300)
                mean = np.mean(np.abs(self.bike.response(grid)) ** power) ** (2.0 / power)
                self.assertAlmostEqual(level, db(mean), delta=0.05, msg=f"{smoothing}, {frequency}")
        plain = read_table(table)["level_db"]
        curves = {"0": (0.0, 0.0, 3.5), "90": (0.0, 0.0, -6.0)}
        corners = np.log([20.0, 1000.0, 16000.0])
        for incidence, levels in curves.items():
            rows = zip(("20", "1000,0", "16000"), levels)
            text = "* curve\nHz\tdB\n" + "".join(f"{f}\t{v}\n" for f, v in rows).replace(".", ",")
            (self.at / f"microphone-{incidence}.txt").write_text(text, encoding="utf-8")
        for incidence, levels in curves.items():
            self.measure([recording], "--table", table, "--smoothing", "ear", "--incidence",
                         incidence, "--microphone", self.at / "microphone-0.txt",
                         "--microphone-90", self.at / "microphone-90.txt")
            found = read_table(table)
            used = (found["frequency_hz"] >= 40.0) & (found["frequency_hz"] <= 15000.0)
            taken_out = np.interp(np.log(found["frequency_hz"]), corners, levels)
            error = plain - taken_out - found["level_db"]
            self.assertLess(np.max(np.abs(error[used])), 0.05)

    def test_harmonics_are_those_of_a_polynomial(self):
        shares = {2: 0.08, 3: 0.05, 4: 0.3, 5: 1.5}
        fine = signal.resample_poly(self.played, 4, 1)
        bent = fine + sum(share * fine**order for order, share in shares.items())
        bent = signal.resample_poly(bent, 1, 4)
        result = self.measure([self.take("bent.wav", bent, 45.0, 1e-6)])
        # Powers of a sine of amplitude a, from cos^n in multiple angles.
        a = 10.0 ** (-12.0 / 20.0)
        first = a + 0.75 * shares[3] * a**3 + 0.625 * shares[5] * a**5
        expected = {
            2: 0.5 * shares[2] * a**2 + 0.5 * shares[4] * a**4,
            3: 0.25 * shares[3] * a**3 + 0.3125 * shares[5] * a**5,
            4: 0.125 * shares[4] * a**4,
            5: 0.0625 * shares[5] * a**5,
        }
        self.assertEqual([order["order"] for order in result["distortion"]], [2, 3, 4, 5])
        for order in result["distortion"]:
            truth = 20.0 * math.log10(expected[order["order"]] / first)
            levels = [level for level in order["levels"] if 60.0 < level["frequencyHz"] < 2000.0]
            self.assertGreater(len(levels), 14)
            for level in levels:
                self.assertTrue(level["significant"])
                self.assertAlmostEqual(level["levelDb"], truth, delta=0.2)

    def test_head_places_are_averaged_in_power_and_noise_is_stated(self):
        bikes = []
        takes = []
        for place, delay in enumerate((43, 67, 101)):
            moved = self.heard.copy()
            moved[delay:] += 0.7 * self.heard[:-delay]
            takes.append(self.take(f"place-{place}.wav", moved, 4.0 * place, 3e-5, place))
            bikes.append(lambda grid, delay=delay: self.bike.response(grid)
                         * (1.0 + 0.7 * np.exp(-2j * np.pi * grid * delay / self.rate)))
        result = self.measure(takes)
        self.assertEqual(result["numTakes"], 3)
        bands = self.bands(result)
        error = bands["levelDb"] - self.third_octave_db(bikes, bands["frequencyHz"])
        # Places that differ by less than 5 % of the power have a complex mean: 0.22 dB at most.
        self.assertLess(np.max(np.abs(error)), 0.25)
        alone = np.array([self.third_octave_db([bike], bands["frequencyHz"]) for bike in bikes])
        spread = np.std(alone, axis=0, ddof=1)
        self.assertLess(np.max(np.abs(bands["spreadDb"] - spread)), 0.1)
        self.assertIn("powers are averaged", " ".join(result["remarks"]))

        quiet = self.bands(self.measure([self.take("quiet.wav", self.heard, 0.0, 1e-4)]))
        loud = self.bands(self.measure([self.take("loud.wav", self.heard, 0.0, 1e-3)]))
        inside = loud["frequencyHz"] > 200.0  # enough values of noise in the band to be a mean
        change = quiet["snrDb"] - loud["snrDb"]
        self.assertLess(np.max(np.abs(change[inside] - 20.0)), 2.0)
        self.assertAlmostEqual(np.mean(change[inside]), 20.0, delta=0.5)
        silence = np.random.default_rng(8).standard_normal(8 * self.rate) * 1e-3
        wavfile.write(self.at / "noise.wav", self.rate, silence.astype(np.float32))
        told = self.bands(self.measure([self.at / "quiet.wav"], "--noise", self.at / "noise.wav"))
        self.assertAlmostEqual(np.mean((told["snrDb"] - loud["snrDb"])[inside]), 0.0, delta=0.7)

    def test_imported_impulse_and_table_are_the_response(self):
        impulse = self.bike.filter(np.concatenate([np.zeros(2000), [1.0], np.zeros(40000)]))
        wavfile.write(self.at / "impulse.wav", self.rate, impulse.astype(np.float32))
        centres = np.array(core.third_octaves(17, 41))
        truth = self.third_octave_db([self.bike.response], centres)

        def levels(name):
            state = json.loads((self.at / name).read_text("utf-8"))
            return np.array([band["levelDb"] for band in state["bands"] if
                             49.0 < band["frequencyHz"] < 13000.0])

        run("import", "--impulse", self.at / "impulse.wav", "--out", self.at / "imported.json")
        self.assertLess(np.max(np.abs(levels("imported.json") - truth)), 0.02)
        grid = 20.0 * 2.0 ** (np.arange(0, 240) / 24.0)
        response = self.bike.response(grid)
        for with_phase in (False, True):
            rows = [f"{f:.4f};{20.0 * np.log10(abs(h)):.4f}"
                    + (f";{np.degrees(np.angle(h)):.3f}" if with_phase else "")
                    for f, h in zip(grid, response)]
            (self.at / "curve.csv").write_text("\n".join(rows).replace(".", ","), encoding="utf-8")
            result = run("import", "--table", self.at / "curve.csv", "--out",
                         self.at / "imported.json")
            self.assertLess(np.max(np.abs(levels("imported.json") - truth)), 0.1)
            self.assertEqual("made minimum phase" in " ".join(result["remarks"]), not with_phase)

    def test_a_change_with_the_engine_is_found_and_sized(self):
        b, a = signal.iirpeak(200.0, 1.4, fs=self.rate)
        changed = self.heard + 0.6 * signal.lfilter(b, a, self.heard)

        def response(grid):
            return self.bike.response(grid) * (
                1.0 + 0.6 * signal.freqz(b, a, worN=grid, fs=self.rate)[1])

        states = (("off", "off", self.heard, 3e-4), ("run", "running", changed, 3e-3),
                  ("same", "running", 1.3 * self.heard, 3e-3))
        for seed, (name, engine, sound, noise) in enumerate(states):
            self.measure([self.take(f"{name}.wav", sound, 10.0 * seed, noise, seed)], "--engine",
                         engine, "--profile", "A", out=f"{name}.json")
        result = run("compare", *(self.at / f"{name}.json" for name, *_ in states))
        bent, same = result["comparisons"]
        self.assertTrue(bent["changesWithEngine"])
        self.assertFalse(same["significant"])
        self.assertAlmostEqual(same["levelDifferenceDb"], 20.0 * math.log10(1.3), delta=0.05)
        bands = {key: np.array([band[key] for band in bent["bands"]]) for key in bent["bands"][0]}
        used = (bands["frequencyHz"] > 39.0) & (bands["frequencyHz"] < 16500.0)
        centres = bands["frequencyHz"][used]
        middle = (centres > 499.0) & (centres < 2001.0)
        before = self.third_octave_db([self.bike.response], centres)
        after = self.third_octave_db([response], centres)
        truth = after - np.mean(after[middle]) - (before - np.mean(before[middle]))
        self.assertLess(np.max(np.abs(bands["differenceDb"][used] - truth)), 0.15)
        largest = int(np.argmax(np.abs(truth)))
        self.assertAlmostEqual(bent["largestAtHz"], centres[largest], delta=1.0)
        self.assertAlmostEqual(bent["largestDifferenceDb"], truth[largest], delta=0.1)
        evidence = bent["evidence"]
        self.assertLess(evidence["chance"], 1e-4)
        self.assertGreater(abs(evidence["mostSigmas"]), 5.0)
        flat = before[(centres >= 79.0) & (centres <= 12000.0)]
        deviation = flat - np.mean(flat)
        self.assertAlmostEqual(result["evenness"]["rmsDb"], np.sqrt(np.mean(deviation**2)),
                               delta=0.03)
        self.assertAlmostEqual(result["largestBump"]["heightDb"],
                               np.max(flat - np.median(flat)), delta=0.1)


class ExactBands(unittest.TestCase):
    """`analyse --method fourier` against the periodogram, line by line."""

    def test_bands_of_every_width_hold_the_power_between_their_edges(self):
        random = np.random.default_rng(12)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "noise.wav"
            for rate in RATES:
                samples = (0.05 * random.standard_normal(10 * rate)).astype(np.float32)
                wavfile.write(path, rate, samples)
                frequency, density = signal.periodogram(samples.astype(float), rate, detrend=False)
                for bands in (3, 6, 12, 24):
                    result = run("analyse", "--recording", path, "--bands", bands)
                    self.assertEqual(result["method"], "fourier")
                    self.assertAlmostEqual(result["totalDbfs"], dbfs(samples.astype(float)),
                                           delta=0.01)
                    for centre, level in zip(result["frequenciesHz"], result["levelsDbfs"]):
                        half = 10.0 ** (0.15 / bands)
                        power = band_power(frequency, density, centre / half, centre * half)
                        # Averaged stretches see another part of the noise at a band's edges.
                        edge = 4.0 / math.sqrt(10.0 * centre * (half - 1.0 / half))
                        self.assertAlmostEqual(level, db(2.0 * power), delta=0.02 + 0.3 * edge,
                                               msg=f"{rate}, {bands}, {centre}")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    core.program = sys.argv.pop(1)
    unittest.main(verbosity=2)
