"""Shares and their differences against Newcombe 1998, Statistics in Medicine 17:857, table I, and 17:873, table II."""

import numpy as np
import pytest
from scipy.stats import binomtest

from calibration.statistics.capability import wilson
from calibration.statistics.differences import newcombe, share_difference
from calibration.statistics.shares import Inside, share_inside
from tests.published.cases import case

PRINTED = 5e-5  # half of the last of four decimals


def one_a_day(inside, n, first=0):
    """Brews that cannot cluster by person or day, in an order that resembles no neighbour: one person, a brew a day."""
    hits = np.zeros(n)
    hits[np.linspace(0, n - 1, inside).round().astype(int)] = 1
    return Inside.of(np.zeros(n), first + 10 * np.arange(n), hits, np.ones(n))


@pytest.mark.parametrize("row", case("newcombe_1998_single")["rows"])
def test_single_share(row):
    low, high = row["low"], row["high"]
    found = wilson(row["inside"], row["n"])
    assert (found.low, found.high) == (pytest.approx(low, abs=PRINTED), pytest.approx(high, abs=PRINTED))
    # and against another program, to its last digits
    other = binomtest(row["inside"], row["n"]).proportion_ci(method="wilson")
    assert (found.low, found.high) == (pytest.approx(other.low), pytest.approx(other.high))


@pytest.mark.parametrize("row", case("newcombe_1998_single")["rows"][:2])
def test_a_crew_whose_brews_do_not_cluster_has_these_limits(row):
    found = share_inside(one_a_day(row["inside"], row["n"]))
    assert not found.clusters
    assert found.crew == found.plain
    assert (found.crew.low, found.crew.high) == (
        pytest.approx(row["low"], abs=PRINTED),
        pytest.approx(row["high"], abs=PRINTED),
    )


@pytest.mark.parametrize("row", case("newcombe_1998_differences")["rows"])
def test_difference(row):
    a, m, b, n = (row[key] for key in "amb" + "n")
    found = newcombe(a / m, wilson(a, m), b / n, wilson(b, n))
    assert (found.low, found.high) == (
        pytest.approx(row["low"], abs=PRINTED),
        pytest.approx(row["high"], abs=PRINTED),
    )


def test_two_spans_whose_brews_do_not_cluster():
    row = case("newcombe_1998_differences")["rows"][0]
    found = share_difference(one_a_day(row["a"], row["m"], first=10_000), one_a_day(row["b"], row["n"]))
    for limits in (found.interval, found.alike.interval):
        assert (limits.low, limits.high) == (
            pytest.approx(row["low"], abs=PRINTED),
            pytest.approx(row["high"], abs=PRINTED),
        )
