"""Brew-ratio lines: where they run, which are drawn, and that every point of one is a brew of that ratio."""

import pytest

from recipes.brewing import extraction
from recipes.brewing.ratio_lines import APART, MOST_WHOLE_RATIOS, View, line_in, whole_ratios_in

VIEW = View(ey_pct=(17.0, 23.0), tds_pct=(1.10, 1.60))


def test_the_worked_brew_lies_on_its_line():
    # Computed: 15 g to 250 g, 220 g at 1.40 % yield 20.53 % and kept 2.205 g/g; the line is drawn for 2.2 g/g.
    assert extraction.percolation_yield_pct(1.40, 220, 15) == pytest.approx(20.53, abs=0.005)
    assert extraction.water_retained_g_per_g(15, 250, 220, 1.40) == pytest.approx(2.205, abs=0.0005)
    line = line_in(VIEW, 250 / 15)
    above = min(range(len(line.ey_pct)), key=lambda at: abs(line.ey_pct[at] - 20.53))
    slope = line.tds_pct[above] / line.ey_pct[above]
    assert line.tds_pct[above] + slope * (20.53 - line.ey_pct[above]) == pytest.approx(1.40, abs=0.002)


@pytest.mark.parametrize("ratio", [14, 15, 16.7, 18, 20])
def test_every_point_keeps_the_balance_of_solids_and_stays_in_view(ratio):
    line = line_in(VIEW, ratio)
    for ey, tds in zip(line.ey_pct, line.tds_pct, strict=True):
        # By the balances one after the other: 1 g of dose, solids E, water R - 2.2, both in the server.
        solids, water = ey / 100, ratio - 2.2
        assert tds == pytest.approx(100 * solids / (solids + water))
        assert VIEW.ey_pct[0] - 1e-9 <= ey <= VIEW.ey_pct[1] + 1e-9
        assert VIEW.tds_pct[0] - 1e-9 <= tds <= VIEW.tds_pct[1] + 1e-9
    end = (line.tds_pct[-1], VIEW.tds_pct[1]) if line.ends_above else (line.ey_pct[-1], VIEW.ey_pct[1])
    assert end[0] == pytest.approx(end[1])


def test_a_line_outside_or_across_a_corner_is_not_drawn():
    assert line_in(VIEW, 8) is None
    assert line_in(VIEW, 40) is None
    assert line_in(VIEW, 2.2) is None


@pytest.mark.parametrize(
    "view",
    [
        VIEW,
        View((17.0, 23.0), (1.2, 1.4)),
        View((0.0, 30.0), (0.0, 3.0)),
        View((20.0, 20.5), (1.40, 1.42)),
        View((0.0, 3.0), (0.0, 0.2)),
    ],
)
def test_whole_ratios_are_few_and_keep_clear_of_the_recipes_own(view):
    own = [16.7]
    drawn = whole_ratios_in(view, own)
    assert len(drawn) <= MOST_WHOLE_RATIOS
    assert all(ratio == int(ratio) and line_in(view, ratio) for ratio in drawn)
    assert all(abs(ratio - 16.7) >= APART for ratio in drawn)


def test_the_usual_view_has_the_usual_ratios():
    # By hand: 1:15 leaves by the top at 1.45/98.55 × 12.8 = 18.8 %, a fifth of the way; 1:17 is beside the recipe's.
    assert whole_ratios_in(View((18.0, 22.0), (1.2, 1.45)), [16.7]) == [16, 18, 19]
