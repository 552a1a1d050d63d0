"""Holds candidates of several speaker groups against scipy: `listen` and `predict` with --group, from
states of our own and from states that the program measures out of one recording.

Usage: groups_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
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

RATE = 48000
GROUPS = ("front-left", "front-right", "rear-left", "rear-right")


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
        return wavfile.read(file)[1].astype(float)


def db(power):
    return 10.0 * np.log10(power)


def write_state(folder, group, impulse, later_seconds):
    """A state as the program stores it: one of several parts of one recording."""
    file = folder / f"{group}.impulse.wav"
    wavfile.write(file, RATE, impulse.astype(np.float32))
    start = 16.0 * GROUPS.index(group)
    state = {
        "kind": "saddletone-state",
        "schemaVersion": 1,
        "name": group,
        "state": {"speakers": group},
        "sampleRate": RATE,
        "arrivalFrame": 0,
        "fromHz": 20.0,
        "toHz": 20000.0,
        "recordingChecksum": "cafe0123",
        "trackStartSeconds": start,
        "arrivalSeconds": 2.0 + start + later_seconds,
        "impulse": {
            "file": file.name,
            "checksum": f"{zlib.crc32(file.read_bytes()):08x}",
        },
    }
    path = folder / f"{group}.json"
    path.write_text(json.dumps(state), encoding="utf-8")
    return path


def write_tuning(folder, chains):
    path = folder / "tuning.json"
    path.write_text(
        json.dumps(
            {
                "kind": "saddletone-tuning",
                "schemaVersion": 2,
                "name": "groups",
                "chains": [{"group": g, "elements": e} for g, e in chains],
            }
        ),
        encoding="utf-8",
    )
    return path


def with_groups(states):
    """The arguments for all of them."""
    return ["--measured", states[0]] + [
        part for state in states[1:] for part in ("--group", state)
    ]


def whole_of_share(samples):
    """One side on the scale of a whole bike: 3 dB, and 3 dB more below 600 Hz by the shelf of R.
    Bristow-Johnson's cookbook."""
    gain = math.sqrt(2.0)
    amplitude = math.sqrt(gain)
    omega = 2.0 * math.pi * 600.0 / RATE
    alpha = math.sin(omega) / (2.0 * math.sqrt(0.5))
    cosine = math.cos(omega)
    root = 2.0 * math.sqrt(amplitude) * alpha
    b = amplitude * np.array(
        [
            (amplitude + 1) - (amplitude - 1) * cosine + root,
            2 * ((amplitude - 1) - (amplitude + 1) * cosine),
            (amplitude + 1) - (amplitude - 1) * cosine - root,
        ]
    )
    a = np.array(
        [
            (amplitude + 1) + (amplitude - 1) * cosine + root,
            -2 * ((amplitude - 1) + (amplitude + 1) * cosine),
            (amplitude + 1) + (amplitude - 1) * cosine - root,
        ]
    )
    return signal.lfilter(b / a[0], a / a[0], gain * samples)


def residual_db(found, expected):
    gain = np.sum(found * expected) / np.sum(expected**2)
    return db(np.sum((found - gain * expected) ** 2) / np.sum(found**2))


class FourGroups(unittest.TestCase):
    """Four states of our own, whose sum scipy convolves."""

    def states(self, folder, frames_later):
        random = np.random.default_rng(5)
        self.impulses = {}
        paths = []
        for group, later in zip(GROUPS, frames_later):
            impulse = random.standard_normal(9600) * np.exp(-np.arange(9600) / 900.0)
            self.impulses[group] = impulse.astype(np.float32).astype(float)
            paths.append(write_state(folder, group, impulse, later / RATE))
        return paths

    def test_what_is_heard_is_the_convolution_with_the_sum_of_each_side(self):
        later = (0, 7, 31, 58)
        gains = {"front-left": 1.0, "front-right": 1.0, "rear-left": 10 ** (-3 / 20),
                 "rear-right": -(10 ** (-3 / 20))}
        delays = {"front-left": 120, "front-right": 120, "rear-left": 0, "rear-right": 0}
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            states = self.states(folder, later)
            tuning = write_tuning(
                folder,
                [
                    ("front", [{"type": "delay", "delayMs": 2.5}]),
                    ("rear", [{"type": "gain", "gainDb": -3.0}]),
                    ("rear-right", [{"type": "polarity"}]),
                ],
            )
            random = np.random.default_rng(6)
            programme = (0.05 * random.standard_normal((2 * RATE + 77, 2))).astype(np.float32)
            wavfile.write(folder / "programme.wav", RATE, programme)
            result = run(
                "listen", *with_groups(states), "--tuning", tuning,
                "--programme", folder / "programme.wav", "--helmet", "none", "--start-ramp", 0,
                "--level", -30, "--ceiling", 0, "--bits", "32f", "--out", folder / "heard.wav",
            )
            self.assertEqual(result["groups"]["sum"], "timed")
            self.assertFalse(result["groups"]["isEstimate"])
            for index, state in enumerate(result["groups"]["states"]):
                self.assertAlmostEqual(state["laterMs"], 1000.0 * later[index] / RATE, places=6)
            heard = read_wav(folder / "heard.wav")
            self.assertLess(np.max(np.abs(heard)), 0.99)
            expected = np.zeros_like(heard)
            for ear, side in enumerate(("left", "right")):
                total = np.zeros(len(programme) + 20000)
                for group, late in zip(GROUPS, later):
                    if not group.endswith(side):
                        continue
                    sound = signal.fftconvolve(programme[:, ear].astype(float), self.impulses[group])
                    shift = late + delays[group]
                    total[shift : shift + len(sound)] += gains[group] * sound
                expected[:, ear] = whole_of_share(total)[: len(heard)]
            self.assertLess(residual_db(heard, expected), -110.0)

    def test_placed_it_is_the_sum_of_each_group_through_its_own_ears(self):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            later = (0, 7, 31, 58)
            states = self.states(folder, later)
            random = np.random.default_rng(7)
            programme = (0.05 * random.standard_normal((RATE + 13, 2))).astype(np.float32)
            wavfile.write(folder / "programme.wav", RATE, programme)
            run(
                "listen", *with_groups(states), "--binaural",
                "--programme", folder / "programme.wav", "--helmet", "none", "--start-ramp", 0,
                "--level", -30, "--ceiling", 0, "--bits", "32f", "--out", folder / "heard.wav",
            )
            heard = read_wav(folder / "heard.wav")
            expected = np.zeros((len(programme) + 30000, 2))
            for group, late in zip(GROUPS, later):
                ears = folder / f"{group}.ears.wav"
                run("placement", "--speaker", group, "--rate", RATE, "--out", ears)
                ways = read_wav(ears)
                channel = 0 if group.endswith("left") else 1
                sound = signal.fftconvolve(programme[:, channel].astype(float), self.impulses[group])
                for ear in (0, 1):
                    at_ear = signal.fftconvolve(sound, ways[:, ear])
                    expected[late : late + len(at_ear), ear] += at_ear
            self.assertLess(residual_db(heard, expected[: len(heard)]), -100.0)

    def test_in_power_the_spectrum_is_that_of_the_sum_of_powers(self):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            states = self.states(folder, (0, 7, 31, 58))[:1] + self.states(folder, (0, 0, 9, 0))[2:3]
            tuning = write_tuning(folder, [("rear-left", [{"type": "gain", "gainDb": -6.0}])])
            table = folder / "table.csv"
            result = run(
                "predict", *with_groups(states), "--group-power", "--tuning", tuning,
                "--table", table,
            )
            self.assertTrue(result["groups"]["isEstimate"])
            found = np.genfromtxt(table, delimiter=",", names=True)
            spectra = {
                g: np.abs(np.fft.rfft(self.impulses[g], 1 << 18)) ** 2
                for g in ("front-left", "rear-left")
            }
            power = spectra["front-left"] + 10 ** (-0.6) * spectra["rear-left"]
            frequency = np.fft.rfftfreq(1 << 18, 1.0 / RATE)
            half = 2.0 ** (1.0 / 6.0)
            for centre in (100.0, 400.0, 1000.0, 3000.0, 10000.0):
                used = (frequency > centre / half) & (frequency < centre * half)
                near = (found["frequency_hz"] > centre / half) & (
                    found["frequency_hz"] < centre * half
                )
                level = db(np.mean(10.0 ** (found["level_db"][near] / 10.0)))
                self.assertAlmostEqual(level, db(np.mean(power[used])), delta=0.6)


class MeasuredGroups(unittest.TestCase):
    """Four groups that play one after the other, one recording, a recorder with its own clock."""

    ppm = 61.0
    later_seconds = {"front-left": 0.0021, "front-right": 0.0026, "rear-left": 0.00137,
                     "rear-right": 0.0018}

    def response(self, group, frequency):
        """A small speaker: two poles at each end, and its way to the head."""
        index = GROUPS.index(group)
        s = 2j * np.pi * np.maximum(frequency, 1e-3)
        low = 2.0 * math.pi * (70.0 + 15.0 * index)
        high = 2.0 * math.pi * (15000.0 + 500.0 * index)
        shape = s**2 / (s**2 + 1.2 * low * s + low**2)
        shape = shape * high**2 / (s**2 + 1.4 * high * s + high**2)
        return (0.2 - 0.03 * index) * shape * np.exp(-s * self.later_seconds[group])

    def test_measured_one_by_one_they_make_what_all_of_them_are(self):
        ratio = 1.0 + self.ppm * 1e-6
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            run("signal", "sweep", "--out", folder / "sweep.wav", "--seconds", 6, "--rate", RATE,
                "--bits", "32f")
            track = read_wav(folder / "sweep.wav")
            size = 1 << int(math.ceil(math.log2(len(track) + 2 * RATE)))
            spectrum = np.fft.rfft(track, size)
            frequency = np.fft.rfftfreq(size, 1.0 / RATE)
            spacing = len(track) / RATE + 1.0
            lead = 0.7712345
            length = int((lead + spacing * len(GROUPS) + 1.5) * RATE)
            recording = np.zeros(length)
            for index, group in enumerate(GROUPS):
                sound = spectrum * self.response(group, frequency)
                # Eight times the rate by the spectrum, then a cubic spline: below -90 dB at 16 kHz.
                fine = 8.0 * np.fft.irfft(np.concatenate([sound, np.zeros(7 * size // 2)]), 8 * size)
                curve = interpolate.CubicSpline(np.arange(len(fine)) / 8.0 / RATE, fine)
                start = lead + spacing * index
                frames = np.arange(
                    int(math.ceil(start * RATE * ratio)),
                    int((start + (size - 16) / RATE) * RATE * ratio),
                )
                frames = frames[frames < length]
                recording[frames] += curve(frames / (RATE * ratio) - start)
            recording += 1e-5 * np.random.default_rng(8).standard_normal(length)
            wavfile.write(folder / "recording.wav", RATE, recording.astype(np.float32))
            states = []
            for index, group in enumerate(GROUPS):
                states.append(folder / f"{group}.json")
                run(
                    "measure", "--recording", folder / "recording.wav",
                    "--signal", folder / "sweep.signal.json", "--speakers", group,
                    "--track-start", spacing * index,
                    "--part-from", max(0.0, lead + spacing * index - 0.6),
                    "--part-to", lead + spacing * (index + 1) - 0.4, "--out", states[-1],
                )
            tuning = write_tuning(folder, [("rear", [{"type": "delay", "delayMs": 0.8}])])
            table = folder / "table.csv"
            result = run("predict", *with_groups(states), "--tuning", tuning, "--table", table)
            earliest = min(self.later_seconds.values())
            for state in result["groups"]["states"]:
                # A tenth of a frame: the arrival frame is that of the loudest sample.
                self.assertAlmostEqual(
                    state["laterMs"],
                    1000.0 * (self.later_seconds[state["speakers"]] - earliest),
                    delta=1000.0 / RATE,
                )
            found = np.genfromtxt(table, delimiter=",", names=True)
            used = (found["frequency_hz"] > 60.0) & (found["frequency_hz"] < 12000.0)
            for column, delay in (("measured_db", 0.0), ("level_db", 0.0008)):
                errors = []
                for centre, level in zip(found["frequency_hz"][used], found[column][used]):
                    half = 2.0 ** (1.0 / 48.0)
                    grid = np.linspace(centre / half, centre * half, 65)
                    total = sum(
                        self.response(g, grid)
                        * np.exp(-2j * np.pi * grid * (delay if g.startswith("rear") else 0.0))
                        for g in GROUPS
                    )
                    loudest = sum(np.abs(self.response(g, grid)) for g in GROUPS)
                    # Deep in a null a microsecond decides; everywhere else it does not.
                    if np.mean(np.abs(total) ** 2) > 0.03 * np.mean(loudest**2):
                        errors.append(level - db(np.mean(np.abs(total) ** 2)))
                self.assertGreater(len(errors), 100)
                self.assertLess(np.max(np.abs(errors)), 0.3, f"{column}: {np.max(np.abs(errors))}")


if __name__ == "__main__":
    program = sys.argv.pop(1)
    unittest.main()
