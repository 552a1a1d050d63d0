"""Holds `saddletone cost` against a state-space model of the speaker in scipy, which knows masses,
springs and air and none of the transfer functions the program uses.

Usage: cost_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import json
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

import numpy as np
from scipy import signal

program = None

AIR_DENSITY = 1.2
SOUND_SPEED = 343.0
CREST = 10.0 ** (12.0 / 20.0)

SPEAKER = {
    "kind": "saddletone-speaker",
    "schemaVersion": 1,
    "name": "test",
    "status": "measured",
    "fsHz": 62.0,
    "qts": 0.48,
    "qms": 4.0,
    "vasLitres": 14.0,
    "sdSquareCentimetres": 133.0,
    "xmaxMm": 4.5,
    "reOhm": 3.4,
    "nominalImpedanceOhm": 4.0,
    "powerLimitWatts": 75.0,
    "numSpeakers": 2,
}

ELEMENTS = [
    {"type": "low-shelf", "frequencyHz": 120.0, "gainDb": 6.0, "q": 0.7071067811865476},
    {"type": "peaking", "frequencyHz": 2500.0, "gainDb": -4.0, "q": 1.5},
    {"type": "high-pass", "frequencyHz": 45.0, "order": 4},
]


def speaker_response(enclosure, frequency):
    """Metres of displacement and pascal at 1 m (half space) per volt."""
    area = 1e-4 * SPEAKER["sdSquareCentimetres"]
    omega = 2 * np.pi * SPEAKER["fsHz"]
    stiffness = AIR_DENSITY * SOUND_SPEED**2
    compliance = 1e-3 * SPEAKER["vasLitres"] / (stiffness * area**2)
    mass = 1 / (omega**2 * compliance)
    friction = omega * mass / SPEAKER["qms"]
    qes = 1 / (1 / SPEAKER["qts"] - 1 / SPEAKER["qms"])
    resistance = SPEAKER["reOhm"]
    motor = np.sqrt(omega * mass * resistance / qes)
    damping = friction + motor**2 / resistance
    # States: displacement, velocity, and in a box its pressure and the air's flow in the port.
    if enclosure["kind"] == "free-air":
        a = np.array([[0, 1], [-1 / (compliance * mass), -damping / mass]])
        outside = np.array([0, area])
    else:
        volume = 1e-3 * enclosure["volumeLitres"] / stiffness
        vented = enclosure["kind"] == "vented"
        box = 2 * np.pi * enclosure.get("tuningHz", 1.0)
        leak = box * volume / enclosure.get("leakageQ", 7.0) if vented else 0.0
        port = box**2 * volume if vented else 0.0
        a = np.array([
            [0, 1, 0, 0],
            [-1 / (compliance * mass), -damping / mass, -area / mass, 0],
            [0, area / volume, -leak / volume, -1 / volume],
            [0, 0, port, 0],
        ])
        outside = np.array([0, area, -leak, -1.0])
    b = np.zeros((len(a), 1))
    b[1, 0] = motor / resistance / mass
    states = np.array([np.linalg.solve(2j * np.pi * f * np.eye(len(a)) - a, b)[:, 0] for f in frequency])
    pressure = 2j * np.pi * frequency * AIR_DENSITY * (states @ outside) / (2 * np.pi)
    return states[:, 0], pressure


def tuning_response(frequency):
    """The cookbook's analogue prototypes, and scipy's own Butterworth."""
    total = np.ones(len(frequency), dtype=complex)
    for element in ELEMENTS:
        if element["type"] == "high-pass":
            b, a = signal.butter(element["order"], element["frequencyHz"], "high", analog=True)
        else:
            gain, q = 10 ** (element["gainDb"] / 40), element["q"]
            if element["type"] == "peaking":
                b, a = [1, gain / q, 1], [1, 1 / (gain * q), 1]
            else:
                root = np.sqrt(gain) / q
                b, a = gain * np.array([1, root, gain]), [gain, root, 1]
            scale = element["frequencyHz"] ** -np.arange(2.0, -1.0, -1.0)
            b, a = np.array(b) * scale, np.array(a) * scale
        total = total * signal.freqs(b, a, worN=frequency)[1]
    return total


class CostTests(unittest.TestCase):
    def check_enclosure(self, enclosure):
        level, distance = 93.0, 0.7
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "speaker.json").write_text(json.dumps({**SPEAKER, "enclosure": enclosure}))
            (folder / "tuning.json").write_text(json.dumps({
                "kind": "saddletone-tuning", "schemaVersion": 1, "name": "t",
                "chains": [{"elements": ELEMENTS}]}))
            done = subprocess.run(
                [program, "--json", "cost", "--tuning", folder / "tuning.json", "--speaker",
                 folder / "speaker.json", "--amplifier-watts", "25", "--level-db-spl", str(level),
                 "--distance-metres", str(distance)],
                capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 0, done.stderr)
        found = json.loads(done.stdout)

        # Pink noise: as much power in every third octave (IEC 61260-1, base ten, 20 Hz to 20 kHz),
        # evenly over log frequency within it.
        points = 1000
        edges = 10 ** ((np.arange(13, 44) - 0.5) / 10)
        steps = 10 ** ((np.arange(points) + 0.5) / points / 10)
        frequency = (edges[:, None] * steps).ravel()
        displacement, pressure = speaker_response(enclosure, frequency)
        tuned = np.abs(tuning_response(frequency)) ** 2

        def means(values):
            return values.reshape(31, points).mean(axis=1)

        pressures = SPEAKER["numSpeakers"] * np.abs(pressure / distance) ** 2
        volts = (20e-6 * 10 ** (level / 20)) ** 2 / means(pressures).sum()  # mean square of a band
        moved = np.abs(1e3 * displacement) ** 2
        for key, factor in (("before", np.ones(len(frequency))), ("after", tuned)):
            watts = volts * means(factor) / SPEAKER["nominalImpedanceOhm"]
            excursion = CREST * np.sqrt(volts * means(moved * factor))
            spl = 10 * np.log10(volts * means(pressures * factor) / 4e-10)
            capital = key.capitalize()
            for index, band in enumerate(found["bands"]):
                with self.subTest(enclosure=enclosure["kind"], state=key, hz=band["frequencyHz"]):
                    # The program takes 25 points to a band: 0.3 % of the power at the steepest.
                    self.assertAlmostEqual(band["watts" + capital] / watts[index], 1, delta=0.005)
                    self.assertAlmostEqual(band["excursion" + capital + "Mm"] / excursion[index], 1,
                                           delta=0.005)
                    self.assertAlmostEqual(band["spl" + capital + "Db"], spl[index], delta=0.03)
            state = found[key]
            total = CREST * np.sqrt(volts * means(moved * factor).sum())
            self.assertAlmostEqual(state["peakExcursionMm"] / total, 1, delta=0.003)
            self.assertAlmostEqual(state["excursionMarginDb"], 20 * np.log10(4.5 / total), delta=0.03)
            self.assertAlmostEqual(state["wattsPerSpeaker"] / watts.sum(), 1, delta=0.003)
            self.assertAlmostEqual(state["splDb"],
                                   10 * np.log10(volts * means(pressures * factor).sum() / 4e-10),
                                   delta=0.01)
            peak = CREST * np.sqrt(watts.sum() * 4)
            self.assertAlmostEqual(state["clipMarginDb"], 20 * np.log10(np.sqrt(200) / peak), delta=0.02)

    def test_free_air(self):
        self.check_enclosure({"kind": "free-air"})

    def test_sealed(self):
        self.check_enclosure({"kind": "sealed", "volumeLitres": 6.0})

    def test_vented(self):
        self.check_enclosure({"kind": "vented", "volumeLitres": 18.0, "tuningHz": 58.0, "leakageQ": 7.0})
        self.check_enclosure({"kind": "vented", "volumeLitres": 30.0, "tuningHz": 40.0, "leakageQ": 30.0})


if __name__ == "__main__":
    program = sys.argv.pop(1)
    unittest.main()
