"""How a change against the span before is told: an edge that tells it from none, and whether it is enough."""

from __future__ import annotations

import pytest

from calibration.drift import MEASURES
from calibration.reporting import changed
from calibration.reporting.moved import Against
from calibration.statistics.differences import Difference, MeanDifference
from calibration.statistics.mean_squares import Interval


def against(low, high, smallest=0.05):
    middle = (low + high) / 2
    alike = Difference(middle, Interval(low, high), 5, 60, 60)
    mean = MeanDifference(1.40, 1.40 - middle, middle, alike.interval, 20.0, alike, 60, 60, 26, 26, ())
    return Against("", MEASURES["tds"], None, mean, smallest, alike.is_seen)


@pytest.mark.parametrize(
    ("low", "high", "ends"),
    [
        (-0.052, -0.002, "(−0.052 to −0.002): a change; whether it is enough to matter is not sure."),
        (0.004, 0.062, "(+0.004 to +0.062): a change; whether it is enough to matter is not sure."),
        (0.05, 0.09, "(+0.05 to +0.09): a change that matters."),
        (0.01, 0.03, "(+0.01 to +0.03): a change, but less than matters."),
        (-0.01, 0.02, "(−0.01 to +0.02): no change that matters."),
        (-0.001, 0.08, "(0.00 to +0.08): it may be no change at all."),
    ],
)
def test_a_change_and_none_never_read_alike(low, high, ends):
    one = against(low, high)
    assert changed.span_says(one).endswith(ends)


def test_without_what_matters_nothing_is_called_enough():
    assert changed.span_says(against(0.05, 0.09, smallest=None)).endswith(
        "whether it is enough to matter is not sure."
    )
