"""Holds `saddletone blind` against the statistics of scipy and against an order of trials derived
here from the written rule.

Usage: blind_against_scipy.py PATH_OF_SADDLETONE [unittest arguments]
"""

import itertools
import json
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

import numpy as np
from scipy import stats

program = None


def run(*arguments):
    return subprocess.run(
        [program, "blind", *map(str, arguments)], capture_output=True, text=True, check=False
    )


def chance(*arguments):
    result = run("--json", *arguments)
    assert result.returncode == 0, result.stderr
    return json.loads(result.stdout)


def largest_count_chance(largest, trials, candidates):
    """All ways of sharing the trials out, each with its multinomial probability."""
    bars = np.array(
        list(itertools.combinations(range(trials + candidates - 1), candidates - 1)), dtype=int
    )
    edges = np.column_stack(
        [np.full(len(bars), -1), bars, np.full(len(bars), trials + candidates - 1)]
    )
    counts = np.diff(edges, axis=1) - 1
    probability = stats.multinomial.pmf(counts, trials, np.full(candidates, 1 / candidates))
    return probability[counts.max(axis=1) >= largest].sum()


class SplitMix64:
    """Steele, Lea and Flood, OOPSLA 2014."""

    def __init__(self, seed):
        self.state = seed

    def bits(self):
        mask = 2**64 - 1
        self.state = (self.state + 0x9E3779B97F4A7C15) & mask
        z = self.state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & mask
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & mask
        return z ^ (z >> 31)

    def below(self, bound):
        while (bits := self.bits()) >= 2**64 // bound * bound:
            pass
        return bits % bound


def derive_order(kind, candidates, trials, seed):
    random = SplitMix64(seed)
    if kind == "abx":
        first = random.below(2)
        named = [first, 1 - first]
        return [named + [named[random.below(2)]] for _ in range(trials)]
    result = []
    for _ in range(trials):
        order = list(range(candidates))
        for place in range(candidates - 1, 0, -1):
            other = random.below(place + 1)
            order[place], order[other] = order[other], order[place]
        result.append(order)
    return result


def make_run(kind, candidates, seed, answers, planned=16):
    order = derive_order(kind, candidates, len(answers), seed)
    return {
        "kind": kind,
        "outcome": "complete" if len(answers) == planned else "abandoned",
        "startedAt": "",
        "trialsPlanned": planned,
        "seed": seed,
        "orderMethod": "splitmix64-shuffle-1",
        "conditions": {
            "match": "equal-loudness",
            "monitor": "programme-and-noise",
            "speedKmh": 80.0,
            "noiseTrimDb": 0.0,
            "helmet": "full",
            "programme": "music.wav",
        },
        "candidates": [{"name": f"c{n}", "stateId": "s"} for n in range(candidates)],
        "trials": [{"order": o, "answer": a} for o, a in zip(order, answers)],
    }


class Chances(unittest.TestCase):
    def test_abx_is_the_binomial_test(self):
        for trials in range(12, 26):
            for correct in range(0, trials + 1):
                expected = stats.binomtest(correct, trials, 0.5, alternative="greater").pvalue
                answer = chance("--correct", correct, "--trials", trials)
                np.testing.assert_allclose(answer["chance"], expected, rtol=1e-11)
                self.assertEqual(answer["isResult"], bool(expected <= 0.05))
                self.assertEqual(correct >= answer["needed"], bool(expected <= 0.05))

    def test_preference_of_two_is_the_two_sided_binomial_test(self):
        for trials in (12, 17, 25):
            for count in range((trials + 1) // 2, trials + 1):
                expected = stats.binomtest(count, trials, 0.5).pvalue
                answer = chance("--correct", count, "--trials", trials, "--candidates", 2)
                np.testing.assert_allclose(answer["chance"], expected, rtol=1e-11)

    def test_preference_of_several_is_the_sum_over_the_multinomial_distribution(self):
        for trials, candidates in ((16, 3), (25, 4), (13, 6), (12, 8)):
            for count in range(1, trials + 1):
                answer = chance("--correct", count, "--trials", trials, "--candidates", candidates)
                expected = largest_count_chance(count, trials, candidates)
                # What scipy sums are some ten thousand probabilities with rounding of their own.
                np.testing.assert_allclose(answer["chance"], min(1.0, expected), rtol=1e-9)


class StoredRuns(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.job = Path(folder.name)

    def write(self, *runs):
        document = {"kind": "saddletone-job", "schemaVersion": 1, "blindRuns": runs}
        (self.job / "job.json").write_text(json.dumps(document))

    def test_order_is_the_one_of_the_written_rule(self):
        cases = [("abx", 2, 2**53 - 1), ("preference", 3, 0), ("preference", 8, 123456789)]
        self.write(*(make_run(kind, count, seed, [1] * 16) for kind, count, seed in cases))
        for number, (kind, count, seed) in enumerate(cases, start=1):
            result = run("--job", self.job, "--verify", number, "--json")
            self.assertEqual(result.returncode, 0, result.stderr)
            self.assertEqual(json.loads(result.stdout)["order"], derive_order(kind, count, 16, seed))

    def test_changed_order_is_found_out(self):
        changed = make_run("abx", 2, 77, [0] * 16)
        order = changed["trials"][5]["order"]
        order[2] = 1 - order[2]
        self.write(make_run("abx", 2, 77, [0] * 16), changed)
        self.assertEqual(run("--job", self.job, "--verify", 1).returncode, 0)
        result = run("--job", self.job, "--verify", 2)
        self.assertEqual(result.returncode, 1)
        self.assertIn("seed 77", result.stderr)
        self.assertEqual(run("--job", self.job, "--verify", 3).returncode, 2)

    def test_listed_chances_are_those_of_the_answers(self):
        random = np.random.default_rng(1)
        runs = [make_run("abx", 2, int(seed), random.integers(0, 2, 16).tolist()) for seed in range(8)]
        runs.append(make_run("preference", 4, 5, random.integers(0, 4, 16).tolist()))
        runs.append(make_run("abx", 2, 6, [0] * 15))
        self.write(*runs)
        result = run("--job", self.job, "--list", "--json")
        self.assertEqual(result.returncode, 0, result.stderr)
        listed = json.loads(result.stdout)["runs"]
        for given, told in zip(runs, listed):
            picks = [trial["order"][trial["answer"]] for trial in given["trials"]]
            if given["outcome"] == "abandoned":
                self.assertNotIn("chance", told)
                self.assertNotIn("numCorrect", told)
            elif given["kind"] == "abx":
                correct = sum(p == t["order"][2] for p, t in zip(picks, given["trials"]))
                expected = stats.binomtest(correct, 16, 0.5, alternative="greater").pvalue
                self.assertEqual(told["numCorrect"], correct)
                np.testing.assert_allclose(told["chance"], expected, rtol=1e-11)
            else:
                counts = [picks.count(candidate) for candidate in range(4)]
                self.assertEqual(told["timesChosen"], counts)
                np.testing.assert_allclose(
                    told["chance"], largest_count_chance(max(counts), 16, 4), rtol=1e-9
                )

    def test_wrong_usage(self):
        self.write()
        self.assertEqual(run().returncode, 2)
        self.assertEqual(run("--correct", 3).returncode, 2)
        self.assertEqual(run("--correct", 13, "--trials", 12).returncode, 2)
        self.assertEqual(run("--correct", 3, "--trials", 12, "--candidates", 9).returncode, 2)
        self.assertEqual(run("--job", self.job, "--correct", 3, "--trials", 12).returncode, 2)
        self.assertEqual(run("--job", self.job / "nowhere").returncode, 1)
        result = run("--job", self.job)
        self.assertEqual(result.returncode, 0)
        self.assertIn("no blind test", result.stdout)


if __name__ == "__main__":
    program = sys.argv.pop(1)
    unittest.main()
