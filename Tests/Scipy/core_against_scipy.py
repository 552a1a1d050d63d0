"""Holds the command-line program against scipy, which shares no code with it.

Usage: core_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import math
import subprocess
import sys
import tempfile
import unittest
import warnings
import zlib
from pathlib import Path

import numpy as np
from scipy import interpolate, signal
from scipy.io import wavfile

program = None


def run(*arguments):
    """Runs the program; its result as JSON, or a failed test with its message."""
    command = [program, "--json", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise AssertionError(f"{command} ended with {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def read_wav(path):
    """Sample rate and samples in -1..1, one column a channel."""
    with warnings.catch_warnings():
        # libsndfile adds a chunk to float files that scipy passes over.
        warnings.simplefilter("ignore", wavfile.WavFileWarning)
        rate, samples = wavfile.read(path)
    if samples.dtype == np.int16:
        samples = samples / 2.0**15
    elif samples.dtype == np.int32:  # also 24 bits, which scipy shifts up
        samples = samples / 2.0**31
    return rate, samples.astype(np.float64)


def read_table(path):
    return np.genfromtxt(path, delimiter=",", names=True)


def db(power):
    return 10.0 * np.log10(power)


def a_weighting_power(frequency):
    """IEC 61672-1, from its poles."""
    f2 = np.square(frequency)
    magnitude = (12194.217148**2 * f2**2) / (
        (f2 + 20.598997**2)
        * np.sqrt((f2 + 107.652649**2) * (f2 + 737.862231**2))
        * (f2 + 12194.217148**2)
    )
    return np.square(magnitude * 10.0 ** (1.99966 / 20.0))


def band_power(frequency, density, lower, upper):
    """Power between two frequencies of a density on an even grid, lines at the edges in part."""
    step = frequency[1] - frequency[0]
    inside = np.minimum(upper, frequency + step / 2) - np.maximum(lower, frequency - step / 2)
    return np.sum(np.clip(inside, 0.0, step) * density)


def third_octaves(lowest, highest):
    """Centres by IEC 61260-1, base ten: bands 14 (25 Hz) to 43 (20 kHz)."""
    return [10.0 ** (band / 10.0) for band in range(lowest, highest + 1)]


def write_state(folder, rate, impulse):
    """A bike state as the program stores it, around an impulse response of our own."""
    impulse_file = folder / "bike.impulse.wav"
    wavfile.write(impulse_file, rate, impulse.astype(np.float32))
    state = {
        "kind": "saddletone-state",
        "schemaVersion": 1,
        "name": "bike",
        "sampleRate": rate,
        "arrivalFrame": 0,
        "fromHz": 20.0,
        "toHz": 20000.0,
        "impulse": {
            "file": impulse_file.name,
            "checksum": f"{zlib.crc32(impulse_file.read_bytes()):08x}",
        },
    }
    path = folder / "bike.json"
    path.write_text(json.dumps(state), encoding="utf-8")
    return path


class PinkNoise(unittest.TestCase):
    """`signal pink` against Welch's spectrum and a periodogram."""

    def test_slope_is_three_decibels_an_octave(self):
        with tempfile.TemporaryDirectory() as folder:
            for bits in ("16", "24", "32f"):
                path = Path(folder) / "pink.wav"
                run("signal", "pink", "--out", path, "--seconds", 60, "--bits", bits)
                rate, samples = read_wav(path)
                frequency, density = signal.welch(samples, rate, nperseg=1 << 15)
                used = (frequency > 40.0) & (frequency < 16000.0)
                # Evenly over log frequency, or the highest octave alone would decide.
                weight = 1.0 / np.sqrt(frequency[used])
                slope = np.polyfit(np.log2(frequency[used]), db(density[used]), 1, w=weight)[0]
                self.assertAlmostEqual(slope, -10.0 * math.log10(2.0), delta=0.02)

    def test_third_octaves_are_flat_and_the_level_is_right(self):
        with tempfile.TemporaryDirectory() as folder:
            for rate in (44100, 48000, 88200, 96000):
                path = Path(folder) / "pink.wav"
                run("signal", "pink", "--out", path, "--seconds", 60, "--rate", rate)
                found_rate, samples = read_wav(path)
                self.assertEqual(found_rate, rate)
                # AES17: a full-scale sine reads 0 dBFS.
                self.assertAlmostEqual(db(2.0 * np.mean(samples**2)), -20.0, delta=0.01)
                frequency, density = signal.periodogram(samples, rate, detrend=False)
                edge = 10.0**0.05
                levels = np.array(
                    [
                        db(band_power(frequency, density, centre / edge, centre * edge))
                        for centre in third_octaves(14, 43)
                    ]
                )
                deviation = levels - np.mean(levels)
                self.assertLess(np.max(np.abs(deviation)), 0.3, f"{rate} Hz: {deviation}")


class SimulatedBike:
    """Filters that stand for radio, speakers and place."""

    def __init__(self, rate):
        self.rate = rate
        self.sections = [
            signal.butter(2, 55.0, "highpass", fs=rate, output="sos"),
            signal.butter(2, 17000.0, "lowpass", fs=rate, output="sos"),
        ]
        # A resonator added to the signal itself is a peak of so much; taken away it is a dip.
        self.resonances = [(110.0, 2.5, 0.9), (420.0, 3.0, -0.4), (2600.0, 2.0, 1.1)]
        self.gain = 0.3

    def filter(self, samples):
        for sections in self.sections:
            samples = signal.sosfilt(sections, samples)
        for frequency, q, share in self.resonances:
            b, a = signal.iirpeak(frequency, q, fs=self.rate)
            samples = samples + share * signal.lfilter(b, a, samples)
        return self.gain * samples

    def response(self, frequency):
        total = np.full(len(frequency), self.gain, dtype=complex)
        for sections in self.sections:
            total *= signal.sosfreqz(sections, worN=frequency, fs=self.rate)[1]
        for resonance, q, share in self.resonances:
            b, a = signal.iirpeak(resonance, q, fs=self.rate)
            total *= 1.0 + share * signal.freqz(b, a, worN=frequency, fs=self.rate)[1]
        return total


def record(samples, ratio, lead_seconds, tail_seconds, rate):
    """What a recorder takes whose clock runs ratio times as fast as the player's: band-limited
    interpolation at eight times the rate (exact, by the spectrum), then a cubic spline, whose error
    at 16 kHz and 384 kHz is below -90 dB."""
    oversampling = 8
    padded = np.concatenate(
        [np.zeros(int(lead_seconds * rate)), samples, np.zeros(int(tail_seconds * rate))]
    )
    fine = signal.resample(padded, len(padded) * oversampling)
    curve = interpolate.CubicSpline(np.arange(len(fine)) / oversampling, fine)
    frames = int((len(padded) - 16) * ratio)
    return curve(np.arange(frames) / ratio)


class MeasuredResponse(unittest.TestCase):
    """`measure` against a bike whose response scipy knows."""

    def measure(self, folder, rate, ppm, snr_db, seed):
        bike = SimulatedBike(rate)
        track = folder / "sweep.wav"
        run("signal", "sweep", "--out", track, "--seconds", 12, "--rate", rate, "--bits", "32f")
        played = read_wav(track)[1]
        heard = record(bike.filter(played), 1.0 + ppm * 1e-6, 0.7712345, 0.6, rate)
        loud = heard[np.abs(heard) > 0.05 * np.max(np.abs(heard))]
        level = np.sqrt(np.mean(loud**2))
        noise = np.random.default_rng(seed).standard_normal(len(heard))
        heard = heard + noise * level * 10.0 ** (-snr_db / 20.0)
        recording = folder / "recording.wav"
        wavfile.write(recording, rate, heard.astype(np.float32))
        table = folder / "table.csv"
        impulse = folder / "impulse.wav"
        result = run(
            "measure", "--recording", recording, "--signal", folder / "sweep.signal.json",
            "--out", folder / "state.json", "--table", table, "--impulse", impulse,
        )
        return bike, result, read_table(table)

    @staticmethod
    def expected_db(bike, centres):
        """Power averaged over the twenty-fourth of an octave round each frequency."""
        levels = []
        half = 2.0 ** (1.0 / 48.0)
        for centre in centres:
            grid = np.linspace(centre / half, centre * half, 33)
            levels.append(db(np.mean(np.abs(bike.response(grid)) ** 2)))
        return np.array(levels)

    def test_the_measured_curve_is_the_bikes(self):
        for rate, ppm in ((48000, 200.0), (44100, -73.5), (48000, 0.0)):
            with self.subTest(rate=rate, ppm=ppm), tempfile.TemporaryDirectory() as folder:
                bike, result, table = self.measure(Path(folder), rate, ppm, 40.0, seed=rate)
                self.assertAlmostEqual(result["clockPpm"], ppm, delta=0.5)
                used = (table["frequency_hz"] >= 40.0) & (table["frequency_hz"] <= 16000.0)
                centres = table["frequency_hz"][used]
                error = table["level_db"][used] - self.expected_db(bike, centres)
                worst = int(np.argmax(np.abs(error)))
                self.assertLess(
                    abs(error[worst]), 0.1, f"{error[worst]:.3f} dB at {centres[worst]:.1f} Hz"
                )


class Audition(unittest.TestCase):
    """`listen` against scipy's convolution and spectrum."""

    rate = 48000

    def bike(self, folder):
        random = np.random.default_rng(2)
        frames = int(0.3 * self.rate)
        impulse = random.standard_normal(frames) * np.exp(-np.arange(frames) / (0.03 * self.rate))
        impulse[0] = 2.0
        return write_state(folder, self.rate, impulse), impulse.astype(np.float32)

    def test_parked_it_is_the_convolution_with_the_impulse(self):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            state, impulse = self.bike(folder)
            random = np.random.default_rng(3)
            # Two channels that differ, of an odd length.
            programme = (0.05 * random.standard_normal((3 * self.rate + 77, 2))).astype(np.float32)
            wavfile.write(folder / "programme.wav", self.rate, programme)
            run(
                "listen", "--measured", state, "--programme", folder / "programme.wav",
                "--speed-mph", 0, "--helmet", "none", "--start-ramp", 0, "--level", -20,
                "--ceiling", 0, "--bits", "32f", "--out", folder / "heard.wav",
            )
            heard = read_wav(folder / "heard.wav")[1]
            self.assertEqual(heard.shape, programme.shape)
            # The ceiling is untouched, or the comparison would mean nothing.
            self.assertLess(np.max(np.abs(heard)), 0.99)
            expected = np.stack(
                [
                    signal.fftconvolve(programme[:, ear].astype(float), impulse.astype(float))
                    for ear in (0, 1)
                ],
                axis=1,
            )[: len(programme)]
            gain = np.sum(heard * expected) / np.sum(expected**2)
            error = np.sum((heard - gain * expected) ** 2) / np.sum(heard**2)
            self.assertGreater(gain, 0.0)
            self.assertLess(db(error), -110.0)

    def test_the_start_rises_from_silence_and_then_is_the_same(self):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            state, impulse = self.bike(folder)
            random = np.random.default_rng(4)
            programme = (0.05 * random.standard_normal(3 * self.rate)).astype(np.float32)
            wavfile.write(folder / "programme.wav", self.rate, programme)
            run(
                "listen", "--measured", state, "--programme", folder / "programme.wav",
                "--helmet", "none", "--level", -20, "--ceiling", 0, "--bits", "32f",
                "--out", folder / "heard.wav",
            )
            heard = read_wav(folder / "heard.wav")[1][:, 0]
            expected = signal.fftconvolve(programme.astype(float), impulse.astype(float))
            expected = expected[: len(programme)]
            after = slice(self.rate + 1000, None)
            gain = np.sum(heard[after] * expected[after]) / np.sum(expected[after] ** 2)
            error = np.sum((heard[after] - gain * expected[after]) ** 2) / np.sum(heard[after] ** 2)
            self.assertLess(db(error), -110.0)
            start = slice(0, self.rate // 20)
            self.assertLess(
                np.sum(heard[start] ** 2), 0.1 * np.sum((gain * expected[start]) ** 2)
            )

    def test_ride_noise_has_its_level_and_spectrum(self):
        # Octave levels re the A-weighted level, as documented for a full-face helmet.
        octaves = {
            31.5: 5.4, 63.0: 8.4, 125.0: 7.4, 250.0: 4.4, 500.0: -1.6,
            1000.0: -9.6, 2000.0: -18.6, 4000.0: -27.6, 8000.0: -37.6,
        }
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            state, _ = self.bike(folder)
            run("signal", "silence", "--out", folder / "silence.wav", "--seconds", 60)
            for speed_mph in (40.0, 70.0):
                result = run(
                    "listen", "--measured", state, "--programme", folder / "silence.wav",
                    "--noise-only", "--speed-mph", speed_mph, "--helmet", "full", "--engine", "off",
                    "--start-ramp", 0,
                    "--level", -20, "--ceiling", 0, "--bits", "32f", "--out", folder / "wind.wav",
                )
                # Binnington, McCombe and Harris 1993: 90 dB(A) at 40 mph; slope fitted to it and
                # to three further points.
                wind = 90.0 + 54.0 * math.log10(speed_mph * 1.609344 / 64.4)
                self.assertAlmostEqual(result["windSplDba"], wind, delta=0.01)
                samples = read_wav(folder / "wind.wav")[1]
                self.assertLess(np.max(np.abs(samples)), 0.99)
                for ear in (0, 1):
                    frequency, density = signal.welch(
                        samples[:, ear], self.rate, nperseg=1 << 15, detrend=False
                    )
                    step = frequency[1]
                    weighted = np.sum(density * a_weighting_power(frequency)) * step
                    level = db(2.0 * weighted)
                    # Gusts of 1.5 dB that last 1.5 s leave the mean of a minute uncertain by 0.3 dB.
                    self.assertAlmostEqual(level, wind + result["scaleDb"], delta=1.0)
                    # The table holds at 100 km/h; at another speed the same shape stands at
                    # frequencies in proportion to it, and its A-weighted sum is another one.
                    shift = speed_mph * 1.609344 / 100.0
                    deviations = []
                    for centre, expected in octaves.items():
                        power = band_power(
                            frequency,
                            density,
                            shift * centre / math.sqrt(2.0),
                            shift * centre * math.sqrt(2.0),
                        )
                        deviations.append(db(2.0 * power) - level - expected)
                    for deviation in deviations:
                        self.assertAlmostEqual(
                            deviation, float(np.median(deviations)), delta=0.6, msg=deviations
                        )


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    program = sys.argv.pop(1)
    unittest.main(verbosity=2)
