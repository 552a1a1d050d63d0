"""What scipy does of the contests in this folder, as somebody would write it there.

Reads questions from standard input, each a line of JSON with "do", and answers each with a line:
"seconds" that the work took, and what else was asked for. What is loaded or written is not in the
seconds, except where reading is the work. The transforms may use all processors.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np
from scipy import fft, signal
from scipy.io import wavfile

import analysis_scipy

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "Scipy"))
import fit_against_scipy  # noqa: E402

MOST_STARTS = 16
# A fit counts as good as another within this.
AS_GOOD_DB = 0.005


def resampling_filter(up, down, rate):
    """Taps for resample_poly that lose nothing up to 20 kHz and let nothing through from what would
    fold back below it: 150 dB by Kaiser's formula."""
    transition_hz = rate - 2.0 * 20000.0
    count, beta = signal.kaiserord(150.0, transition_hz / (0.5 * rate * up))
    return signal.firwin(count | 1, 0.5 * rate, window=("kaiser", beta), fs=rate * up)


def ride_noise(levels_dbfs, seconds, rate):
    """Gaussian noise for two ears with these levels (AES17) in third octaves from 20 Hz on."""
    frames = round(seconds * rate)
    bin_hz = rate / frames
    lower, upper = analysis_scipy.third_octaves()
    amplitude = np.zeros(frames // 2 + 1)
    for level, first, last in zip(levels_dbfs, lower, upper):
        at, end = int(np.ceil(first / bin_hz)), min(int(np.ceil(last / bin_hz)), amplitude.size)
        # A line of amplitude a adds a^2 / 2 to the power; AES17 counts that of a full sine as 1.
        amplitude[at:end] = np.sqrt(10.0 ** (0.1 * level) / (end - at))
    random = np.random.default_rng(1)
    spectrum = random.standard_normal((2, amplitude.size)) + 1j * random.standard_normal(
        (2, amplitude.size))
    spectrum *= amplitude * (0.5 * frames / np.sqrt(2.0))
    return fft.irfft(spectrum, frames)


def convolved(programme, taps, gain):
    return gain * signal.oaconvolve(programme, taps[None, :], axes=1)[:, : programme.shape[1]]


def fit(question):
    """Errors of the better of two fits for every curve; with errors to reach, of as many more from
    anywhere as it takes to come there, or MOST_STARTS."""
    errors, most = [], 0
    goals = question.get("errorsToReachDb", [np.inf] * len(question["curves"]))
    for index, (curve, goal) in enumerate(zip(question["curves"], goals)):
        points = fit_against_scipy.Points(curve)
        best = min(fit_against_scipy.scipy_fit(points, question["limits"], shelves)
                   for shelves in (False, True))
        random, starts = np.random.default_rng(index), 2
        while np.isfinite(goal) and best > goal + AS_GOOD_DB and starts < MOST_STARTS:
            best = min(best, fit_against_scipy.scipy_fit(points, question["limits"],
                                                         starts % 2 == 0, random))
            starts += 1
        errors.append(best)
        most = max(most, starts)
    return {"errorsDb": errors, "mostStarts": most}


class Peer:
    """One method for each work; it returns an array, a dictionary for the answer, or nothing."""

    def __init__(self):
        self.loaded = {}
        self.rate, self.samples = None, None

    def load(self, question):
        self.loaded[question["name"]] = np.fromfile(question["file"],
                                                    dtype=question.get("type", "float32"))

    def read(self, question):
        self.rate, self.samples = analysis_scipy.read(question["file"])

    def bands(self, _):
        return {"bandsDbfs": list(analysis_scipy.analyse_bands(self.samples, self.rate))}

    def markers(self, question):
        track = load_json(question["track"])
        analysis_scipy.find_markers(self.samples[0], self.rate, track["layout"], track["sampleRate"])

    def response(self, question):
        return analysis_scipy.measure(self.samples, self.rate, load_json(question["track"]))

    def analysis(self, question):
        self.read(question)
        self.bands(question)
        self.response(question)

    def readAndBands(self, question):
        self.read(question)
        return self.bands(question)

    def readAndResponse(self, question):
        self.read(question)
        return self.response(question)

    def transform(self, question):
        return fft.rfft(self.loaded[question["name"]])

    def resample_poly(self, question):
        return signal.resample_poly(self.loaded[question["name"]], 160, 147,
                                    window=resampling_filter(160, 147, 44100.0))

    def resample(self, question):
        samples = self.loaded[question["name"]]
        return signal.resample(samples, round(samples.size * 160 / 147))

    def noise(self, question):
        return ride_noise(question["levelsDbfs"], question["seconds"], question["rate"])

    def fit(self, question):
        return fit(question)

    def render(self, question):
        programme = self.loaded["programme"].reshape(2, -1)
        output = convolved(programme, self.loaded["taps"], question["gain"])
        if question["noise"] == "made":
            output += ride_noise(np.full(31, -60.0), programme.shape[1] / 48000.0, 48000.0)
        elif question["noise"] == "given":
            output += self.loaded["ride"].reshape(2, -1)
        return output

    def renderFile(self, question):
        rate, programme = analysis_scipy.read(question["file"])
        _, taps = analysis_scipy.read(question["taps"])
        output = convolved(programme, np.ravel(taps), 0.1)
        output += ride_noise(np.full(31, -60.0), programme.shape[1] / rate, rate)
        wavfile.write(question["write"], rate, np.round(output.T * 2.0**31).astype(np.int32))


def load_json(path):
    with open(path, encoding="utf-8") as file:
        return json.load(file)


def answer(peer, question):
    begin = time.perf_counter()
    result = getattr(peer, question["do"])(question)
    seconds = time.perf_counter() - begin
    if isinstance(result, np.ndarray) and "write" in question:
        wide = np.complex128 if np.iscomplexobj(result) else np.float64
        result.astype(wide, copy=False).tofile(question["write"])
    return {"seconds": seconds, **(result if isinstance(result, dict) else {})}


def main():
    peer = Peer()
    with fft.set_workers(-1):
        for line in sys.stdin:
            print(json.dumps(answer(peer, json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
