"""Share inside the target, clustered: by hand, boundaries, and how often the interval holds against the plain one."""

import numpy as np
import pytest
from scipy import special

from calibration.statistics.capability import wilson
from calibration.statistics.clustered import clustered_share


def bar(rng, baristas, days, sds, fill=0.6, most=3):
    """Brews about their target: a barista's, a day's, their own and a brew's deviation; who, when."""
    cells = rng.integers(1, most + 1, (baristas, days)) * (rng.random((baristas, days)) < fill)
    barista, day = (np.repeat(codes, cells[np.nonzero(cells)]) for codes in np.nonzero(cells))
    both = rng.normal(0, sds[2], (baristas, days))
    value = rng.normal(0, sds[0], baristas)[barista] + rng.normal(0, sds[1], days)[day] + both[barista, day]
    return value + rng.normal(0, sds[3], len(barista)), day, barista


def coverage(rng, baristas, days, sds, tolerance, off=0.0, times=400):
    """How often the clustered and the plain interval hold the share that the model has."""
    spread = np.sqrt(np.sum(np.square(sds)))
    true = special.ndtr((tolerance - off) / spread) - special.ndtr((-tolerance - off) / spread)
    held = np.zeros(2)
    for _ in range(times):
        value, day, barista = bar(rng, baristas, days, sds)
        found = clustered_share(np.abs(value + off) <= tolerance, day, barista)
        held += [each.low <= true <= each.high for each in (found.interval, found.plain)]
    return held / times


def naive(y, day, barista):
    """Sums over pairs of brews that share a day or a barista, each pair once; Cameron, Gelbach and Miller 2011."""
    e, n = y - y.mean(), len(y)

    def between(alike, clusters):
        return (
            sum(e[i] * e[j] for i in range(n) for j in range(n) if alike(i, j))
            / n**2
            * clusters
            / (clusters - 1)
        )

    a, b = len(set(barista)), len(set(day))
    parts = (
        (between(lambda i, j: day[i] == day[j], b), b - 1),
        (between(lambda i, j: barista[i] == barista[j], a), a - 1),
        (
            between(
                lambda i, j: day[i] == day[j] and barista[i] == barista[j],
                c := len(set(zip(day, barista, strict=True))),
            ),
            c - 1,
        ),
    )
    share = y.mean()
    V = max(parts[0][0] + parts[1][0] - parts[2][0], parts[0][0], parts[1][0], share * (1 - share) / n)
    df = max(V**2 / sum(v**2 / df for v, df in parts), min(a, b) - 1)
    return share * (1 - share) / V * (special.ndtri(0.975) / special.stdtrit(df, 0.975)) ** 2


@pytest.mark.parametrize("seed", range(4))
def test_against_pairs(seed):
    value, day, barista = bar(np.random.default_rng(seed), 4, 7, (0.03, 0.02, 0.01, 0.03))
    y = (np.abs(value) < 0.05).astype(float)
    found = clustered_share(y, day, barista)
    assert found.effective_n == pytest.approx(naive(y, day, barista))
    assert found.interval == wilson(found.share * found.effective_n, found.effective_n)


def test_alike_brews_count_for_less():
    # four baristas, each always inside or always outside: no more is known than four brews tell
    barista = np.repeat([0, 1, 2, 3], 25)
    day = np.tile(np.arange(25), 4)
    found = clustered_share(barista < 2, day, barista)
    assert found.share == 0.5
    assert found.effective_n < 4
    assert found.interval.high - found.interval.low > 0.6


def test_order_and_names_do_not_matter():
    value, day, barista = bar(np.random.default_rng(5), 5, 9, (0.03, 0.02, 0.01, 0.03))
    inside = np.abs(value) < 0.05
    order = np.random.default_rng(6).permutation(len(value))
    one = clustered_share(inside, day, barista)
    other = clustered_share(inside[order], [f"day {d}" for d in day[order]], [f"{b}" for b in barista[order]])
    assert other.effective_n == pytest.approx(one.effective_n)
    assert other.interval.low == pytest.approx(one.interval.low)


def test_never_more_than_the_brews_there_are():
    rng = np.random.default_rng(7)
    for _ in range(50):
        n = int(rng.integers(4, 40))
        found = clustered_share(rng.random(n) < 0.7, rng.integers(0, 5, n), rng.integers(0, 3, n))
        assert 0 < found.effective_n <= n + 1e-9
        assert found.interval.low <= found.share <= found.interval.high


def test_one_barista_one_day_and_both():
    y = [1, 0, 1, 1, 0, 1]
    one_barista = clustered_share(y, [1, 1, 2, 2, 3, 3], ["a"] * 6)
    assert "One barista alone" in one_barista.notes[0]
    one_day = clustered_share(y, [1] * 6, list("aabbcc"))
    assert "One day alone" in one_day.notes[0]
    both = clustered_share(y, [1] * 6, ["a"] * 6)
    assert (both.effective_n, both.interval, len(both.notes)) == (6.0, both.plain, 2)


def test_all_inside():
    found = clustered_share([True] * 40, np.repeat(np.arange(10), 4), np.tile(np.arange(4), 10))
    assert (found.share, found.interval.high, found.effective_n) == (1.0, 1.0, 4.0)
    assert "on one side" in found.notes[0]
    assert clustered_share([1], ["monday"], ["a"]).n == 1


@pytest.mark.parametrize(
    ("inside", "days", "baristas", "says"),
    [
        ([], [], [], "at least one"),
        ([1, 0.5], [1, 1], [1, 1], "Row 2 is neither"),
        ([1, float("nan")], [1, 1], [1, 1], "row 2"),
        ([1, 0], [1], [1, 1], "needs its day"),
        ([1, 0], [1, 1], [1, None], "Row 2 has no barista"),
    ],
)
def test_refuses(inside, days, baristas, says):
    with pytest.raises(ValueError, match=says):
        clustered_share(inside, days, baristas)


def test_it_holds_where_the_plain_interval_does_not():
    rng = np.random.default_rng(8)
    clustered, plain = coverage(rng, 8, 30, (0.03, 0.02, 0.015, 0.025), 0.06, times=200)
    # three standard errors of 200 draws below what the slow test finds
    assert clustered >= 0.89
    assert plain < 0.75


@pytest.mark.slow
@pytest.mark.parametrize("baristas", [3, 5, 8, 12])
@pytest.mark.parametrize(
    "sds",
    [(0.03, 0.02, 0.015, 0.025), (0.03, 0.0, 0.0, 0.025), (0.0, 0.03, 0.0, 0.025), (0.0, 0.0, 0.0, 0.04)],
)
@pytest.mark.parametrize(("tolerance", "off"), [(0.06, 0.0), (0.1, 0.0), (0.06, 0.05)])
def test_how_often_it_holds(baristas, sds, tolerance, off):
    rng = np.random.default_rng(
        [baristas, *(round(1000 * sd) for sd in sds), round(1000 * tolerance), round(1000 * off)]
    )
    clustered, plain = coverage(rng, baristas, 40, sds, tolerance, off, times=1000)
    print(f"{baristas} baristas, {sds}, ±{tolerance}, off {off}: {clustered:.3f}, plain {plain:.3f}")
    # three standard errors of 1000 draws, 0.03, below the lowest that the docstring of the module tells
    assert clustered >= 0.85
    if sds[0] > 0:
        assert plain < clustered
