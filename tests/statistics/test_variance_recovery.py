"""The components the scenario is made from are found again, and limits hold them as often as they say.

Staff, days and brews are drawn anew for every seed; the scenario's planted drifts and mishaps are left out. Truths on
the boundary stand apart: limits there hold more often, since a spread can't be estimated below 0.
"""

import pytest

from calibration.scenario.truth import Components
from calibration.statistics.variance import SEEN_IN_SIMULATION
from tests.statistics.recovery import coverage, scenario_design, small_design

pytestmark = pytest.mark.slow

SEEDS = range(2000)
SPREADS = tuple(
    f"{what} {name}" for what in ("sd", "share") for name in ("staff", "day", "staff:day", "brew")
)


def beyond(value, low, high):
    """How far outside a band, in standard errors."""
    share, error = value
    return max(low - share, share - high, 0.0) / error


def test_the_scenario_is_found_again():
    found = coverage(scenario_design(), Components(), SEEDS)
    for name in (*SPREADS, "staff"):
        assert beyond(found[name], 0.935, 0.965) < 2, (name, found[name])
    assert found["lower"][0] == 0  # no profile came upon a lower place than the search had


@pytest.mark.parametrize("baristas", SEEN_IN_SIMULATION)
def test_small_designs_hold_what_is_written_where_limits_are_explained(baristas):
    found = coverage(small_design(baristas), Components(), SEEDS)
    spread, effects, mean = SEEN_IN_SIMULATION[baristas]
    # half a percent for the rounding of what is written, three standard errors for the seeds
    for name, written in (("sd staff", spread), ("staff", effects), ("mean", mean)):
        assert beyond(found[name], written / 100 - 0.005, written / 100 + 0.005) < 3, (name, found[name])
    assert found["plug-in"][0] < found["staff"][0]


def test_a_truth_on_the_boundary_is_held_more_often():
    found = coverage(small_design(8), Components(staff_day=0.0), range(1000))
    assert found["sd staff:day"][0] > 0.96
    assert found["share staff:day"][0] > 0.96
    for name in SPREADS:
        assert found[name][0] > 0.92, (name, found[name])
