"""Holds predictions and exports of tunings against scipy's analogue filters, which share no code
with the program.

Usage: tuning_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import math
import sys
import tempfile
import unittest
from pathlib import Path

import numpy as np
from scipy import signal

import core_against_scipy as core


def analogue(element):
    """Numerator and denominator in s, in rad/s: passes by scipy's designs, the rest from the
    prototypes of R. Bristow-Johnson's cookbook."""
    kind = element["type"]
    turn = 2.0 * math.pi * element.get("frequencyHz", 1000.0)
    if kind in ("high-pass", "low-pass"):
        alignment = element.get("alignment", "butterworth")
        order = element.get("order", 2)
        band = kind.replace("-", "")
        if alignment == "bessel":
            return signal.bessel(order, turn, band, analog=True, norm="mag")
        if alignment == "linkwitz-riley":
            b, a = signal.butter(order // 2, turn, band, analog=True)
            return np.polymul(b, b), np.polymul(a, a)
        return signal.butter(order, turn, band, analog=True)
    gain = 10.0 ** (element.get("gainDb", 0.0) / 40.0)
    if kind == "gain":
        return [gain**2], [1.0]
    q = element.get("q", 1.0 / math.sqrt(2.0))
    if "slope" in element:
        q = 1.0 / math.sqrt((gain + 1.0 / gain) * (1.0 / element["slope"] - 1.0) + 2.0)
    root = math.sqrt(gain) / q
    b, a = {
        "peaking": ([1.0, gain / q, 1.0], [1.0, 1.0 / (gain * q), 1.0]),
        "low-shelf": ([gain, gain * root, gain**2], [gain, root, 1.0]),
        "high-shelf": ([gain**2, gain * root, gain], [1.0, root, gain]),
        "notch": ([1.0, 0.0, 1.0], [1.0, 1.0 / q, 1.0]),
        "all-pass": ([1.0, -1.0 / q, 1.0], [1.0, 1.0 / q, 1.0]),
    }[kind]
    scale = turn ** np.array([-2.0, -1.0, 0.0])
    return np.array(b) * scale, np.array(a) * scale


def meant(element, frequency):
    """Complex response of an element's prototype."""
    if element["type"] == "graphic":
        whole = np.ones(len(frequency), dtype=complex)
        for index, gain in enumerate(element["bandGainsDb"]):
            # IEC 61260-1: a third octave is a tenth of a decade; q from its width.
            band = {
                "type": "peaking",
                "frequencyHz": 1000.0 * 10.0 ** ((index - 17) / 10.0),
                "gainDb": gain,
                "q": 1.0 / (2.0 * math.sinh(math.log(2.0) / 6.0)),
            }
            whole = whole * meant(band, frequency)
        return whole
    b, a = analogue(element)
    return signal.freqs(b, a, worN=2.0 * np.pi * np.asarray(frequency))[1]


def write_tuning(folder, elements, group="all", version=2):
    path = folder / "tuning.json"
    document = {
        "kind": "saddletone-tuning",
        "schemaVersion": version,
        "chains": [{"group": group, "elements": elements}],
    }
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


ELEMENTS = [
    {"type": "peaking", "frequencyHz": 120.0, "q": 1.4, "gainDb": -5.5},
    {"type": "peaking", "frequencyHz": 3150.0, "q": 6.0, "gainDb": 4.0},
    {"type": "peaking", "frequencyHz": 16000.0, "q": 0.7, "gainDb": 12.0},
    {"type": "low-shelf", "frequencyHz": 90.0, "q": 0.7071, "gainDb": 6.0},
    {"type": "low-shelf", "frequencyHz": 200.0, "slope": 0.5, "gainDb": -9.0},
    {"type": "high-shelf", "frequencyHz": 8000.0, "q": 0.6, "gainDb": -4.0},
    {"type": "high-shelf", "frequencyHz": 12000.0, "slope": 1.0, "gainDb": 8.0},
    {"type": "high-pass", "frequencyHz": 80.0, "order": 4},
    {"type": "low-pass", "frequencyHz": 9000.0, "order": 3},
    {"type": "high-pass", "frequencyHz": 60.0, "order": 8, "alignment": "linkwitz-riley"},
    {"type": "low-pass", "frequencyHz": 2500.0, "order": 4, "alignment": "linkwitz-riley"},
    {"type": "low-pass", "frequencyHz": 12000.0, "order": 8, "alignment": "linkwitz-riley"},
    {"type": "notch", "frequencyHz": 7300.0, "q": 2.0},
    {"type": "all-pass", "frequencyHz": 700.0, "q": 1.0},
    {"type": "gain", "gainDb": -3.25},
    {"type": "graphic", "bandGainsDb": [(-1.0) ** band * (band % 7) for band in range(31)]},
] + [
    {"type": kind, "frequencyHz": 1200.0, "order": order, "alignment": "bessel"}
    for kind in ("high-pass", "low-pass")
    for order in range(1, 9)
]


class Prediction(unittest.TestCase):
    """`predict` against scipy's freqs."""

    def predict(self, folder, elements, *options, group="all", version=2):
        impulse = np.zeros(4096)
        impulse[0] = 1.0
        state = core.write_state(folder, 44100, impulse)
        table = folder / "table.csv"
        tuning = write_tuning(folder, elements, group, version)
        core.run("predict", "--measured", state, "--tuning", tuning, "--table", table, *options)
        return core.read_table(table)

    def test_every_element_has_the_response_that_scipy_gives_its_prototype(self):
        for element in ELEMENTS:
            with self.subTest(element=element), tempfile.TemporaryDirectory() as folder:
                table = self.predict(Path(folder), [element])
                frequency = table["frequency_hz"]
                self.assertGreater(len(frequency), 200)
                expected = 20.0 * np.log10(np.abs(meant(element, frequency)))
                # The table has four decimals, also of the frequency, which counts on steep slopes.
                used = expected > -120.0
                error = np.max(np.abs(table["tuning_db"] - expected)[used])
                self.assertLess(error, 2e-3)

    def test_a_chain_is_the_product_of_its_elements(self):
        elements = ELEMENTS[:10] + ELEMENTS[13:16]
        with tempfile.TemporaryDirectory() as folder:
            table = self.predict(Path(folder), elements)
            expected = np.ones(len(table))
            for element in elements:
                expected = expected * np.abs(meant(element, table["frequency_hz"]))
            error = table["tuning_db"] - 20.0 * np.log10(expected)
            self.assertLess(np.max(np.abs(error)), 3e-3)
            # The impulse is a single one, so the prediction is the tuning.
            self.assertLess(np.max(np.abs(table["level_db"] - table["tuning_db"])), 2e-3)

    def test_a_tuning_of_schema_version_one_reads_the_same(self):
        with tempfile.TemporaryDirectory() as folder:
            new = self.predict(Path(folder), [ELEMENTS[3]])["tuning_db"]
            old = self.predict(Path(folder), [ELEMENTS[3]], version=1)["tuning_db"]
            self.assertTrue(np.array_equal(new, old))

    def test_a_group_acts_on_the_outputs_that_it_covers(self):
        element = {"type": "gain", "gainDb": 6.0}
        for group, side, gain in (
            ("front", "front-left", 6.0),
            ("left", "rear-left", 6.0),
            ("left", "right", 0.0),
            ("all", "rear", 6.0),
        ):
            with self.subTest(group=group, side=side), tempfile.TemporaryDirectory() as folder:
                table = self.predict(Path(folder), [element], "--side", side, group=group)
                self.assertLess(np.max(np.abs(table["tuning_db"] - gain)), 1e-3)


class Export(unittest.TestCase):
    """`export` to biquads: scipy's sosfreqz of the coefficients against the prototypes' freqs."""

    def export(self, folder, elements, rate):
        tuning = write_tuning(folder, elements)
        out = folder / "biquads.json"
        core.run("export", "--tuning", tuning, "--out", out, "--rate", rate)
        document = json.loads(out.read_text(encoding="utf-8"))
        self.assertEqual(document["sampleRate"], rate)
        self.assertIn("- a1*y[n-1] - a2*y[n-2]", document["differenceEquation"])
        return document["groups"][0]

    @staticmethod
    def response(group, frequency, rate):
        sections = [
            [biquad["b0"], biquad["b1"], biquad["b2"], 1.0, biquad["a1"], biquad["a2"]]
            for biquad in group["biquads"]
        ]
        whole = np.full(len(frequency), group["gainLinear"], dtype=complex)
        if sections:
            whole *= signal.sosfreqz(np.array(sections), worN=frequency, fs=rate)[1]
        delay = np.exp(-2.0j * np.pi * frequency / rate * group["delaySamples"])
        return whole * delay

    def worst(self, elements, rate):
        frequency = np.geomspace(15.0, 20000.0, 700)
        with tempfile.TemporaryDirectory() as folder:
            group = self.export(Path(folder), elements, rate)
        heard = 20.0 * np.log10(np.abs(self.response(group, frequency, rate)) + 1e-30)
        wanted = np.ones(len(frequency), dtype=complex)
        for element in elements:
            wanted = wanted * meant(element, frequency)
        level = 20.0 * np.log10(np.abs(wanted) + 1e-30)
        return np.max(np.abs(heard - level)[level > -30.0])

    def test_every_element_stays_with_its_prototype_up_to_20_khz(self):
        for rate in (44100, 48000, 96000):
            for element in ELEMENTS:
                with self.subTest(rate=rate, element=element):
                    # A graphic has 31 sections; what each is off adds up in part.
                    self.assertLess(self.worst([element], rate), 0.3)

    def test_a_grid_of_filters_stays_with_the_prototype_at_44_khz(self):
        worst = 0.0
        for frequency in (20.0, 150.0, 1000.0, 5000.0, 9000.0, 12000.0, 16000.0):
            for q in (0.3, 0.7071, 2.0, 8.0):
                for kind, gain in (
                    ("peaking", 12.0),
                    ("peaking", -12.0),
                    ("low-shelf", 12.0),
                    ("high-shelf", -12.0),
                ):
                    element = {"type": kind, "frequencyHz": frequency, "q": q, "gainDb": gain}
                    worst = max(worst, self.worst([element], 44100))
        self.assertLess(worst, 0.11)

    def test_the_ways_of_a_crossover_add_up(self):
        # Linkwitz 1976: both ways of order 4 add up to a flat level. Phase counts here.
        rate = 48000
        frequency = np.geomspace(30.0, 20000.0, 400)
        total = 0.0
        for kind in ("low-pass", "high-pass"):
            element = {
                "type": kind,
                "frequencyHz": 3000.0,
                "order": 4,
                "alignment": "linkwitz-riley",
            }
            with tempfile.TemporaryDirectory() as folder:
                group = self.export(Path(folder), [element], rate)
            total = total + self.response(group, frequency, rate)
        self.assertLess(np.max(np.abs(20.0 * np.log10(np.abs(total)))), 0.15)

    def test_gain_polarity_and_delay_are_exported(self):
        elements = [
            {"type": "gain", "gainDb": -6.0},
            {"type": "delay", "delayMs": 1.5},
            {"type": "polarity"},
        ]
        with tempfile.TemporaryDirectory() as folder:
            group = self.export(Path(folder), elements, 44100)
        self.assertAlmostEqual(group["gainLinear"], 10.0 ** (-6.0 / 20.0), places=12)
        self.assertAlmostEqual(group["delaySamples"], 66.15, places=9)
        self.assertEqual(group["polarity"], "inverted")
        self.assertEqual(group["biquads"], [])


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    core.program = sys.argv.pop(1)
    unittest.main(verbosity=2)
