"""Shares of this crew and of whoever pours: by hand, brew by brew, boundaries, and how often the intervals hold."""

import numpy as np
import pytest
from scipy import special

from calibration.statistics.capability import wilson
from calibration.statistics.shares import Inside, share_inside

SPREADS = (0.03, 0.02, 0.015, 0.025)  # staff, day, person on a day, brew


def cells_of(rng, staff, days, sds, tolerance, off=0.0, alike=0.0, fill=0.6, most=3):
    """Counted by person and day; ``alike``: correlation of neighbouring days."""
    n = rng.integers(1, most + 1, (len(staff), days)) * (rng.random((len(staff), days)) < fill)
    who, day = np.nonzero(n)
    n = n[who, day]
    of_day = rng.normal(0, 1, days)
    for t in range(1, days):
        of_day[t] = alike * of_day[t - 1] + np.sqrt(1 - alike**2) * of_day[t]
    middle = off + staff[who] + sds[1] * of_day[day] + rng.normal(0, sds[2], len(who))
    hits = [(np.abs(m + rng.normal(0, sds[3], k)) <= tolerance).sum() for m, k in zip(middle, n, strict=True)]
    return Inside.of(who, day, hits, n)


def chance_of(staff, sds, tolerance, off=0.0):
    """That a brew of each person on any day is inside."""
    spread = np.sqrt(np.sum(np.square(sds[1:])))
    return special.ndtr((tolerance - off - staff) / spread) - special.ndtr(
        (-tolerance - off - staff) / spread
    )


def coverage(rng, people, days, sds, tolerance, off=0.0, alike=0.0, times=200):
    """How often the intervals of this crew, of whoever pours, and Wilson's plain one of this crew hold what the model
    has; of whoever pours nan where it is not told."""
    held = np.zeros(3)
    spread = np.sqrt(np.sum(np.square(sds)))
    anyone = special.ndtr((tolerance - off) / spread) - special.ndtr((-tolerance - off) / spread)
    for _ in range(times):
        staff = rng.normal(0, sds[0], people)
        each = chance_of(staff, sds, tolerance, off)
        cells = cells_of(rng, staff, days, sds, tolerance, off, alike)
        found = share_inside(cells)
        crew = np.average(each[cells.who], weights=cells.n)
        held += [
            found.crew.low <= crew <= found.crew.high,
            np.nan if found.anyone is None else found.anyone.low <= anyone <= found.anyone.high,
            found.plain.low <= crew <= found.plain.high,
        ]
    return held / times


def naive_variance(brews):
    """Of (who, day, inside) of each brew: all pairs of a day, each brew's deviation from its person's own share."""
    n = len(brews)
    own = {who: [inside for w, _d, inside in brews if w == who] for who, _d, _i in brews}
    here = {(who, day): sum(w == who and d == day for w, d, _i in brews) for who, day, _i in brews}
    left = [
        (inside - sum(own[who]) / len(own[who])) / (1 - here[who, day] / len(own[who])) ** 0.5
        for who, day, inside in brews
    ]
    days = [day for _w, day, _i in brews]
    return sum(left[i] * left[j] for i in range(n) for j in range(n) if days[i] == days[j]) / n**2


@pytest.mark.parametrize("seed", range(4))
def test_against_brew_by_brew(seed):
    rng = np.random.default_rng(seed)
    # days far apart, so that neighbours are none
    brews = [
        (who, 100 * day, int(rng.random() < 0.5 + 0.1 * who))
        for who in range(4)
        for day in range(7)
        for _ in range(rng.integers(2, 4))
    ]
    found = share_inside(Inside.of(*zip(*[(w, d, i, 1) for w, d, i in brews], strict=True)))
    share = sum(i for _w, _d, i in brews) / len(brews)
    # Bell and McCaffrey's degrees of freedom, of days that are nearly as large
    size = np.bincount([day // 100 for _w, day, _i in brews])
    df = size.sum() ** 2 / (size**2).sum() * (1 - 1 / 7)
    narrowed = (special.ndtri(0.975) / special.stdtrit(df, 0.975)) ** 2
    variance = naive_variance(brews)
    if variance > share * (1 - share) / len(brews):
        assert found.crew_n == pytest.approx(share * (1 - share) / variance * narrowed)
        assert found.clusters
    else:
        assert found.crew_n == len(brews)
        assert found.crew == found.plain


def test_added_up_or_brew_by_brew_is_the_same():
    rng = np.random.default_rng(5)
    cells = cells_of(rng, np.array([0.0, 0.03, -0.02, 0.01, 0.0]), 12, SPREADS, 0.05)
    each = [
        (who, day, int(place < hits), 1)
        for who, day, hits, n in zip(cells.who, cells.day, cells.hits, cells.n, strict=True)
        for place in range(int(n))
    ]
    order = rng.permutation(len(each))
    by_brew = share_inside(Inside.of(*np.array(each)[order].T))
    added_up = share_inside(cells)
    assert by_brew.crew_n == pytest.approx(added_up.crew_n)
    assert by_brew.anyone_n == pytest.approx(added_up.anyone_n)
    assert (by_brew.inside, by_brew.n) == (added_up.inside, added_up.n)


def test_people_who_differ_widen_only_whoever_pours():
    # two always inside, two never, one in between, every day the same: this crew is known, others are not
    days = np.arange(40)
    who = np.repeat(np.arange(5), 40)
    hits = np.concatenate([np.full(40, 2), np.full(40, 2), np.zeros(40), np.zeros(40), np.tile([0, 2], 20)])
    found = share_inside(Inside.of(who, np.tile(days, 5), hits, np.full(200, 2)))
    assert found.crew == found.plain
    assert found.anyone.high - found.anyone.low > 4 * (found.crew.high - found.crew.low)


def test_days_that_differ_widen_both():
    who, day = np.divmod(np.arange(100), 20)
    found = share_inside(Inside.of(who, day, np.where(day % 2, 3, 0), np.full(100, 3)))
    assert found.share == 0.5
    # twenty days, not three hundred brews
    assert 10 < found.crew_n <= 20
    assert found.anyone_n <= found.crew_n


def test_days_that_resemble_their_neighbours_count_for_less():
    who, day = np.divmod(np.arange(200), 40)
    every_other = share_inside(Inside.of(who, day, np.where(day % 2, 3, 1), np.full(200, 3)))
    in_runs = share_inside(Inside.of(who, day, np.where(day < 20, 3, 1), np.full(200, 3)))
    assert in_runs.share == every_other.share
    assert in_runs.crew_n < every_other.crew_n / 4


def test_few_people():
    found = share_inside(Inside.of([1, 1, 2, 2], [1, 2, 1, 2], [2, 1, 2, 2], [2, 2, 2, 2]))
    assert found.anyone is None
    assert "fewer than 5 people" in found.notes[-1]


def test_one_person_one_day_all_inside():
    alone = share_inside(Inside.of([7] * 4, [1, 2, 3, 4], [2, 1, 2, 0], [2] * 4))
    assert (alone.people, alone.share) == (1, 5 / 8)
    one_day = share_inside(Inside.of([1, 2, 3], [9] * 3, [1, 1, 0], [2, 2, 2]))
    assert one_day.crew == one_day.plain
    assert "One day alone" in one_day.notes[0]
    full = share_inside(Inside.of(np.repeat(np.arange(6), 10), np.tile(np.arange(10), 6), [3] * 60, [3] * 60))
    # ten days at the least, and a fifth of the way to 180 brews
    assert full.crew_n == pytest.approx(10 + 170 / 5)
    assert (full.share, full.crew.low, full.crew.high) == (1.0, wilson(full.crew_n, full.crew_n).low, 1.0)
    assert full.anyone == wilson(6, 6)
    assert "on one side" in full.notes[0]
    single = share_inside(Inside.of([1], [1], [1], [1]))
    assert single.crew == wilson(1, 1)
    one_each = share_inside(Inside.of([1, 2, 3], [1, 2, 3], [2, 0, 1], [2, 2, 2]))
    assert one_each.crew_n == 3
    assert "one day only" in one_each.notes[0]


def test_one_miss_is_not_surer_than_none():
    full = np.full(100, 2)
    who, day = np.divmod(np.arange(100), 20)
    one_miss = full.copy()
    one_miss[7] = 1
    none = share_inside(Inside.of(who, day, full, full))
    one = share_inside(Inside.of(who, day, one_miss, full))
    assert one.crew.low < none.crew.low + 0.01


def test_never_more_than_the_brews_there_are():
    rng = np.random.default_rng(7)
    for _ in range(50):
        k = int(rng.integers(1, 25))
        n = rng.integers(1, 4, k)
        found = share_inside(Inside.of(rng.integers(0, 7, k), rng.integers(0, 9, k), rng.binomial(n, 0.7), n))
        assert 0 < found.crew_n <= found.n
        assert 0 <= found.crew.low <= found.share <= found.crew.high <= 1
        if found.anyone is not None:
            assert found.anyone.low <= found.crew.low + 1e-12
            assert found.anyone.high >= found.crew.high - 1e-12


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        (([], [], [], []), "at least one"),
        (([1], [1, 2], [1], [1]), "needs its person"),
        (([1, 1], [1, 2], [1, 0], [1, 0]), "Group 2 has no brews"),
        (([1, 1], [1, 2], [1, 3], [1, 2]), "group 2 more"),
        (([1, 1], [1, 2], [1, -1], [1, 2]), "group 2 more"),
        (([1, 1], [1, 2], [1, float("nan")], [1, 2]), "group 2 more"),
    ],
)
def test_refuses(columns, says):
    with pytest.raises(ValueError, match=says):
        Inside.of(*columns)


def test_it_holds_where_the_plain_interval_does_not():
    crew, anyone, plain = coverage(np.random.default_rng(8), 8, 26, (0.03, 0.03, 0.01, 0.02), 0.06, 0.03)
    # three standard errors of 200 draws below what the slow test finds
    assert crew >= 0.88
    assert anyone >= 0.85
    assert plain < 0.85


@pytest.mark.slow
@pytest.mark.parametrize("people", [3, 5, 10])
@pytest.mark.parametrize("days", [12, 40])
@pytest.mark.parametrize("sds", [SPREADS, (0.03, 0.0, 0.0, 0.025), (0.0, 0.03, 0.0, 0.025)])
@pytest.mark.parametrize(("tolerance", "off"), [(0.06, 0.0), (0.1, 0.0), (0.06, 0.05)])
@pytest.mark.parametrize("alike", [0.0, 0.5])
def test_how_often_it_holds(people, days, sds, tolerance, off, alike):
    rng = np.random.default_rng(
        [people, days, *(round(1000 * sd) for sd in sds), round(1000 * (tolerance + off))]
    )
    crew, anyone, plain = coverage(rng, people, days, sds, tolerance, off, alike, times=300)
    print(f"{people} {days} {sds} {tolerance} {off} {alike}: {crew:.3f} {anyone:.3f}, plain {plain:.3f}")
    # three standard errors of 300 draws below the lowest that the docstring of the module tells
    assert crew >= (0.88 if alike == 0 else 0.80)
    assert not anyone < 0.80
