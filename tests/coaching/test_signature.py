"""Up, down, steady or unknown: another program beside it, how often each is said wrongly, and boundaries."""

import numpy as np
import pytest
from scipy import stats

from calibration.coaching import Against, Compared, Move, Quantity, Scope, compared, signature_of
from calibration.coaching.signature import sign
from tests.coaching.seen import SMALLEST, one_off

TDS = Quantity.TDS


def test_against_another_program():
    values = [0.05, 0.11, 0.02, 0.09, 0.07]
    found, other = sign(TDS, compared(values), 0.05), stats.ttest_1samp(values, 0)
    assert found.p == pytest.approx(other.pvalue)
    around = other.confidence_interval(0.95)
    assert (found.interval.low, found.interval.high) == pytest.approx((around.low, around.high))
    assert found.move is Move.UP


def test_with_a_known_spread_it_is_the_normal_test():
    found = sign(TDS, compared([0.04, 0.06], crew_sd=0.03))
    assert found.p == pytest.approx(2 * stats.norm.sf(0.05 / (0.03 / np.sqrt(2))))


@pytest.mark.parametrize("n", [3, 12])
def test_what_is_not_there_is_seen_one_time_in_twenty(n):
    rng = np.random.default_rng(11)
    draws = [sign(TDS, compared(list(rng.normal(0, 0.03, n)))).move for _ in range(2000)]
    # three standard errors of 2000 draws
    assert np.mean([move.moved for move in draws]) == pytest.approx(0.05, abs=0.015)


@pytest.mark.parametrize("true", [0.05, -0.05])
def test_steady_is_said_wrongly_one_time_in_twenty_at_most(true):
    # a true difference at the edge of what matters: Schuirmann 1987
    rng = np.random.default_rng(12)
    draws = [sign(TDS, compared(list(rng.normal(true, 0.03, 10))), 0.05).move for _ in range(2000)]
    assert np.mean([move is Move.STEADY for move in draws]) <= 0.065


def test_few_brews_that_find_nothing_are_not_steady():
    assert sign(TDS, compared([0.02, -0.06, 0.05]), 0.05).move is Move.UNKNOWN


def test_a_difference_that_is_certain_but_does_not_matter_is_steady():
    found = sign(TDS, Compared(0.02, 0.005, 40), 0.05)
    assert found.p < 0.001
    assert found.move is Move.STEADY


def test_without_a_smallest_difference_nothing_is_steady():
    assert sign(TDS, Compared(0.0, 0.001, 40)).move is Move.UNKNOWN


def test_nothing_is_invented():
    seen = signature_of(Scope.PERSON, Against.OTHERS, {TDS: compared([0.1])}, SMALLEST)
    assert all(one.move is Move.UNKNOWN for one in seen.signs.values())
    assert seen.signs[TDS].difference == pytest.approx(0.1)
    assert seen.signs[Quantity.SLURRY].difference is None
    assert seen.chance is None
    assert compared([]) is None
    # the same to the last digit says nothing of the spread
    assert compared([5.0, 5.0, 5.0]).se is None


def test_yield_is_shown_and_never_counted_beside_tds():
    both = signature_of(
        Scope.DAY,
        Against.EARLIER,
        {TDS: Compared(0.1, 0.02, 8), Quantity.YIELD: Compared(1.5, 0.3, 8)},
        SMALLEST,
    )
    assert both.signs[Quantity.YIELD].move is Move.UP
    assert [one.quantity for one in both.moved] == [TDS]


def test_chance_counts_every_figure_that_was_measured():
    rng = np.random.default_rng(13)
    seen = []
    for _ in range(1500):
        t = rng.standard_normal(4)
        measured = dict(zip(list(Quantity)[:1] + list(Quantity)[2:], t, strict=True))
        differences = {quantity: Compared(float(value), 1.0, 5) for quantity, value in measured.items()}
        seen.append(signature_of(Scope.DAY, Against.EARLIER, differences, SMALLEST).chance)
    # Bonferroni's bound over four; three standard errors of 1500 draws
    assert np.mean(np.array(seen) <= 0.05) <= 0.05 + 0.017


@pytest.mark.parametrize(
    "bad",
    [
        lambda: Compared(float("nan"), 0.1, 3),
        lambda: Compared(0.1, 0.0, 3),
        lambda: Compared(0.1, 0.1, 0),
        lambda: sign(TDS, Compared(0.1, 0.1, 3), 0.0),
        lambda: sign(TDS, Compared(0.1, 0.1, 3), risk=0.7),
    ],
)
def test_numbers_that_cannot_be(bad):
    with pytest.raises(ValueError):
        bad()


def test_a_failed_instrument_leaves_the_other_signs():
    seen = one_off(tds="+", time="+").without_strength()
    assert [one.quantity for one in seen.moved] == [Quantity.BREW_TIME]
