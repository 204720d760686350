"""Paired and unpaired differences against Student's own example.

Student 1908, The probable error of a mean, Biometrika 6:1, doi:10.1093/biomet/6.1.1: hours of sleep gained by ten
patients on two drugs (data from memory, as they stand in many textbooks). Student's mean difference is 1.58 hours;
with n - 1 below, t = 4.06 with 9 degrees of freedom; Welch's t of the two columns is 1.86 with 17.8.
"""

import pytest

from calibration.statistics.paired import before_after, paired

FIRST = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SECOND = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_paired_sleep():
    found = paired(SECOND, FIRST, margin=1.0)
    assert found.difference == pytest.approx(1.58)
    assert found.difference / found.se == pytest.approx(4.0621, abs=5e-5)
    assert found.p == pytest.approx(0.002833, abs=5e-7)
    assert (found.interval.low, found.interval.high) == (
        pytest.approx(0.7001, abs=5e-5),
        pytest.approx(2.4599, abs=5e-5),
    )


def test_welch_sleep():
    found = before_after(FIRST, SECOND, target=0.0, margin=1.0)
    assert found.change == pytest.approx(1.58)
    assert found.p == pytest.approx(0.07939, abs=5e-6)
    assert (found.change_interval.low, found.change_interval.high) == (
        pytest.approx(-0.2055, abs=5e-5),
        pytest.approx(3.3655, abs=5e-5),
    )
