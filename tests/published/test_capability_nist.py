"""Capability indices against the NIST/SEMATECH e-Handbook, 6.1.6; Wilson's interval against its own worked example."""

import pytest

from calibration.statistics.capability import indices, wilson
from tests.published.cases import holds


def test_indices_from_summary_values():
    found = indices(mean=16, sd=2, lower=8, upper=20)
    holds(
        "capability_nist",
        {"Cp": found.cp, "Cpu": found.cpu, "Cpl": found.cpl, "Cpk": found.cpk, "k": found.k},
    )


# Newcombe 1998, Statistics in Medicine 17:857, table I, method 3 (from memory): score intervals of four shares
@pytest.mark.parametrize(
    ("inside", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_newcombe(inside, n, low, high):
    found = wilson(inside, n)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))
