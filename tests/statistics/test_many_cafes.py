"""Five cafés or more: shrunk effects against a brute-force mixture, what cannot be compared, boundaries."""

import numpy as np
import pytest
from scipy import optimize, stats

from calibration.statistics.cafes import cafes_compared
from calibration.statistics.sums import Sums
from tests.statistics.cafes_invented import company, many_held


def balanced(rng, cafes, people, days, effects):
    staff, day = rng.normal(0, 0.03, (cafes, people, 1)), rng.normal(0, 0.02, (cafes, 1, days))
    value = (
        1.4 + np.reshape(effects, (cafes, 1, 1)) + staff + day + rng.normal(0, 0.02, (cafes, people, days))
    )
    cafe, who, when = (code.ravel() for code in np.indices(value.shape))
    y = value.ravel()
    return value, cafe, Sums.of(who + people * cafe, when, np.ones(len(y)), y, y**2)


def naive(value, u):
    """Means, limits: one spread after another, with inverses and a root finder, in place of an eigenbasis."""
    C, K, D = value.shape
    raw = value.mean((1, 2)) - value.mean()
    P = np.eye(C) - 1 / C
    people, days = (
        ((value.mean(axis) - value.mean((1, 2))[:, None]) ** 2).sum() / (C * (size - 1)) / size
        for axis, size in ((2, K), (1, D))
    )
    cells = ((value - value.mean((1, 2), keepdims=True)) ** 2).sum() / (C * (K * D - 1)) / (K * D)
    variance = max(people + days - cells, people, days)
    t = stats.t.ppf(0.975, C * (K - 1)) / stats.norm.ppf(0.975)
    # the covariance of effects about their own mean, and what each instrument may be off by
    S = np.linalg.svd(P)[0][:, : C - 1]
    error = (
        S.T @ ((people + days - cells) * P + (variance - people - days + cells) * (1 - 1 / C) * np.eye(C)) @ S
    )
    error = error * t**2 + S.T @ (u**2 * np.eye(C)) @ S
    z = S.T @ raw
    usual = np.median(np.linalg.eigvalsh(error))
    taus = np.linspace(1e-5, 8 * max(np.abs(z).max(), np.sqrt(np.linalg.eigvalsh(error).max())), 4000)
    log, middles, spreads = [], [], []
    for tau in taus:
        whole = tau**2 * np.eye(C - 1) + error
        log.append(stats.multivariate_normal.logpdf(z, cov=whole) + np.log(tau / (tau**2 + usual)))
        gain = tau**2 * np.linalg.inv(whole)
        middles.append(S @ gain @ z)
        spreads.append(np.sqrt(np.diag(S @ (gain @ error) @ S.T)))
    weights = np.exp(np.array(log) - max(log))
    weights /= weights.sum()
    middles, spreads = np.array(middles), np.array(spreads)

    def limit(place, share):
        return optimize.brentq(
            lambda x: weights @ stats.norm.cdf((x - middles[:, place]) / spreads[:, place]) - share, -1, 1
        )

    return weights @ middles, [(limit(place, 0.025), limit(place, 0.975)) for place in range(C)]


@pytest.mark.parametrize("effects", [(0.0,) * 5, (0.05, -0.02, 0.0, -0.05, 0.04, 0.01)])
def test_against_brute_force(effects):
    value, cafe, sums = balanced(np.random.default_rng(1), len(effects), 4, 10, effects)
    found = cafes_compared(cafe, sums, dict.fromkeys(range(len(effects)), 0.01))
    means, limits = naive(value, 0.01)
    assert found.pairs == ()
    for place, one in enumerate(found.effects):
        assert one.cafe == place
        assert one.effect == pytest.approx(means[place], abs=3e-4)
        assert one.interval.low == pytest.approx(limits[place][0], abs=6e-4)
        assert one.interval.high == pytest.approx(limits[place][1], abs=6e-4)
    raw = value.mean((1, 2)) - value.mean()
    assert (np.abs([one.effect for one in found.effects]) < np.abs(raw)).all()
    assert sum(one.effect for one in found.effects) == pytest.approx(0, abs=1e-9)


def test_a_spread_that_nothing_speaks_for_begins_at_none():
    _value, cafe, sums = balanced(np.random.default_rng(2), 6, 4, 10, (0.0,) * 6)
    assert cafes_compared(cafe, sums, dict.fromkeys(range(6), 0.01)).spread.low == 0
    _value, cafe, sums = balanced(np.random.default_rng(2), 6, 4, 10, (0.3, -0.3, 0.2, -0.2, 0.1, -0.1))
    far = cafes_compared(cafe, sums, dict.fromkeys(range(6), 0.01))
    assert far.spread.low > 0.05
    assert far.spread.low < far.spread_sd < far.spread.high
    assert all(one.is_seen for one in far.effects)


def test_who_cannot_be_compared():
    rng = np.random.default_rng(3)
    cafe, sums, _staff = company(rng, [range(3 * c, 3 * c + 3) for c in range(6)], 10, np.zeros(6), lots=1)
    lot = np.where(cafe == 4, 9, sums.lot)
    sums = Sums.of(sums.who, sums.day, sums.n, sums.total, sums.squares, lot=lot)
    found = cafes_compared(cafe, sums, dict.fromkeys(range(6), 0.0), {1: "Its standard failed."})
    told = {one.cafe: one for one in found.effects}
    assert (told[1].effect, told[1].reason) == (None, "Its standard failed.")
    assert "no recipe and batch" in told[4].reason
    assert all(told[key].effect is not None for key in (0, 2, 3, 5))
    none = cafes_compared(cafe, sums, {}, dict.fromkeys(range(6), "No standard."))
    assert [one.effect for one in none.effects] == [None] * 6
    assert "Too few cafés" in none.notes[0]


def test_linked_in_a_chain():
    # each shares a batch with the next only
    rng = np.random.default_rng(4)
    cafe, who, day = (code.ravel() for code in np.indices((5, 3, 8)))
    lot = cafe + (day >= 4)
    y = 1.4 + 0.1 * (cafe == 4) + 0.05 * lot + rng.normal(0, 0.01, len(cafe))
    found = cafes_compared(
        cafe, Sums.of(who + 3 * cafe, day, np.ones(len(y)), y, y**2, lot=lot), dict.fromkeys(range(5), 0.0)
    )
    assert found.effects[4].effect > 0.04
    assert found.effects[4].is_seen


def test_the_limits_hold():
    # three standard errors of 12 draws of 6 cafés below what the slow test finds
    held, _seen = many_held(np.random.default_rng(5), 6, 3, 0.03, 12, cafes_compared)
    assert held >= 0.84
