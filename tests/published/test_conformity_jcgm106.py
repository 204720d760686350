"""Conformance probability against the worked examples of JCGM 106:2012 and its closed form in 7.4."""

import json
from math import erf, sqrt
from pathlib import Path

import pytest

from calibration.statistics.uncertainty import Word, conformance_probability, conformity

EXAMPLES = json.loads((Path(__file__).parents[1] / "data/jcgm106_examples.json").read_text())["rows"]


@pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: row["id"])
def test_one_sided_examples(row):
    # a limit a hundred u away stands for the one that is not there
    far = 100 * row["u"]
    lower = row["value"] - far if row["lower"] is None else row["lower"]
    upper = row["value"] + far if row["upper"] is None else row["upper"]
    computed = conformance_probability(row["value"], row["u"], lower, upper)
    assert round(computed, row["digits"]) == row["probability"]


@pytest.mark.parametrize(
    ("value", "u", "target", "tolerance"),
    [(1.38, 0.02, 1.40, 0.10), (1.55, 0.02, 1.40, 0.10), (1.49, 0.03, 1.40, 0.10), (190.0, 3.0, 185.0, 15.0)],
)
def test_two_sided_closed_form(value, u, target, tolerance):
    # JCGM 106:2012, 7.4: Φ((TU - y)/u) - Φ((TL - y)/u), Φ by the error function
    def phi(z):
        return (1 + erf(z / sqrt(2))) / 2

    expected = phi((target + tolerance - value) / u) - phi((target - tolerance - value) / u)
    assert conformity(value, u, target, tolerance).probability == pytest.approx(expected, abs=1e-12)


def test_half_at_the_limit():
    # JCGM 106:2012, 7.4: a value on one limit, the other far away, conforms with probability one half
    at_limit = conformity(1.50, 0.02, 1.40, 0.10)
    assert at_limit.probability == pytest.approx(0.5, abs=1e-6)
    assert at_limit.word is Word.TOO_CLOSE
