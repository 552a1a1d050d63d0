"""Holds the texture made of ride recordings against scipy's estimates of recording and texture.

The recordings are synthetic rides of this file's own: shaped noise whose ears share their low
frequencies, gusts as a slow level, engine and tyre tones that glide.

Usage: texture_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
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
from scipy import signal
from scipy.io import wavfile

program = None
RATE = 48000


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
    return rate, samples.astype(np.float64)


def db(power):
    return 10.0 * np.log10(power)


def shaped(random, frames, magnitude):
    """Noise of a magnitude given over frequency, RMS 1."""
    spectrum = np.fft.rfft(random.standard_normal(frames))
    spectrum *= magnitude(np.fft.rfftfreq(frames, 1.0 / RATE))
    noise = np.fft.irfft(spectrum, frames)
    return noise / np.sqrt(np.mean(noise**2))


def slow_process(random, frames, corner_hz):
    """Gaussian, mean 0, deviation 1, of a second-order low-pass spectrum; made at 64 values a
    second and interpolated."""
    count = frames * 64 // RATE + 2
    spectrum = np.fft.rfft(random.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1.0 / 64.0)
    values = np.fft.irfft(spectrum / (1.0 + (frequency / corner_hz) ** 2), count)
    values = (values - values.mean()) / values.std()
    return np.interp(np.arange(frames) / RATE, np.arange(count) / 64.0, values)


def wind_magnitude(frequency):
    """Wind under a helmet in outline: rises to 60 Hz, falls 6 and then 12 dB an octave, with
    a resonance of the helmet's shell at 900 Hz."""
    f = np.maximum(frequency, 1.0)
    magnitude = (f / 60.0) / np.sqrt(1.0 + (f / 60.0) ** 4) / np.sqrt(1.0 + (f / 800.0) ** 2)
    magnitude *= 1.0 + 1.5 / (1.0 + ((f - 900.0) / 150.0) ** 2)
    return magnitude + 3e-5


class Ride:
    """A synthetic recording: 0.05 RMS of wind, gusts, and tones (Hz, amplitude, level deviation in
    dB, glide proportion)."""

    def __init__(self, seed, seconds, gust_db, gust_hz, tones, stereo=True, wind_rms=0.05):
        random = np.random.default_rng(seed)
        frames = int(seconds * RATE)
        frames += frames % 2
        gain = 10.0 ** (gust_db * slow_process(random, frames, gust_hz) / 20.0)
        common = shaped(random, frames, lambda f: wind_magnitude(f) / np.sqrt(1.0 + (f / 150.0) ** 4))
        ears = []
        for _ in range(2 if stereo else 1):
            own = shaped(random, frames, lambda f: wind_magnitude(f) * (0.3 + f / 150.0) / (1.0 + f / 150.0))
            ears.append(wind_rms * gain * (common + own) / np.sqrt(2.0))
        glide = slow_process(random, frames, 0.15)
        for frequency, amplitude, level_db, proportion in tones:
            phase = 2.0 * np.pi * np.cumsum(frequency * (1.0 + proportion * glide)) / RATE
            level = 10.0 ** (level_db * slow_process(random, frames, 0.3) / 20.0)
            for ear, samples in enumerate(ears):
                samples += amplitude * level * np.cos(phase - 0.4 * ear)
        self.samples = np.array(ears).T

    def write(self, path):
        wavfile.write(path, RATE, self.samples.astype(np.float32))


def columns(samples):
    """Left and right; of one channel, the same twice."""
    samples = samples.reshape(len(samples), -1)
    return samples[:, 0], samples[:, -1]


def third_octaves(samples):
    """Band powers 25 Hz to 16 kHz from scipy's Welch estimate with lines 0.37 Hz apart."""
    frequency, density = signal.welch(samples, RATE, nperseg=131072)
    step = frequency[1]
    powers = []
    for band in range(14, 43):
        lower, upper = 10.0 ** (band / 10.0 - 0.05), 10.0 ** (band / 10.0 + 0.05)
        share = np.minimum(upper, frequency + step / 2) - np.maximum(lower, frequency - step / 2)
        powers.append(np.sum(np.clip(share, 0.0, step) * density))
    return np.array(powers)


def levels(samples):
    """Levels of 125 ms, eight a second, with what is above 4 Hz being the sampling's own limit."""
    blocks = samples[: len(samples) // 6000 * 6000].reshape(-1, 6000)
    return db(np.mean(blocks**2, axis=1))


def autocorrelation(values, lag):
    values = values - values.mean()
    return np.mean(values[lag:] * values[:-lag]) / np.mean(values**2)


def skewness(values):
    values = values - values.mean()
    return np.mean(values**3) / np.mean(values**2) ** 1.5


def tone_power(samples, around, reach):
    """Power of what stands out of the noise near a frequency."""
    frequency, density = signal.welch(samples, RATE, nperseg=32768)
    inside = np.abs(frequency - around) <= reach
    beside = (np.abs(frequency - around) <= 3 * reach) & ~(np.abs(frequency - around) <= 1.5 * reach)
    floor = np.median(density[beside])
    excess = np.clip(density[inside] - floor, 0.0, None)
    return np.sum(excess) * frequency[1], np.sum(excess * frequency[inside]) / np.sum(excess)


TONES = [(62.0, 0.05, 1.0, 0.004), (124.0, 0.03, 1.5, 0.004), (310.0, 0.012, 1.0, 0.004),
         (1480.0, 0.004, 2.0, 0.0)]


class TextureAgainstScipy(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.at = Path(cls.folder.name)
        cls.ride = Ride(1, 60.0, 3.0, 0.4, TONES)
        cls.ride.write(cls.at / "ride.wav")
        cls.result = run("texture", "--recording", cls.at / "ride.wav", "--speed-kmh", 100,
                         "--out", cls.at / "noise.json", "--render", cls.at / "texture.wav",
                         "--seconds", 300, "--seed", 7)
        _, cls.texture = read_wav(cls.at / "texture.wav")

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def pairs(self):
        return zip(columns(self.ride.samples), columns(self.texture))

    def test_third_octaves_are_those_of_the_recording(self):
        for recorded, made in self.pairs():
            difference = db(third_octaves(made) / third_octaves(recorded))
            self.assertLess(np.max(np.abs(difference)), 0.5, np.round(difference, 2))

    def test_short_time_levels_spread_and_follow_each_other_alike(self):
        for recorded, made in self.pairs():
            a, b = levels(recorded), levels(made)
            self.assertAlmostEqual(b.std() / a.std(), 1.0, delta=0.15)
            # A minute tells the autocorrelation within some 0.1; beyond 1 s it is chance.
            for lag in (1, 2, 4, 8):
                self.assertAlmostEqual(autocorrelation(a, lag), autocorrelation(b, lag), delta=0.15, msg=lag)
            for share in (5, 25, 50, 75, 95):
                self.assertAlmostEqual(np.percentile(a - a.mean(), share), np.percentile(b - b.mean(), share),
                                       delta=0.25 * a.std(), msg=share)

    def test_tones_keep_their_frequency_and_level(self):
        for recorded, made in self.pairs():
            for frequency, _, _, _ in TONES:
                reach = max(6.0, 0.015 * frequency)
                power_a, frequency_a = tone_power(recorded, frequency, reach)
                power_b, frequency_b = tone_power(made, frequency, reach)
                self.assertAlmostEqual(db(power_b / power_a), 0.0, delta=0.5, msg=frequency)
                self.assertAlmostEqual(frequency_b / frequency_a, 1.0, delta=0.003)
        found = [tone["frequencyHz"] for tone in self.result["recordings"][0]["tones"]]
        self.assertEqual(len(found), len(TONES), found)

    def test_tones_move_as_they_did(self):
        # Hilbert envelope of a band around the highest tone, which does not glide.
        for recorded, made in self.pairs():
            spread = []
            for samples in (recorded, made):
                sos = signal.butter(2, [1470.0, 1490.0], "bandpass", fs=RATE, output="sos")
                envelope = np.abs(signal.hilbert(signal.sosfiltfilt(sos, samples)))
                spread.append(np.std(20.0 * np.log10(envelope[::6000])))
            self.assertAlmostEqual(spread[1] / spread[0], 1.0, delta=0.25)

    def test_ears_agree_as_much_as_they_did(self):
        def coherence(samples):
            left, right = columns(samples)
            frequency, squared = signal.coherence(left, right, RATE, nperseg=16384)
            return [np.mean(squared[(frequency >= lower) & (frequency < 2 * lower)])
                    for lower in (25, 60, 130, 320, 640, 1700, 3400)]

        for recorded, made in zip(coherence(self.ride.samples), coherence(self.texture)):
            self.assertAlmostEqual(recorded, made, delta=0.06)

    def test_nothing_loops(self):
        # Correlation of the texture's first 20 s with all that follows: by chance alone a value
        # rarely passes five standard deviations of 1 over the root of what is independent in it.
        left, _ = columns(self.texture)
        sos = signal.butter(4, 500.0, "highpass", fs=RATE, output="sos")
        whitened = signal.sosfilt(sos, left)[RATE:]
        head = whitened[: 20 * RATE]
        product = signal.correlate(whitened[20 * RATE :], head, mode="valid", method="fft")
        scale = np.sum(head**2)
        self.assertLess(np.max(np.abs(product)) / scale, 0.12)

    def test_a_short_mono_recording_of_hard_gusts(self):
        ride = Ride(5, 24.0, 4.5, 0.8, [(95.0, 0.015, 0.5, 0.01)], stereo=False)
        ride.write(self.at / "mono.wav")
        result = run("texture", "--recording", self.at / "mono.wav", "--speed-kmh", 120, "--out",
                     self.at / "mono.json", "--render", self.at / "mono-texture.wav", "--seconds", 300)
        self.assertTrue(any("one channel" in remark for remark in result["recordings"][0]["remarks"]))
        _, made = read_wav(self.at / "mono-texture.wav")
        recorded = ride.samples[:, 0]
        for ear in columns(made):
            difference = db(third_octaves(ear) / third_octaves(recorded))
            self.assertLess(np.max(np.abs(difference)), 0.5, np.round(difference, 2))
            self.assertAlmostEqual(levels(ear).std() / levels(recorded).std(), 1.0, delta=0.15)

    def test_steady_noise_gains_no_gusts(self):
        ride = Ride(9, 40.0, 0.0, 0.5, [])
        ride.write(self.at / "steady.wav")
        result = run("texture", "--recording", self.at / "steady.wav", "--speed-kmh", 50, "--out",
                     self.at / "steady.json", "--render", self.at / "steady-texture.wav", "--seconds", 120)
        self.assertEqual(result["recordings"][0]["tones"], [])
        _, made = read_wav(self.at / "steady-texture.wav")
        for recorded, ear in zip(columns(ride.samples), columns(made)):
            self.assertAlmostEqual(levels(ear).std() / levels(recorded).std(), 1.0, delta=0.15)

    def test_a_speed_between_two_recordings(self):
        # Half way over log speed, all third octaves half way in dB, the engine's tone at the ratio
        # of speeds.
        faster = Ride(2, 60.0, 3.0, 0.4, [(f * 1.44, 3 * a, l, g) for f, a, l, g in TONES[:3]], wind_rms=0.15)
        faster.write(self.at / "faster.wav")
        run("texture", "--recording", self.at / "ride.wav", "--speed-kmh", 100, "--recording",
            self.at / "faster.wav", "--speed-kmh", 144, "--out", self.at / "two.json", "--render",
            self.at / "between.wav", "--render-speed-kmh", 120, "--seconds", 200)
        _, between = read_wav(self.at / "between.wav")
        left, _ = columns(between)
        a, b = (third_octaves(columns(s)[0]) for s in (self.ride.samples, faster.samples))
        bands = 10.0 ** (np.arange(14, 43) / 10.0)
        free = np.array([all(not (f / 1.2 < band < f * 1.2 * 1.44) for f, _, _, _ in TONES) for band in bands])
        difference = db(third_octaves(left)) - 0.5 * (db(a) + db(b))
        self.assertLess(np.max(np.abs(difference[free])), 0.7, np.round(difference, 2))
        _, frequency = tone_power(left, 62.0 * 1.2, 6.0)
        self.assertAlmostEqual(frequency, 62.0 * 1.2, delta=0.5)

    def test_levels_in_sound_pressure_with_a_calibrators_tone(self):
        time = np.arange(5 * RATE) / RATE
        tone = 0.1 * np.sin(2.0 * np.pi * 1000.0 * time)  # -20 dBFS by AES17
        wavfile.write(self.at / "tone.wav", RATE, tone.astype(np.float32))
        result = run("texture", "--recording", self.at / "ride.wav", "--speed-kmh", 100, "--calibration",
                     self.at / "tone.wav", "--calibration-spl", 94, "--out", self.at / "calibrated.json")
        self.assertTrue(result["calibrated"])
        powers = third_octaves(columns(self.ride.samples)[0])
        for entry in result["recordings"][0]["thirdOctaves"]:
            band = round(10.0 * np.log10(entry["frequencyHz"])) - 14
            if 0 <= band < len(powers):
                # A tone of RMS 1/sqrt 2 reads 0 dBFS, which stands for 114 dB.
                self.assertAlmostEqual(entry["leftSplDb"], db(2.0 * powers[band]) + 114.0, delta=0.3)

    def test_what_cannot_be_trusted_is_refused(self):
        samples = self.ride.samples
        clipped = np.clip(samples, -0.08, 0.08)
        cases = {"clipped": clipped, "only 8.0 s": samples[: 8 * RATE], "silent": samples * 1e-5,
                 "digital silence": np.concatenate([samples[: 9 * RATE], np.zeros((RATE, 2)), samples[: 5 * RATE]])}
        for words, wrong in cases.items():
            wavfile.write(self.at / "wrong.wav", RATE, wrong.astype(np.float32))
            done = call("texture", "--recording", self.at / "wrong.wav", "--speed-kmh", 80, "--out",
                        self.at / "wrong.json")
            self.assertEqual(done.returncode, 1, words)
            self.assertIn(words, done.stderr)
            self.assertIn("wrong.wav", done.stderr)
            self.assertFalse(os.path.exists(self.at / "wrong.json"))

    def test_a_change_of_speed_is_remarked_on(self):
        samples = self.ride.samples.copy()
        samples[len(samples) // 2 :] *= 10.0 ** (6.0 / 20.0)
        wavfile.write(self.at / "changed.wav", RATE, samples.astype(np.float32))
        result = run("texture", "--recording", self.at / "changed.wav", "--speed-kmh", 80, "--out",
                     self.at / "changed.json")
        self.assertTrue(any("louder than the first" in r for r in result["recordings"][0]["remarks"]))

    def test_music_in_the_recording_is_remarked_on(self):
        random = np.random.default_rng(4)
        ride = Ride(6, 30.0, 1.0, 0.4, [])
        pitches = 440.0 * 2.0 ** (np.array([0, 3, 5, 7, 10, 12, 15, 17]) / 12.0)
        for start in np.arange(0.0, 29.5, 0.4):
            time = np.arange(int(0.4 * RATE)) / RATE
            note = 0.03 * np.sin(2.0 * np.pi * random.choice(pitches) * time) * np.exp(-3.0 * time)
            begin = int(start * RATE)
            ride.samples[begin : begin + len(note)] += note[:, None]
        ride.write(self.at / "music.wav")
        result = run("texture", "--recording", self.at / "music.wav", "--speed-kmh", 80, "--out",
                     self.at / "music.json")
        self.assertTrue(any("come and go" in r for r in result["recordings"][0]["remarks"]), result)
        remarks = self.result["recordings"][0]["remarks"]
        self.assertFalse(any("come and go" in r for r in remarks), remarks)


if __name__ == "__main__":
    program = os.path.abspath(sys.argv.pop(1))
    unittest.main()
