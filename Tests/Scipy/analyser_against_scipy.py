"""Holds the analyser's filters (`analyse --method filters`) against scipy: Welch's spectrum, and
Butterworth filters that scipy designs and runs at the full rate.

Usage: analyser_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

program = None

# The analyser's filters are drawn in by this share of their width, so that pink noise reads the
# power between the nominal edges; scipy is told the same edges. With n = 4 the noise bandwidth of a
# Butterworth filter is (pi / 8) / sin(pi / 8) = 1.0262 of the distance of its edges.
WIDTH_SHARE = np.sin(np.pi / 8.0) / (np.pi / 8.0)


def analyse(path, *arguments):
    command = [program, "--json", "analyse", "--recording", str(path), "--method", "filters",
               *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise AssertionError(f"{command} ended with {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def dbfs(mean_square):
    """AES17: a full-scale sine, mean square 1/2, reads 0."""
    return 10.0 * np.log10(2.0 * mean_square)


def pink_and_tone(rate, seconds, tone_hz, tone_dbfs, seed):
    """Pink noise of -20 dBFS or so from 10 Hz to half the rate, and a sine."""
    random = np.random.default_rng(seed)
    frames = int(rate * seconds)
    spectrum = np.fft.rfft(random.standard_normal(frames))
    frequency = np.fft.rfftfreq(frames, 1.0 / rate)
    spectrum[frequency < 10.0] = 0.0
    spectrum[1:] /= np.sqrt(frequency[1:])
    noise = np.fft.irfft(spectrum, frames)
    noise *= 0.07 / np.sqrt(np.mean(np.square(noise)))
    tone = 10.0 ** (tone_dbfs / 20.0) * np.sin(2.0 * np.pi * tone_hz * np.arange(frames) / rate)
    return noise, tone


def write(path, rate, samples):
    wavfile.write(path, rate, samples.astype(np.float32))


def edges(centre, bands_per_octave, share=1.0):
    half = 10.0 ** (0.15 * share / bands_per_octave)
    return centre / half, centre * half


def welch_band(frequency, density, lower, upper):
    """Power between two frequencies, lines at the edges in part."""
    step = frequency[1] - frequency[0]
    inside = np.minimum(upper, frequency + step / 2) - np.maximum(lower, frequency - step / 2)
    return np.sum(np.clip(inside, 0.0, step) * density)


class Analyser(unittest.TestCase):
    def test_third_octaves_of_pink_noise_and_a_tone_agree_with_welch(self):
        with tempfile.TemporaryDirectory() as folder:
            for rate in (44100, 48000, 96000):
                path = Path(folder) / "noise.wav"
                noise, tone = pink_and_tone(rate, 30.0, 1000.0, -28.0, 5)
                write(path, rate, noise + tone)
                result = analyse(path)
                frequency, density = signal.welch(noise + tone, rate, nperseg=rate * 2)
                for centre, level in zip(result["frequenciesHz"], result["levelsDbfs"]):
                    lower, upper = edges(centre, 3)
                    if centre < 60.0 or upper > rate / 2:
                        continue
                    expected = dbfs(welch_band(frequency, density, lower, upper))
                    # The band's edges fall off differently: a random part of the noise there.
                    random_db = 3.0 / np.sqrt(30.0 * (upper - lower))
                    with self.subTest(rate=rate, centre=centre):
                        self.assertAlmostEqual(level, expected, delta=0.1 + random_db)

    def test_bands_agree_with_filters_of_scipy(self):
        with tempfile.TemporaryDirectory() as folder:
            for rate, bands in ((44100, 3), (48000, 6), (96000, 3), (48000, 24)):
                path = Path(folder) / "noise.wav"
                # On the slope of a filter a tone would tell the halved rates apart.
                noise, tone = pink_and_tone(rate, 10.0, 1014.5, -34.0, 6)
                write(path, rate, noise + tone)
                samples = (noise + tone).astype(np.float32).astype(np.float64)
                # What rings on after the end counts.
                padded = np.concatenate([samples, np.zeros(10 * rate)])
                result = analyse(path, "--bands", bands)
                for centre, level in list(
                    zip(result["frequenciesHz"], result["levelsDbfs"])
                )[:: 1 if bands == 3 else 7]:
                    lower, upper = edges(centre, bands, WIDTH_SHARE)
                    # Near half the rate the share is another; below, the bilinear transform is
                    # the same apart from the halved rates.
                    if centre < 50.0 or upper > rate * 0.3:
                        continue
                    sections = signal.butter(4, (lower, upper), "bandpass", output="sos", fs=rate)
                    power = np.sum(np.square(signal.sosfilt(sections, padded))) / len(samples)
                    with self.subTest(rate=rate, bands=bands, centre=centre):
                        self.assertAlmostEqual(level, dbfs(power), delta=0.05)

    def test_weighted_totals_agree_with_the_formula_on_the_spectrum(self):
        poles = (20.598997, 107.652649, 737.862231, 12194.217148)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "noise.wav"
            for rate in (44100, 48000, 96000):
                noise, tone = pink_and_tone(rate, 10.0, 250.0, -22.0, 7)
                write(path, rate, noise + tone)
                power = np.square(np.abs(np.fft.rfft(noise + tone))) * 2.0 / len(noise) ** 2
                f2 = np.square(np.fft.rfftfreq(len(noise), 1.0 / rate))
                for weighting in ("A", "C", "Z"):
                    gain = np.ones_like(f2)
                    if weighting != "Z":
                        gain = (poles[3] ** 2 * f2 / ((f2 + poles[0] ** 2) * (f2 + poles[3] ** 2)))
                        gain *= 10.0 ** (0.06190 / 20.0)
                    if weighting == "A":
                        gain *= f2 / np.sqrt((f2 + poles[1] ** 2) * (f2 + poles[2] ** 2))
                        gain *= 10.0 ** ((1.99966 - 0.06190) / 20.0)
                    expected = dbfs(np.sum(power * np.square(gain)))
                    with self.subTest(rate=rate, weighting=weighting):
                        self.assertAlmostEqual(
                            analyse(path, "--weighting", weighting)["totalDbfs"], expected,
                            delta=0.03)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    program = sys.argv.pop(1)
    unittest.main(verbosity=2)
