"""Critical ranges against ISO 5725-6:1994, table 1, and against the integral that the table comes from."""

import json
from math import exp, pi, sqrt
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

from calibration.statistics.precision import critical_range, settle_drops

FACTORS = json.loads((Path(__file__).parents[1] / "data/iso5725_6_critical_range.json").read_text())[
    "factors"
]
STANDARD = NormalDist()


def range_within(n, width):
    """P(range of n standard normals <= width) = n ∫ φ(x) (Φ(x + width) - Φ(x))^(n - 1) dx."""
    x = np.linspace(-8, 8, 801)
    inside = [
        exp(-t * t / 2) / sqrt(2 * pi) * (STANDARD.cdf(t + width) - STANDARD.cdf(t)) ** (n - 1) for t in x
    ]
    return n * np.trapezoid(inside, x)


@pytest.mark.parametrize(("n", "factor"), [(int(n), factor) for n, factor in FACTORS.items()])
def test_critical_range_factor(n, factor):
    assert critical_range(n, 1.0) == factor
    low, high = 2.0, 6.0
    while high - low > 1e-4:
        middle = (low + high) / 2
        low, high = (low, middle) if range_within(n, middle) >= 0.95 else (middle, high)
    # the table has one decimal
    assert round(high, 1) == factor


@pytest.mark.parametrize("n", [1, 11])
def test_no_factor_beyond_the_table(n):
    with pytest.raises(ValueError, match="2 to 10"):
        critical_range(n, 0.01)


# ISO 5725-6:1994, 5.2, expensive tests, step by step; critical ranges with resolution far below the spread
# are 2.8, 3.3, 3.6 and 3.9 times 0.1.
@pytest.mark.parametrize(
    ("drops", "rule", "value", "ask_another"),
    [
        ((1.00, 1.28), "mean", 1.14, False),
        ((1.00, 1.29), "mean", 1.145, True),
        ((1.00, 1.29, 1.20), "mean", 3.49 / 3, False),
        ((1.00, 1.34, 1.20), "median", 1.20, True),
        ((1.00, 1.34, 1.20, 1.36), "mean", 4.90 / 4, False),
        ((1.00, 1.34, 1.20, 1.37), "median", 1.27, False),
        ((1.00, 1.34, 1.20, 1.37, 1.39), "mean", 6.30 / 5, False),
        ((1.00, 1.34, 1.20, 1.37, 1.40), "median", 1.34, False),
    ],
)
def test_method_for_expensive_tests(drops, rule, value, ask_another):
    verdict = settle_drops(drops, repeatability_sd=0.1, resolution=0.01)
    assert (verdict.rule, verdict.ask_another, verdict.n) == (rule, ask_another, len(drops))
    assert verdict.value == pytest.approx(value, abs=1e-12)
