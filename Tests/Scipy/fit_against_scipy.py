"""Holds the fit of filters (`fit --with filters`) against scipy: a plain bounded least-squares fit of
as many filters within the same limits, on the points and weights that `fit --json` gives. The error
of both is worked out here, with this file's own formulas of the filters.

Usage: fit_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

import numpy as np
from scipy import optimize, signal

program = None

NUM_RESPONSES = 50
NUM_FILTERS = 6
# What may not be lost against scipy on any response, and what counts as ahead of it, in dB.
WORSE_MARGIN_DB = 0.001
BETTER_MARGIN_DB = 0.005

COARSE_HZ = 1000.0 * 10.0 ** ((np.arange(-72, 54) + 0.5) * 0.025)  # twelfths of octaves
FINE_HZ = np.geomspace(10.0, 24000.0, 1200)


def run(*arguments):
    command = [program, "--json", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise AssertionError(f"{command} ended with {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def prototype(kind, frequency_hz, gain_db, q):
    """Polynomials in s of the analogue prototypes of R. Bristow-Johnson's cookbook."""
    w = 2.0 * np.pi * frequency_hz
    a = 10.0 ** (gain_db / 40.0)
    scale = np.array([1.0 / w**2, 1.0 / w, 1.0])
    if kind == "peaking":
        return np.array([1.0, a / q, 1.0]) * scale, np.array([1.0, 1.0 / (a * q), 1.0]) * scale
    root = np.sqrt(a) / q
    low = a * np.array([1.0, root, a]) * scale
    high = np.array([a, root, 1.0]) * scale
    if kind == "low-shelf":
        return low, high
    return a * high, low / a


def level_of_elements(elements, frequencies_hz):
    """Level of a tuning's elements through scipy's own evaluation of analogue filters."""
    level = np.zeros(len(frequencies_hz))
    for element in elements:
        if element["type"] == "gain":
            level += element["gainDb"]
            continue
        b, a = prototype(element["type"], element["frequencyHz"], element["gainDb"], element["q"])
        _, response = signal.freqs(b, a, 2.0 * np.pi * np.asarray(frequencies_hz))
        level += 20.0 * np.log10(np.abs(response))
    return level


def level_of_numbers(numbers, shelves, frequencies_hz):
    """The same for all filters at once: rows of log frequency, gain and log q; with shelves the
    first is a low and the last a high one."""
    log_hz, gain_db, log_q = numbers.reshape(-1, 3).T[:, :, None]
    z = (frequencies_hz[None, :] / np.exp(log_hz)) ** 2
    a = 10.0 ** (gain_db / 40.0)
    w = z * np.exp(-2.0 * log_q)
    up = (1.0 - z) ** 2 + w * a**2
    down = (1.0 - z) ** 2 + w / a**2
    if shelves:
        low = a * a * ((a - z) ** 2 + a * w)
        high = (1.0 - a * z) ** 2 + a * w
        up[0], down[0] = low[0], high[0]
        up[-1], down[-1] = (a**4 * high)[-1], low[-1]
    return 10.0 * np.sum(np.log10(up / down), axis=0)


def measured_like(random):
    """Levels of a table: peaks, dips, shelves, roll-offs, and a ripple as reflections make it."""
    frequencies = 15.0 * (25000.0 / 15.0) ** np.linspace(0.0, 1.0, 400)
    elements = [{"type": "peaking", "frequencyHz": 40.0 * 400.0 ** random.random(),
                 "gainDb": random.uniform(-9.0, 9.0),
                 "q": np.exp(random.uniform(np.log(0.6), np.log(6.0)))}
                for _ in range(random.integers(3, 9))]
    if random.random() < 0.5:
        elements.append({"type": "low-shelf", "frequencyHz": random.uniform(60.0, 300.0),
                         "gainDb": random.uniform(-6.0, 6.0), "q": 0.7})
    if random.random() < 0.5:
        elements.append({"type": "high-shelf", "frequencyHz": random.uniform(2000.0, 9000.0),
                         "gainDb": random.uniform(-6.0, 6.0), "q": 0.7})
    level = level_of_elements(elements, frequencies)
    s = 1j * frequencies / random.uniform(40.0, 110.0)
    level += 20.0 * np.log10(np.abs(s**2 / (s**2 + 1.41 * s + 1.0)))
    s = 1j * frequencies / random.uniform(8000.0, 18000.0)
    level += 20.0 * np.log10(np.abs(1.0 / (s**2 + 1.41 * s + 1.0)))
    for _ in range(3):
        delay_seconds = random.uniform(0.0005, 0.004)
        echo = random.uniform(0.02, 0.08)
        level += 20.0 * np.log10(np.abs(
            1.0 + echo * np.exp(-2j * np.pi * frequencies * delay_seconds)))
    return frequencies, level


class Points:
    """What is made small: one curve's points, weights and target."""

    def __init__(self, curve):
        points = curve["points"]
        self.frequencies = np.array([point["frequencyHz"] for point in points])
        self.off_target = np.array([point["levelDb"] - point["targetDb"] for point in points])
        self.share = np.array([point["weight"] for point in points])
        self.share /= np.sum(self.share)

    def mean(self, change):
        return np.sum(self.share * change)

    def deviations(self, change):
        sum_db = self.off_target + change
        return sum_db - self.mean(sum_db)

    def error(self, change):
        return np.sqrt(np.sum(self.share * self.deviations(change) ** 2))


def excess(points, limits, level_at):
    """The most that filters stand above a limit, over a fine grid."""
    mean = points.mean(level_at(points.frequencies))
    most = min(limits["headroomDb"], mean + limits["maxLossDb"])
    return max(np.max(level_at(FINE_HZ)) - most, -mean - limits["maxLossDb"])


def scipy_fit(points, limits, shelves, random=None):
    """A plain fit: filters spread evenly over log frequency, gain 0, Q 1, trust region reflective;
    with a source of random numbers, from anywhere within the limits of each filter instead. The limits
    of the sum count as a penalty, and what it leaves is taken out by smaller gains."""
    start, lowest, highest = [], [], []
    log_from, log_to = np.log(limits["fromHz"]), np.log(limits["toHz"])
    for index in range(NUM_FILTERS):
        is_shelf = shelves and index in (0, NUM_FILTERS - 1)
        start += [log_from + (index + 0.5) / NUM_FILTERS * (log_to - log_from), 0.0,
                  np.log(0.7) if is_shelf else 0.0]
        lowest += [log_from, -limits["maxCutDb"], np.log(limits["minQ"])]
        highest += [log_to, limits["maxBoostDb"],
                    np.log(limits["maxShelfQ"] if is_shelf else limits["maxQ"])]
    if random is not None:
        start = random.uniform(lowest, highest)
    is_limited = limits["headroomDb"] < 24.0
    root_share = np.sqrt(points.share)
    grid = np.concatenate([points.frequencies, COARSE_HZ]) if is_limited else points.frequencies
    count = len(points.frequencies)

    def residuals(numbers):
        level = level_of_numbers(numbers, shelves, grid)
        result = root_share * points.deviations(level[:count])
        if not is_limited:
            return result
        mean = points.mean(level[:count])
        most = min(limits["headroomDb"], mean + limits["maxLossDb"])
        above = np.append(level[count:] - most, -mean - limits["maxLossDb"])
        return np.concatenate([result, 3.0 * np.maximum(above, 0.0)])

    found = optimize.least_squares(residuals, start, bounds=(lowest, highest), method="trf",
                                   max_nfev=200)
    numbers = found.x
    if is_limited:
        def scaled(factor):
            smaller = numbers.copy()
            smaller[1::3] *= factor
            return smaller

        def is_allowed(factor):
            return excess(points, limits,
                          lambda hz: level_of_numbers(scaled(factor), shelves, hz)) <= 0.0

        allowed, refused = (1.0, 1.0) if is_allowed(1.0) else (0.0, 1.0)
        while refused - allowed > 1e-5:
            middle = 0.5 * (allowed + refused)
            if is_allowed(middle):
                allowed = middle
            else:
                refused = middle
        numbers = scaled(allowed)
    return points.error(level_of_numbers(numbers, shelves, points.frequencies))


class Fit(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        random = np.random.default_rng(20240607)
        cls.states = []
        for index in range(NUM_RESPONSES):
            table = Path(cls.folder.name) / f"{index}.csv"
            np.savetxt(table, np.column_stack(measured_like(random)), delimiter=",", fmt="%.6f")
            state = table.with_suffix(".json")
            # A rate at which every third octave up to 20 kHz is trusted.
            run("import", "--table", table, "--rate", 96000, "--out", state)
            cls.states.append(state)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def compare(self, *limit_arguments):
        differences = []
        for state in self.states:
            result = run("fit", "--measured", state, "--with", "filters", "--filters", NUM_FILTERS,
                         "--least-benefit", 0, "--out", state.with_suffix(".tuning.json"),
                         *limit_arguments)
            limits = result["limits"]
            points = Points(result["curves"][0])
            elements = result["tuning"]["chains"][0]["elements"]
            filters = [element for element in elements if element["type"] != "gain"]
            with self.subTest(state=state.name):
                # The program's figures, by formulas of our own.
                change = level_of_elements(elements, points.frequencies)
                ours = points.error(change)
                self.assertAlmostEqual(ours, result["errorAfterDb"], delta=1e-6)
                self.assertAlmostEqual(points.error(0.0 * change), result["errorBeforeDb"],
                                       delta=1e-6)
                self.assertLessEqual(len(filters), NUM_FILTERS)
                for element in filters:
                    top_q = limits["maxQ" if element["type"] == "peaking" else "maxShelfQ"]
                    self.assertLessEqual(element["gainDb"], limits["maxBoostDb"] + 1e-6)
                    self.assertGreaterEqual(element["gainDb"], -limits["maxCutDb"] - 1e-6)
                    self.assertLessEqual(element["q"], top_q + 1e-6)
                    self.assertGreaterEqual(element["q"], limits["minQ"] - 1e-6)
                self.assertLessEqual(
                    excess(points, limits, lambda hz: level_of_elements(filters, hz)), 1e-6)
                # Turned down so that nothing comes out louder than it went in.
                self.assertLessEqual(np.max(level_of_elements(elements, FINE_HZ)), 1e-6)
                theirs = min(scipy_fit(points, limits, shelves) for shelves in (False, True))
                self.assertLessEqual(ours, theirs + WORSE_MARGIN_DB)
            differences.append(ours - theirs)
        differences = np.array(differences)
        ahead = np.count_nonzero(differences < -BETTER_MARGIN_DB)
        print(f"{' '.join(limit_arguments)}: ahead of scipy on {ahead} of {len(differences)}, by "
              f"{-np.median(differences):.3f} dB in the median, worst {np.max(differences):+.4f} dB")
        self.assertGreaterEqual(ahead, NUM_RESPONSES / 2)

    def test_free_sum(self):
        self.compare("--headroom", "24", "--max-loss", "60")

    def test_limited_sum(self):
        self.compare("--headroom", "6", "--max-loss", "6")

    def test_tone_controls_are_the_best_of_all_steps(self):
        model = Path(self.folder.name) / "radio.json"
        controls = [("Bass", "low-shelf", 100.0, 0.7), ("Middle", "peaking", 1000.0, 0.9),
                    ("Treble", "high-shelf", 8000.0, 0.7)]
        model.write_text(json.dumps({
            "kind": "saddletone-tone-controls", "schemaVersion": 1, "name": "Radio",
            "status": "assumed",
            "controls": [{"name": name, "type": kind, "frequencyHz": frequency, "q": q,
                          "lowestDb": -6.0, "highestDb": 6.0, "stepDb": 2.0}
                         for name, kind, frequency, q in controls]}))
        for state in self.states[:5]:
            result = run("fit", "--measured", state, "--with", "tone-controls", "--tone-controls",
                         model, "--out", state.with_suffix(".tuning.json"))
            points = Points(result["curves"][0])
            unit = [[level_of_elements([{"type": kind, "frequencyHz": frequency, "q": q,
                                         "gainDb": 2.0 * step}], points.frequencies)
                     for step in range(-3, 4)] for _, kind, frequency, q in controls]
            best = min(points.error(bass + middle + treble)
                       for bass in unit[0] for middle in unit[1] for treble in unit[2])
            # Settings within 0.01 dB of each other count as equal, the least turned one is taken.
            self.assertLessEqual(result["errorAfterDb"], best + 0.01 + 1e-6)
            self.assertGreaterEqual(result["errorAfterDb"], best - 1e-6)

    def test_wrong_usage_ends_with_2_and_says_why(self):
        out = Path(self.folder.name) / "out.json"
        state = self.states[0]
        for arguments, words in (
                (["--with", "tone-controls"], "--tone-controls"),
                (["--with", "filters", "--tone-controls", state], "--tone-controls"),
                (["--with", "tone-controls", "--tone-controls", state, "--max-boost", 3],
                 "--max-boost"),
                (["--with", "filters", "--from", 1000, "--to", 1200], "octave"),
                (["--with", "filters", "--filters", 11], "--filters"),
                (["--with", "filters", "--bass-shelf-hz", 100], "--bass-shelf-db")):
            with self.subTest(arguments=arguments):
                done = subprocess.run(
                    [program, "fit", "--measured", str(state), "--out", str(out),
                     *map(str, arguments)], capture_output=True, text=True, check=False)
                self.assertEqual(done.returncode, 2, done.stderr)
                self.assertIn(words, done.stderr)
                self.assertFalse(out.exists())


if __name__ == "__main__":
    program = sys.argv.pop(1)
    unittest.main()
