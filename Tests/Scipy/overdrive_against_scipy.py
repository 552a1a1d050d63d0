"""Holds the overdrive model against simulated speakers of this file's own.

A speaker is played a sweep track at several levels through a recorder of its own clock; the program
measures, fits and renders tones; scipy and numpy fit their harmonics, which are held against the
speaker's own, known in closed form.

Usage: overdrive_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import os
import subprocess
import sys
import tempfile
import unittest
import warnings
from pathlib import Path

import numpy as np
from scipy import fft
from scipy.io import wavfile
from scipy.special import i0

program = None
RATE = 48000
RAISED = 4 * RATE
# What power n of a sine holds of harmonic k, by the multiple-angle formulas.
SHARES = {(1, 1): 1, (1, 3): 3 / 4, (1, 5): 5 / 8, (2, 2): -0.5j, (2, 4): -0.5j, (3, 3): -1 / 4,
          (3, 5): -5 / 16, (4, 4): 1j / 8, (5, 5): 1 / 16}
TONES = [50, 63, 80, 125, 200, 315, 500, 800, 1250, 2000]


def call(*arguments):
    return subprocess.run([program, *map(str, arguments)], capture_output=True, text=True, check=False)


def run(*arguments):
    """Runs the program; its result as JSON, or a failed test with its message."""
    done = call("--json", *arguments)
    if done.returncode != 0:
        raise AssertionError(f"{arguments} ended with {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def read_wav(path):
    with warnings.catch_warnings():
        # libsndfile adds a chunk to float files that scipy passes over.
        warnings.simplefilter("ignore", wavfile.WavFileWarning)
        rate, samples = wavfile.read(path)
    scale = {np.dtype(np.int16): 2.0**15, np.dtype(np.int32): 2.0**31}.get(samples.dtype, 1.0)
    return rate, samples.astype(np.float64) / scale


def db(amplitude):
    return 20.0 * np.log10(np.abs(amplitude))


def high_pass(f, corner, q):
    s = 1j * f / corner
    return s * s / (1 + s / q + s * s)


def low_pass(f, corner, q):
    s = 1j * f / corner
    return 1 / (1 + s / q + s * s)


def peak(f, centre, q, gain):
    s = 1j * f / centre
    return (1 + s * gain / q + s * s) / (1 + s / q + s * s)


def room(f):
    """The way to the microphone: a small speaker's band and two reflections."""
    return 0.6 * high_pass(f, 45.0, 0.7) * low_pass(f, 17000.0, 0.7) * peak(f, 1600.0, 1.5, 0.6) * (
        1 + 0.2 * np.exp(-2j * np.pi * f * 0.0031) + 0.1 * np.exp(-2j * np.pi * f * 0.0087))


class Speaker:
    """Sum over powers n of coefficient n times filter n of (drive filter of x)^n; power 1 included."""

    def __init__(self, coefficients, drive, filters):
        self.coefficients = coefficients
        self.drive = drive
        self.filters = filters

    def play(self, track):
        """At RAISED, from a track at RATE: no power of what the track holds folds there."""
        frames = 1 << int(np.ceil(np.log2(4 * len(track) + RAISED)))
        f = fft.rfftfreq(frames, 1 / RAISED)
        short = 4 * fft.rfft(track, frames // 4)[:-1]
        driven = fft.irfft(short * self.drive(f[: len(short)]), frames)
        f = f[f <= 0.47 * RATE]  # a recorder's filter
        total = np.zeros(len(f), complex)
        for power, coefficient in enumerate(self.coefficients, 1):
            total += coefficient * fft.rfft(driven**power)[: len(f)] * self.filters[power - 1](f)
        return fft.irfft(total, frames)[: 4 * len(track) + RAISED // 2]

    def harmonics(self, f, amplitude):
        """Complex amplitudes of harmonics 1 to 5 of a sine."""
        driven = self.drive(np.array([float(f)]))[0]
        result = np.zeros(5, complex)
        for (order, power), share in SHARES.items():
            result[order - 1] += (share * self.coefficients[power - 1] * (amplitude * abs(driven)) ** power
                                  * np.exp(1j * order * np.angle(driven))
                                  * self.filters[power - 1](np.array([float(order * f)]))[0])
        return result


def filtered_polynomial():
    """Filter, polynomial, filter: a bass boost ahead of the distortion."""
    def drive(f):
        return high_pass(f, 35.0, 0.8) * peak(f, 90.0, 0.8, 1.6) * low_pass(f, 9000.0, 0.6)
    return Speaker([1.0, 0.28, -1.5, 3.0, -9.0], drive, [room] * 5)


def hammerstein():
    """Every power with a filter of its own."""
    filters = [room] + [
        lambda f, n=n: room(f) * peak(f, 300.0 * n, 0.7, (0.5, 1.8, 0.6, 1.5)[n - 2]) * np.exp(-2j * np.pi * f * 5e-5 * n)
        for n in range(2, 6)]
    return Speaker([1.0, 0.3, -3.0, 5.0, -30.0], lambda f: np.ones(len(f)), filters)


def record(sound, ppm, seed, noise=2e-6):
    """What a recorder of a clock of its own takes down of a sound at RAISED."""
    ratio = RAISED / (RATE * (1 + ppm * 1e-6))
    times = np.arange(int((len(sound) - 1) / ratio)) * ratio
    whole = np.floor(times).astype(int)
    padded = np.pad(sound, 16)
    taken = np.zeros(len(times))
    # A sinc of 24 taps under a Kaiser window; the sound fills a quarter of the band.
    for tap in range(-11, 13):
        distance = times - whole - tap
        window = i0(10.0 * np.sqrt(np.maximum(0.0, 1 - (distance / 12.0) ** 2))) / i0(10.0)
        taken += padded[whole + tap + 16] * np.sinc(0.6 * distance) * 0.6 * window
    lead, tail = RATE + 17 * seed, RATE
    samples = np.concatenate([np.zeros(lead), taken, np.zeros(tail)])
    return samples + noise * np.random.default_rng(seed).standard_normal(len(samples))


def tone_harmonics(samples, f):
    """Harmonics 1 to 5 of a steady tone by least squares, phases from the first sample."""
    t = np.arange(len(samples)) / RATE
    columns = [np.ones(len(t))]
    for order in range(1, 6):
        columns += [np.sin(2 * np.pi * order * f * t), np.cos(2 * np.pi * order * f * t)]
    solution = np.linalg.lstsq(np.array(columns).T, samples, rcond=None)[0]
    return solution[1::2] + 1j * solution[2::2]


class Bench:
    """A speaker measured at several levels, as a shop would."""

    def __init__(self, folder, speaker, levels_db, noise=2e-6):
        self.at = Path(folder)
        self.speaker = speaker
        track = self.at / "sweep.wav"
        run("signal", "sweep", "--out", track, "--seconds", 12, "--level", -12, "--bits", "32f")
        _, samples = read_wav(track)
        self.states = []
        for index, level in enumerate(levels_db):
            sound = speaker.play(samples * 10 ** (level / 20))
            recording = self.at / f"take{index}.wav"
            taken = record(sound, (35.0, -80.0, 12.0)[index % 3], index + 1, noise)
            wavfile.write(recording, RATE, taken.astype(np.float32))
            state = self.at / f"state{index}.json"
            run("measure", "--recording", recording, "--signal", self.at / "sweep.signal.json", "--out", state)
            self.states.append(state)
        self.amplitude = 10 ** (-12 / 20)

    def render(self, level_db):
        """Harmonics by tone, as the program renders them."""
        half = RATE // 2
        amplitude = self.amplitude * 10 ** (level_db / 20)
        programme = np.concatenate([amplitude * np.sin(2 * np.pi * f * np.arange(half) / RATE) for f in TONES])
        wavfile.write(self.at / "tones.wav", RATE, programme.astype(np.float32))
        run("overdrive", "--model", self.at / "model.json", "--programme", self.at / "tones.wav",
            "--render", self.at / "rendered.wav", "--block", 333)
        _, rendered = read_wav(self.at / "rendered.wav")
        # Behind the settling, and ahead of the next tone.
        return [tone_harmonics(rendered[index * half + half // 2 : (index + 1) * half - 200, 0], f)
                for index, f in enumerate(TONES)]


def measured(*states):
    return [word for state in states for word in ("--measured", state)]


class OverdriveAgainstScipy(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folders = [tempfile.TemporaryDirectory() for _ in range(3)]
        levels = [0.0, -4.0, -8.0]
        cls.filtered = Bench(cls.folders[0].name, filtered_polynomial(), levels)
        cls.powers = Bench(cls.folders[1].name, hammerstein(), levels)
        linear = Speaker([1.0, 0.0, 0.0, 0.0, 0.0], lambda f: np.ones(len(f)), [room] * 5)
        cls.linear = Bench(cls.folders[2].name, linear, levels[:2], noise=1e-4)

    @classmethod
    def tearDownClass(cls):
        for folder in cls.folders:
            folder.cleanup()

    def check(self, bench):
        result = run("overdrive", *measured(*bench.states), "--out", bench.at / "model.json")
        self.assertTrue(result["speaks"])
        for take, level in zip(result["takes"], (-12.0, -16.0, -20.0)):
            self.assertAlmostEqual(take["driveDbfs"], level, delta=0.1)
        worst = np.zeros(5)
        # At the measured levels and between them.
        for level in (0.0, -2.0, -4.0, -6.0, -8.0):
            for f, rendered in zip(TONES, bench.render(level)):
                truth = bench.speaker.harmonics(f, bench.amplitude * 10 ** (level / 20))
                worst = np.maximum(worst, np.abs(db(rendered) - db(truth)))
        self.assertLess(np.max(worst[1:]), 1.0, np.round(worst, 2))
        self.assertLess(worst[0], 0.5, np.round(worst, 2))
        return result

    def test_a_filter_a_polynomial_and_a_filter(self):
        # Only a filter ahead of the powers explains how these harmonics grow with level.
        self.assertGreater(self.check(self.filtered)["driveFilterSections"], 0)

    def test_powers_with_filters_of_their_own(self):
        self.assertEqual(self.check(self.powers)["driveFilterSections"], 0)

    def refused(self, states, words):
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "model.json"
            done = call("overdrive", *measured(*states), "--out", out)
            self.assertEqual(done.returncode, 1, done.stdout)
            self.assertIn(words, done.stderr)
            self.assertFalse(out.exists())

    def test_one_level_tells_nothing_of_growth(self):
        self.refused(self.powers.states[:1], "one drive level only")

    def test_a_speaker_without_distortion_is_left_alone(self):
        self.refused(self.linear.states, "does not stand above the noise")

    def test_levels_of_two_different_speakers_disagree(self):
        result = call("--json", "overdrive", *measured(self.powers.states[0], self.filtered.states[2]),
                      "--out", self.powers.at / "mixed.json")
        said = result.stderr + "".join(order["words"] for order in json.loads(result.stdout)["orders"]) \
            if result.returncode == 0 else result.stderr
        self.assertIn("levels disagree", said)


if __name__ == "__main__":
    program = os.path.abspath(sys.argv.pop(1))
    unittest.main()
