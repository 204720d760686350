"""Facts of the trade, held against the physics: common practice, no source, every one of them.

Only the direction is tested. Where the physics has nothing to say, the words do: `test_expectations`.
"""

from itertools import pairwise

import pytest

from recipes.brewing.foresight import foresee
from recipes.brewing.plan import Pattern, Pour, PourPlan
from recipes.brewing.stream import attenuation, breakup_height_mm, impact_velocity_m_s, stream_diameter_mm

BLOOM = Pour(0, 40, Pattern.CIRCLE, 4, 80)


def in_pours(count, flow=5.0, height=80.0):
    """A bloom and so many equal pours from 0:45 on, each as long after the one before it as all share 105 s.

    The time matters: where the last pour may not come later, a fourth pour only brings water sooner, and neither
    energy nor temperature moves by more than a hundredth.
    """
    share = 210 / count
    pours = [
        Pour(45 + 105 * index / count, 40 + share * (index + 1), Pattern.CIRCLE, flow, height)
        for index in range(count)
    ]
    return PourPlan(15, 250, 93, False, (BLOOM, *pours))


@pytest.mark.parametrize("flow", [4.0, 6.0])
def test_within_one_pour_energy_falls_as_the_column_grows(flow):
    """R4, common practice, no source."""
    seen = foresee(in_pours(1, flow))
    velocity = impact_velocity_m_s(flow, 93, 6, 80)
    diameter_mm = stream_diameter_mm(flow, 93, velocity)
    columns = seen.curves.column_mm[46 : 45 + int(210 / flow)]
    assert all(later > earlier for earlier, later in pairwise(columns))
    reaching = [attenuation(diameter_mm, column) for column in columns]
    assert all(later <= earlier for earlier, later in pairwise(reaching))
    assert reaching[-1] < 0.6 * reaching[0]


@pytest.mark.parametrize("count", [2, 3, 4])
def test_more_pours_of_the_same_water_bring_more_energy_under_a_shorter_column(count):
    """R3, common practice, no source."""
    fewer, more = foresee(in_pours(count - 1)), foresee(in_pours(count))
    assert more.energy_mJ > fewer.energy_mJ
    assert more.tallest_mm < fewer.tallest_mm


def test_more_pours_brew_cooler_on_average_by_less_than_can_be_told():
    """R3, common practice, no source; how much is this model's, inside its own band."""
    seen = [foresee(in_pours(count)) for count in (1, 2, 3, 5)]
    means = [one.mean_C.best for one in seen]
    assert all(cooler < warmer for warmer, cooler in pairwise(means))
    band = seen[0].mean_C
    assert means[0] - means[-1] < min(band.best - band.low, band.high - band.best)


def test_energy_grows_with_height_up_to_breakup_and_is_not_claimed_beyond():
    """R5, common practice, no source."""
    breaks_mm = breakup_height_mm(5, 93)
    heights = [10, 40, 70, 100, breaks_mm]
    energies = [foresee(in_pours(2, height=height)).pours[1].energy_mJ for height in heights]
    assert all(lower < higher for lower, higher in pairwise(energies))
    for height in (breaks_mm + 1, 200, 290):
        seen = foresee(in_pours(2, height=height))
        assert seen.pours[1].energy_mJ is None
        assert seen.energy_mJ is None


def test_a_pour_low_and_fast_lands_on_a_thicker_stream():
    """R5: why it can dig a hole. Common practice, no source."""
    low, high = (foresee(in_pours(2, 9.0, height)).pours[1] for height in (15, 80))
    assert low.stream_diameter_at_impact_mm > high.stream_diameter_at_impact_mm


def test_hotter_water_breaks_later_in_theory_and_sooner_in_the_trade():
    """R6 is left open: theory says a little later, so no correction is made either way."""
    assert 1 < breakup_height_mm(5, 93) / breakup_height_mm(5, 20) < 1.13
