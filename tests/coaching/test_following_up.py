"""Whether a change held: how often 'back' and 'still off' are said wrongly; coming nearer is not coming back."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from scipy import stats

from calibration.coaching import FreshPair, Quantity, Standing, follow_up
from calibration.coaching.following_up import LOOKS, RISK, chance_to_confirm
from calibration.statistics.paired import paired

TDS = Quantity.TDS
CHANGED = date(2026, 3, 2)
MARGIN, SD = 0.05, 0.035


def fresh(differences, changed=CHANGED):
    """One pair a day, from the day after the change."""
    return [
        FreshPair(day, changed + timedelta(days=day + 1), 1.40 + float(value), 1.40)
        for day, value in enumerate(differences)
    ]


def standing(differences):
    return follow_up(TDS, fresh(differences), CHANGED, MARGIN).standing


# --- how often it is wrong


@pytest.mark.parametrize("true", [MARGIN, -MARGIN, 1.5 * MARGIN])
def test_without_a_true_change_back_is_said_at_the_stated_rate_at_most(true):
    """Off by the smallest difference or more, and looked in on after every brew: see the next test but two."""
    rng = np.random.default_rng(21)
    runs = 1000
    told = [standing(draw) is Standing.BACK for draw in rng.normal(true, SD, (runs, LOOKS[-1]))]
    # three standard errors of 1000 draws
    assert np.mean(told) <= RISK + 3 * (RISK * (1 - RISK) / runs) ** 0.5


def test_judging_again_after_every_pair_would_break_that_promise():
    """Why there are four looks: the same interval held against the margin after each brew."""
    rng = np.random.default_rng(22)
    wrong = [
        any(paired(draw[:n], np.zeros(n), MARGIN).word == "same" for n in range(3, LOOKS[-1] + 1))
        for draw in rng.normal(MARGIN, SD, (300, LOOKS[-1]))
    ]
    assert np.mean(wrong) > 2 * RISK


def test_who_is_back_is_called_still_off_at_the_stated_rate_at_most():
    rng = np.random.default_rng(23)
    runs = 600
    draws = rng.normal(MARGIN, SD, (runs, LOOKS[-1]))
    told = np.mean([standing(draw) is Standing.STILL_OFF for draw in draws])
    assert told <= RISK + 3 * (RISK * (1 - RISK) / runs) ** 0.5


def test_a_verdict_stands_and_between_looks_nothing_is_judged():
    rng = np.random.default_rng(24)
    for draw in rng.normal(0.0, SD, (20, LOOKS[-1])):
        seen = [standing(draw[:n]) for n in range(LOOKS[-1] + 1)]
        changes = [n for n in range(1, len(seen)) if seen[n] is not seen[n - 1]]
        assert len(changes) <= 1
        assert set(changes) <= set(LOOKS)
        # so that whoever looks in after every brew is told no more than whoever looks in once
        assert set(seen) - {Standing.TOO_FEW} <= {seen[-1]}


# --- coming nearer


def test_coming_nearer_by_itself_is_not_coming_back():
    """Regression to the mean: who was picked for standing out comes nearer with nothing changed.

    The naive rule closes when the mean of the next three brews is nearer to the others than the three that raised it.
    """
    rng = np.random.default_rng(25)

    def alarms(true, count):
        found = []
        while len(found) < count:
            before, after = rng.normal(true, SD, 3), rng.normal(true, SD, 30)
            if abs(before.mean()) > 2.5 * SD / 3**0.5:
                found.append((before, after))
        return found

    def naive(before, after):
        return abs(after[:3].mean()) < abs(before.mean())

    false = alarms(0.0, 200)
    # nobody was off: nine in ten and more 'close' at once
    assert np.mean([naive(*one) for one in false]) > 0.9
    # by as many brews ours has said nothing, and later only that they are with the crew, not what the change did
    assert all(standing(after[:3]) is Standing.TOO_FEW for _, after in false)
    assert np.mean([standing(after) is Standing.BACK for _, after in false]) > 0.8
    # truly off by the smallest difference that matters, and nothing mended
    off = alarms(MARGIN, 400)
    assert np.mean([naive(*one) for one in off]) > 0.5
    assert np.mean([standing(after) is Standing.BACK for _, after in off]) <= RISK + 0.033


def test_it_is_not_claimed_that_the_change_did_it():
    found = follow_up(TDS, fresh([0.001, -0.001] * 3), CHANGED, MARGIN)
    assert found.standing is Standing.BACK
    assert "Whether the change did that, these brews cannot say" in found.says


# --- what counts


def test_only_brews_after_the_change_count():
    changed = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    before = [FreshPair(-day, changed - timedelta(hours=day), 1.40, 1.40) for day in range(20)]
    found = follow_up(TDS, before, changed, MARGIN)
    assert (found.standing, found.n, found.left_out, found.more) == (Standing.TOO_FEW, 0, 20, LOOKS[0])
    later = [FreshPair(0, changed + timedelta(minutes=1), 1.41, 1.40)]
    assert follow_up(TDS, before + later, changed, MARGIN).n == 1


def test_pairs_of_one_session_are_one():
    twice = [FreshPair(0, CHANGED + timedelta(days=1), 1.40 + value, 1.40) for value in (0.02, 0.04)]
    found = follow_up(TDS, twice + fresh([0.0] * 6)[1:], CHANGED, MARGIN)
    assert found.n == 6
    assert found.judged.difference == pytest.approx(0.03 / 6)


def test_the_word_is_that_of_paired_at_a_quarter_of_the_risk():
    rng = np.random.default_rng(26)
    draw = rng.normal(0.0, SD, 6)
    found, other = (
        follow_up(TDS, fresh(draw), CHANGED, MARGIN),
        paired(draw, np.zeros(6), MARGIN, 1 - RISK / 4),
    )
    assert (found.judged.equivalence.low, found.judged.equivalence.high) == pytest.approx(
        (other.equivalence.low, other.equivalence.high)
    )


# --- how many more


@pytest.mark.parametrize(("n", "true"), [(6, 0.0), (12, 0.0), (12, 0.03), (24, 0.05)])
def test_the_chance_to_confirm_simulated(n, true):
    rng = np.random.default_rng(27)
    x = rng.normal(true, SD, (40_000, n))
    reach = stats.t.isf(0.0125, n - 1) * x.std(axis=1, ddof=1) / n**0.5
    told = (abs(x.mean(axis=1)) + reach <= MARGIN).mean()
    # four standard errors of 40 000 draws
    assert chance_to_confirm(n, MARGIN, SD, 0.0125, true) == pytest.approx(told, abs=0.01)


def test_the_chance_to_confirm_rises_with_brews_and_falls_with_spread():
    by_n = [chance_to_confirm(n, MARGIN, SD, 0.0125) for n in (2, 6, 12, 24, 48)]
    assert by_n == sorted(by_n)
    by_sd = [chance_to_confirm(12, MARGIN, sd, 0.0125) for sd in (0.01, 0.03, 0.05, 0.2)]
    assert by_sd == sorted(by_sd, reverse=True)
    assert chance_to_confirm(1, MARGIN, SD, 0.0125) == chance_to_confirm(9, MARGIN, 0.0, 0.0125) == 0.0


def test_how_many_more_pairs():
    none_yet = follow_up(TDS, [], CHANGED, MARGIN, pair_sd=SD)
    assert none_yet.more == LOOKS[0]
    assert none_yet.likely_more in LOOKS
    assert chance_to_confirm(none_yet.likely_more, MARGIN, SD, RISK / 4) >= 0.9
    assert f"after {none_yet.likely_more} more pairs" in none_yet.says
    two = follow_up(TDS, fresh([0.0, 0.01]), CHANGED, MARGIN, pair_sd=SD)
    assert (two.more, two.likely_more) == (LOOKS[0] - 2, none_yet.likely_more - 2)
    assert follow_up(TDS, [], CHANGED, MARGIN).likely_more is None
    assert follow_up(TDS, [], CHANGED, MARGIN, pair_sd=1.0).likely_more is None


def test_the_end_of_the_road():
    # at the edge for good: neither inside nor outside
    found = follow_up(TDS, fresh([MARGIN - SD, MARGIN + SD] * 30), CHANGED, MARGIN)
    assert (found.standing, found.more, found.judged.n) == (Standing.UNSETTLED, None, LOOKS[-1])
    assert "Not settled by 48 fresh pairs" in found.says
    off = follow_up(TDS, fresh([0.2, 0.21] * 3), CHANGED, MARGIN)
    assert off.standing is Standing.STILL_OFF
    assert "Try another change" in off.says


@pytest.mark.parametrize("bad", [{"smallest": 0.0}, {"smallest": MARGIN, "risk": 0.9}])
def test_numbers_that_cannot_be(bad):
    with pytest.raises(ValueError):
        follow_up(TDS, [], CHANGED, **bad)
