"""Brews added up by the database, against the same brew by brew."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest

from calibration.drift import MEASURES, value_of
from calibration.models import InstrumentCheck, Reading
from calibration.reporting import cells
from calibration.statistics.uncertainty import INSIDE_FROM
from recipes.aims import OwnAims
from recipes.models import CafeTarget
from tests import factories as make
from tests.reporting import bar


def fetched(asked):
    spans = cells.spans_of(asked, bar.NOW)
    return cells.fetch(cells.counted(asked, spans), OwnAims.of(asked.cafes))


@pytest.fixture
def slot(db):
    return bar.slot()


@pytest.fixture
def messy(slot):
    """Two cafés, an own target for a while, brews left out for every reason there is."""
    cafe = slot.board.cafe
    other = bar.slot(make.cafe(cafe.company), version=slot.version)
    rng = np.random.default_rng(7)
    head = make.person("head", cafe)
    for at in (slot, other):
        people = bar.crew(at, 3)
        for n in range(48):
            bar.brew(
                at,
                people[n % 3],
                bar.FIRST + timedelta(days=int(rng.integers(-30, 30))),
                1.40 + rng.normal(0, 0.08),
                u_tds_relative=float(rng.choice([0.0, 0.02, 0.035, 0.045, 0.05, 0.06])),
                u_ey_relative=float(rng.choice([0.0, 0.3, 0.6, 0.75, 0.9])),
                brew_time_s=int(165 + rng.normal(0, 12)),
                rinse_left_in=rng.random() < 0.1,
                beverage_g=Decimal(rng.choice(["220", "221", "222", "240"])),
                attempt=str(rng.choice(["first", "first", "repeat", "rebrew"])),
                kind=str(rng.choice([*["check"] * 8, "practice", "served"])),
            )
    rows = list(Reading.objects.filter(kind="check"))
    for row in rows[:4]:
        bar.void(row, head)
    for row in rows[4:7]:
        bar.brew(row.slot, row.barista, row.business_day, 1.33, corrects=row)
    CafeTarget.objects.create(
        cafe=other.board.cafe, recipe=slot.version.recipe, tds_target=Decimal("1.50"), tds_tolerance=Decimal("0.08"),
        set_at=datetime(2026, 8, 25, 9, tzinfo=UTC), set_by=head, why="harder water",
        ended_at=datetime(2026, 9, 12, 9, tzinfo=UTC), ended_by=head,
    )  # fmt: skip
    CafeTarget.objects.create(
        cafe=other.board.cafe, recipe=slot.version.recipe, brew_time_s=150, brew_time_tolerance_s=6,
        set_at=datetime(2026, 9, 12, 9, tzinfo=UTC), set_by=head, why="a faster paper",
    )  # fmt: skip
    instrument = cafe.refractometers.get()
    for day, passed in ((10, True), (14, False), (16, True)):
        InstrumentCheck.objects.create(
            refractometer=instrument, kind="standard", expected_tds="1.275", read_tds="1.28", passed=passed,
            checked_at=datetime(2026, 9, day, 7, tzinfo=UTC), checked_by=head,
        )  # fmt: skip
    return bar.asked(cafe)


@pytest.mark.parametrize("measure", MEASURES)
def test_sums_and_verdicts_are_those_of_brew_by_brew(messy, measure):
    found = fetched(messy)
    for first, last in ((messy.first, messy.last), messy.before):
        span = found.between(first, last)
        hits = span.of[measure]
        rows = bar.counted(messy, measure, first, last)
        assert len(rows) > 8
        assert hits.n.sum() == len(rows)
        values = [value_of(row, MEASURES[measure]) for row in rows]
        # each value is taken to the nearest of ten thousand steps of a per cent
        assert hits.total.sum() == pytest.approx(sum(values), abs=1e-4 * len(rows))
        assert hits.squares.sum() == pytest.approx(sum(value**2 for value in values), rel=1e-5)
        naive = bar.verdicts(rows, measure)
        assert {name: int(getattr(hits, name).sum()) for name in naive} == naive
        assert hits.judged.sum() == sum(naive.values())


def test_cells_are_by_cafe_version_batch_person_day_and_instrument(messy):
    found = fetched(messy).between(messy.first, messy.last)
    naive: dict[tuple[int, ...], int] = {}
    for row in bar.counted(messy, "time"):
        key = (
            row.cafe_id,
            row.version_id,
            row.roast_batch_id,
            row.barista_id,
            row.business_day.toordinal(),
            row.refractometer_id,
        )
        naive[key] = naive.get(key, 0) + 1
    keys = zip(found.cafe, found.version, found.batch, found.who, found.day, found.instrument, strict=True)
    assert {tuple(map(int, key)): int(n) for key, n in zip(keys, found.of["time"].n, strict=True)} == naive


def test_what_the_database_leaves_unsure_is_decided_brew_by_brew(slot, django_assert_num_queries):
    who = make.person(cafe=slot.board.cafe)
    # the tolerance of 0.10 is 2.5 u: 0.0663 lies between where inside is sure and where it is ruled out
    row = bar.brew(slot, who, bar.FIRST, 1.4663, u_tds_relative=0.04)
    asked = bar.asked(slot.board.cafe)
    spans, own = cells.spans_of(asked, bar.NOW), OwnAims.of(asked.cafes)
    rows = cells.counted(asked, spans)
    with django_assert_num_queries(2):
        found = cells.fetch(rows, own)
    naive = bar.verdicts([row])
    assert {name: int(getattr(found.of["tds"], name).sum()) for name in naive} == naive
    assert not found.of["tds"].unsure.any()


@pytest.mark.parametrize(
    ("tds", "u", "tolerance", "verdict"),
    [
        ("1.5000", 0.0, "0.10", "inside"),
        ("1.5001", 0.0, "0.10", "high"),
        ("1.2999", 0.0, "0.10", "low"),
        ("1.4000", 0.05, "0.10", "close"),
        ("1.4831", 0.02, "0.10", "inside"),
        ("1.4832", 0.02, "0.10", "close"),
        ("1.5168", 0.02, "0.10", "close"),
        ("1.5169", 0.02, "0.10", "high"),
        ("1.2832", 0.02, "0.10", "close"),
        ("1.2831", 0.02, "0.10", "low"),
    ],
)
def test_the_edges_of_a_verdict(slot, tds, u, tolerance, verdict):
    """JCGM 106:2012, 7.4: 80 % of a normal distribution lie up to 0.8416 u within a limit."""
    version = make.version(slot.version.recipe, tds_tolerance=Decimal(tolerance), published=True)
    own = bar.slot(slot.board.cafe, version=version)
    row = bar.brew(own, make.person(cafe=slot.board.cafe), bar.FIRST, float(tds), u_tds_relative=u)
    assert bar.verdicts([row])[verdict] == 1
    hits = fetched(bar.asked(slot.board.cafe)).of["tds"]
    assert {name: int(getattr(hits, name).sum()) for name in ("inside", "high", "low", "close")} == {
        name: int(name == verdict) for name in ("inside", "high", "low", "close")
    }


def test_z_is_the_quantile_of_the_verdict():
    from statistics import NormalDist

    assert pytest.approx(NormalDist().inv_cdf(INSIDE_FROM), abs=1e-12) == cells.Z


def test_another_companys_brews_never_enter(slot):
    stranger = bar.slot()
    bar.brew(stranger, make.person(cafe=stranger.board.cafe), bar.FIRST)
    assert fetched(bar.asked(slot.board.cafe)).brews == 0


def test_days_of_each_cafe_stay_neighbours_and_of_two_are_never_one(messy):
    """Shares and means allow for days that resemble the next one, which they know by their labels."""
    found = fetched(messy)
    labels = found.cafe_day
    told = dict(zip(zip(found.cafe.tolist(), found.day.tolist(), strict=True), labels.tolist(), strict=True))
    assert len({cafe for cafe, _day in told}) == 2
    assert len(set(told.values())) == len(told)
    for (cafe, day), label in told.items():
        for (other, another), beside in told.items():
            if other == cafe:
                assert beside - label == another - day
            else:
                assert abs(beside - label) > 1
