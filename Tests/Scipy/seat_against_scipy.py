"""Holds `headphone`, `placement` and `listen --on-this-bike` against numpy and scipy: the regularised
inverse worked again, its minimum phase by scipy's Hilbert transform, what the ear filters do by
scipy's transforms, and the difference of two bikes that are filters of scipy's.

Usage: seat_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import math
import subprocess
import sys
import tempfile
import unittest
import warnings
from pathlib import Path

import numpy as np
from scipy import fft, signal
from scipy.io import wavfile

program = None

PRESETS = Path(__file__).resolve().parent.parent.parent / "Presets" / "Headphones"
THIRDS = 1000.0 * 10.0 ** (np.arange(-15, 13) / 10.0)


def run(*arguments):
    command = [program, "--json", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise AssertionError(f"{command} ended with {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def read_wav(file):
    with warnings.catch_warnings():
        # Float files hold a chunk with their peaks that scipy passes over.
        warnings.simplefilter("ignore", wavfile.WavFileWarning)
        rate, samples = wavfile.read(file)
    return rate, samples.astype(float)


def table(path):
    rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()
            if line and not line.startswith("#")]
    return np.array([[float(field) for field in row] for row in rows[1:]]).T


def db(magnitude):
    return 20.0 * np.log10(np.maximum(np.abs(magnitude), 1e-20))


def level_at(curve, frequency):
    """Straight in dB over log frequency, held beyond the ends."""
    return np.interp(np.log(np.maximum(frequency, 1e-3)), np.log(curve[0]), curve[1])


def error_db(curve, frequency):
    middle = level_at(curve, 500.0 * 2.0 ** np.linspace(0.0, 2.0, 49)).mean()
    return level_at(curve, frequency) - middle


def expected_gain(curve, frequency, boost_db, cut_db):
    """H / (H^2 + beta) with the least beta that keeps the boost and fills no dip narrower than half
    an octave; the smoothing by plain means over 200 points of the quarter octave on each side."""
    power = 10.0 ** (error_db(curve, frequency) / 10.0)

    def mean(from_ratio, to_ratio):
        ratios = from_ratio + (to_ratio - from_ratio) * (np.arange(200) + 0.5) / 200
        return sum(10.0 ** (error_db(curve, frequency * ratio) / 10.0) for ratio in ratios) / 200

    smooth = np.minimum(mean(2.0**-0.25, 1.0), mean(1.0, 2.0**0.25))
    response = np.sqrt(power)
    wanted = 10.0 ** (boost_db / 20.0)
    beta = np.maximum(0.0, np.maximum(response * np.sqrt(smooth), response / wanted) - power)
    return np.maximum(response / (power + beta), 10.0 ** (-cut_db / 20.0))


def third_octaves(power, frequency):
    return np.array([power[(frequency >= centre * 10.0**-0.05) & (frequency < centre * 10.0**0.05)]
                     .mean() for centre in THIRDS])


class HeadphoneCorrection(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def correction(self, response, *options, rate=48000):
        impulse = Path(self.folder.name) / "correction.wav"
        report = run("headphone", "--response", response, "--rate", rate, "--impulse", impulse,
                     *options)
        found_rate, taps = read_wav(impulse)
        self.assertEqual(found_rate, rate)
        return report, taps

    def test_taps_are_the_regularised_inverse_at_minimum_phase(self):
        for rate in (44100, 48000, 96000):
            for preset in sorted(PRESETS.glob("*.csv")):
                with self.subTest(preset=preset.name, rate=rate):
                    _, taps = self.correction(preset, "--taps", 16384, rate=rate)
                    size = 2**17
                    frequency = np.arange(size // 2 + 1) * rate / size
                    gain = expected_gain(table(preset), frequency, 6.0, 12.0)
                    # Minimum phase is the Hilbert transform of the log magnitude.
                    logs = np.log(np.concatenate([gain, gain[-2:0:-1]]))
                    phase = -np.imag(signal.hilbert(logs))[: size // 2 + 1]
                    found = fft.rfft(taps, size)
                    inside = (frequency >= 25.0) & (frequency <= min(20000.0, 0.45 * rate))
                    difference = found[inside] / (gain * np.exp(1j * phase))[inside]
                    # 0.2 dB, 1.5 degrees: the length of the taps rounds the corners of a limit at
                    # the lowest frequencies.
                    self.assertLess(np.abs(db(difference)).max(), 0.2)
                    self.assertLess(np.abs(np.angle(difference)).max(), math.radians(1.5))

    def test_headphone_times_correction_is_flat_inside_the_limits(self):
        for preset in sorted(PRESETS.glob("*.csv")):
            with self.subTest(preset=preset.name):
                _, taps = self.correction(preset)
                curve = table(preset)
                frequency = np.arange(2**16 + 1) * 48000 / 2**17
                flat = db(fft.rfft(taps, 2**17)) + error_db(curve, frequency)
                wanted = -error_db(curve, frequency)
                audible = (frequency >= 25.0) & (frequency <= 20000.0)
                # Left out: a decibel below the boost's limit and above, and what the expected gain
                # leaves of narrow dips.
                gain = db(expected_gain(curve, frequency, 6.0, 12.0))
                inside = audible & (wanted < 5.0) & (gain > wanted - 0.1)
                self.assertGreater(inside.sum(), 0.85 * audible.sum())
                # 0.1 dB by that choice, and the length of the taps.
                self.assertLess(np.abs(flat[inside]).max(), 0.3)

    def test_boost_never_passes_its_limit(self):
        for preset in sorted(PRESETS.glob("*.csv")):
            for limit in (0.0, 1.5, 3.0, 6.0, 12.0):
                with self.subTest(preset=preset.name, limit=limit):
                    report, taps = self.correction(preset, "--max-boost", limit, "--taps", 1024)
                    # Single precision of the file.
                    self.assertLessEqual(db(fft.rfft(taps, 2**18)).max(), limit + 1e-4)
                    self.assertLessEqual(report["highestGainDb"], limit)

    def test_curve_is_that_of_the_taps(self):
        report, taps = self.correction(PRESETS / "open-generic.csv")
        frequency = np.array(report["frequenciesHz"])
        _, response = signal.freqz(taps, worN=frequency, fs=48000)
        # 0.05 dB: the curve is read at the nearest bin, at most 0.2 Hz off.
        self.assertLess(np.abs(db(response) - report["correctionDb"]).max(), 0.05)
        ideal = -error_db(table(PRESETS / "open-generic.csv"), frequency)
        self.assertLess(np.abs(ideal - report["idealDb"]).max(), 1e-6)

    def test_decimals_with_commas_read_alike(self):
        text = (PRESETS / "closed-generic.csv").read_text(encoding="utf-8")
        other = Path(self.folder.name) / "commas.txt"
        lines = [line for line in text.splitlines() if not line.startswith("#")][1:]
        other.write_text("\n".join(line.replace(",", "\t").replace(".", ",") for line in lines),
                         encoding="utf-8")
        _, expected = self.correction(PRESETS / "closed-generic.csv")
        _, found = self.correction(other)
        np.testing.assert_array_equal(found, expected)


class Placement(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def ears(self, *options, rate=48000):
        file = Path(self.folder.name) / "ears.wav"
        report = run("placement", "--rate", rate, "--out", file, *options)
        _, taps = read_wav(file)
        return report, taps.T

    def test_mean_power_of_the_ears_is_flat_on_axis(self):
        frequency = np.arange(2**16 + 1) * 48000 / 2**17
        for speaker in ("front-left", "front-right", "rear-left", "rear-right"):
            with self.subTest(speaker=speaker):
                _, taps = self.ears("--speaker", speaker)
                power = (np.abs(fft.rfft(taps, 2**17, axis=1)) ** 2).mean(axis=0)
                # 1 dB: as in the core's own tests.
                self.assertLess(np.abs(10.0 * np.log10(third_octaves(power, frequency))).max(), 1.0)

    def test_time_between_the_ears_is_woodworths(self):
        for azimuth in (-90, -60, -30, 0, 30, 45, 60, 120):
            with self.subTest(azimuth=azimuth):
                report, taps = self.ears("--azimuth", azimuth, "--elevation", 0)
                # The lag of the envelopes of what lies below 3 kHz, interpolated eight times.
                sos = signal.butter(4, [500.0, 3000.0], "bandpass", fs=48000, output="sos")
                fine = signal.resample_poly(signal.sosfilt(sos, taps, axis=1), 8, 1, axis=1)
                envelope = np.abs(signal.hilbert(fine, axis=1))
                lag = np.argmax(signal.correlate(envelope[1], envelope[0])) - fine.shape[1] + 1
                angle = math.asin(math.sin(math.radians(azimuth)))
                expected = 0.0875 / 343.0 * (angle + math.sin(angle))
                # The head is no sphere, and an envelope has no sharp front: 100 us.
                self.assertAlmostEqual(lag / 8 / 48000, expected, delta=100e-6)
                self.assertAlmostEqual(report["interauralSeconds"], expected, delta=45e-6)

    def test_sides_mirror_and_front_differs_from_rear(self):
        _, left = self.ears("--speaker", "front-left")
        _, right = self.ears("--speaker", "front-right")
        _, rear = self.ears("--speaker", "rear-left")
        self.assertLess(np.abs(left - right[::-1]).max(), 1e-3)
        self.assertGreater(np.abs(db(fft.rfft(left[1], 4096)) - db(fft.rfft(rear[1], 4096)))
                           [100:1000].max(), 6.0)

    def test_every_rate_gives_the_same_curves(self):
        _, expected = self.ears("--normalisation", "diffuse-field")
        frequency = np.geomspace(30.0, 16000.0, 200)
        for rate in (44100, 96000, 192000):
            with self.subTest(rate=rate):
                _, taps = self.ears("--normalisation", "diffuse-field", rate=rate)
                for ear in range(2):
                    _, one = signal.freqz(expected[ear], worN=frequency, fs=48000)
                    _, other = signal.freqz(taps[ear], worN=frequency, fs=rate)
                    # 0.5 dB: deep notches move with the last digit of their place.
                    self.assertLess(np.abs(db(one) - db(other)).max(), 0.5)


def peaking(centre, gain_db, q, rate):
    """A peaking filter of Orfanidis' usual analogue form, by scipy's bilinear transform."""
    w = 2.0 * rate * math.tan(math.pi * centre / rate)
    root = 10.0 ** (gain_db / 40.0)
    return signal.bilinear([1.0, root * w / q, w * w], [1.0, w / (root * q), w * w], rate)


class OnThisBike(unittest.TestCase):
    """Two bikes whose responses are known filters, recorded as their sweeps sound through them."""

    RATE = 48000
    NOW = ((150.0, -5.0, 0.8), (2500.0, 4.0, 1.2))
    WANTED = ((150.0, 3.0, 0.8), (900.0, -6.0, 1.0), (2500.0, -3.0, 1.2), (7000.0, 5.0, 1.0))
    LOUD = ((100.0, 20.0, 0.5), (2500.0, 4.0, 1.2))

    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        at = Path(cls.folder.name)
        run("signal", "sweep", "--seconds", 4, "--rate", cls.RATE, "--out", at / "sweep.wav")
        rate, sweep = read_wav(at / "sweep.wav")
        assert rate == cls.RATE
        # Full scale of 16 or 24 bits to 1, and room for the boost.
        sweep = 0.05 * sweep / np.abs(sweep).max()
        if sweep.ndim > 1:
            sweep = sweep[:, 0]
        for name, filters in (("now", cls.NOW), ("wanted", cls.WANTED), ("loud", cls.LOUD)):
            recorded = sweep
            for section in filters:
                recorded = signal.lfilter(*peaking(*section, cls.RATE), recorded)
            wavfile.write(at / f"{name}.wav", cls.RATE, recorded.astype(np.float32))
            run("measure", "--recording", at / f"{name}.wav", "--signal", at / "sweep.signal.json",
                "--profile", name, "--out", at / f"{name}.json")
        click = np.zeros((cls.RATE, 2), np.float32)
        click[100] = 0.1
        wavfile.write(at / "click.wav", cls.RATE, click)
        noise = 0.03 * np.random.default_rng(3).standard_normal((cls.RATE, 2))
        wavfile.write(at / "noise.wav", cls.RATE, noise.astype(np.float32))

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def listen(self, programme, *options):
        at = Path(self.folder.name)
        report = run("listen", "--on-this-bike", "--programme", at / programme, "--out",
                     at / "out.wav", "--bits", "32f", "--start-ramp", 0, *options)
        rate, samples = read_wav(at / "out.wav")
        self.assertEqual(rate, self.RATE)
        return report, samples

    def power(self, filters, frequency):
        response = np.ones(len(frequency), complex)
        for section in filters:
            response *= signal.freqz(*peaking(*section, self.RATE), worN=frequency,
                                     fs=self.RATE)[1]
        return np.abs(response) ** 2

    def expected(self, wanted, frequency):
        """The limited ratio of both powers, each a plain mean over a sixth of an octave."""
        inside = np.clip(frequency, 20.0, 20000.0)

        def smooth(filters):
            offsets = (np.arange(60) + 0.5) / 60 - 0.5
            return sum(self.power(filters, inside * 2.0 ** (offset / 6.0))
                       for offset in offsets) / 60

        gain = np.sqrt(smooth(wanted) / smooth(self.NOW))
        return np.clip(gain, 10.0 ** (-12.0 / 20.0), 10.0 ** (12.0 / 20.0))

    def test_what_the_bike_plays_now_passes_unchanged(self):
        now = Path(self.folder.name) / "now.json"
        _, programme = read_wav(Path(self.folder.name) / "noise.wav")
        for level in (0, -12):
            report, samples = self.listen("noise.wav", "--measured", now, "--now", now, "--level",
                                          level, "--ceiling", 0)
            self.assertTrue(report["onThisBike"]["isUnchanged"])
            # Rounding in single precision.
            self.assertLess(np.abs(samples - programme * 10.0 ** (level / 20.0)).max(), 1e-6)

    def test_the_difference_is_that_of_the_two_filters(self):
        at = Path(self.folder.name)
        size = 2**16
        frequency = np.arange(size // 2 + 1) * self.RATE / size
        for name, filters in (("wanted", self.WANTED), ("loud", self.LOUD)):
            with self.subTest(candidate=name):
                report, samples = self.listen("click.wav", "--measured", at / f"{name}.json",
                                              "--now", at / "now.json", "--level", -20)
                taps = samples[100:] / (0.1 * 10.0 ** (-20.0 / 20.0))
                gain = self.expected(filters, frequency)
                logs = np.log(np.concatenate([gain, gain[-2:0:-1]]))
                phase = -np.imag(signal.hilbert(logs))[: size // 2 + 1]
                # The sweep tells nothing beyond its range, and the measurement's window little of
                # the lowest octave.
                audible = (frequency >= 63.0) & (frequency <= 16000.0)
                for side in range(2):
                    found = fft.rfft(taps[:, side], size)
                    difference = (found / (gain * np.exp(1j * phase)))[audible]
                    # Kernels begin 1.5 ms before the sound arrives, so they lack some tenths of a
                    # decibel in the bass, not the same of both bikes; last seen 0.37 dB.
                    self.assertLess(np.abs(db(difference)).max(), 0.5)
                    self.assertLess(np.abs(np.angle(difference)).max(), math.radians(3.0))
                self.assertAlmostEqual(report["onThisBike"]["highestGainDb"], db(gain).max(),
                                       delta=0.3)
                if name == "loud":
                    self.assertGreater(report["onThisBike"]["limitedProportion"], 0.05)
                    self.assertLessEqual(report["onThisBike"]["highestGainDb"], 12.0)


if __name__ == "__main__":
    program = sys.argv.pop(1)
    unittest.main()
