"""What each role sees of a recipe's readings."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from brewbar.crew.models import Naming, Role
from calibration import drift, naming
from calibration.models import Reading
from tests import factories as make

NOW = timezone.now()


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=40))


def asked(slot, measure="tds", kind="check", days=30):
    cafe = slot.board.cafe
    today = cafe.business_day(NOW)
    return drift.Asked(
        cafe, slot.version.recipe, drift.MEASURES[measure], kind, today - timedelta(days=days), today
    )


def crew_of(slot, n):
    return [make.person(cafe=slot.board.cafe, name=f"Crew {chr(65 + i)}") for i in range(n)]


def head_of(slot):
    return make.member(make.person(Role.HEAD, slot.board.cafe))


def test_a_head_barista_sees_days_and_people_by_name(slot):
    first, second = crew_of(slot, 2)
    make.reading(slot, first, ("1.40", "1.40"))
    make.reading(slot, first, ("1.50", "1.50"), brewed_at=NOW - timedelta(days=1))
    make.reading(slot, second, ("1.30", "1.30"))
    seen = drift.look(head_of(slot), asked(slot))
    assert [(row.group.key, row.group.n, round(row.group.mean, 3)) for row in seen.people] == [
        ("Crew A", 2, 1.45),
        ("Crew B", 1, 1.3),
    ]
    assert [round(row.group.mean, 3) for row in seen.days] == [1.5, 1.35]
    assert seen.overall.group.n == 3
    assert [(t.version, round(t.low, 2), round(t.high, 2)) for t in seen.targets] == [(1, 1.3, 1.5)]


def test_what_does_not_count_is_left_out_and_told(slot):
    (one,) = crew_of(slot, 1)
    head = make.person(Role.HEAD, slot.board.cafe)
    make.reading(slot, one)
    make.reading(slot, one, ("1.60", "1.60"), attempt=Reading.Attempt.REBREW)
    make.reading(slot, one, voided_at=NOW, voided_by=head, void_reason="spilt")
    old = make.reading(slot, one, ("1.90", "1.90"))
    make.reading(slot, one, ("1.42", "1.42"), corrects=old)
    make.reading(slot, one, rinse_left_in=True)
    make.reading(slot, one, kind=Reading.Kind.SERVED)
    seen = drift.look(head_of(slot), asked(slot))
    assert sorted(round(brew.value, 3) for brew in seen.brews) == [1.405, 1.42]
    assert [n for _why, n in seen.left_out] == [1, 1, 1, 1]
    assert drift.look(head_of(slot), asked(slot, kind="served")).overall.group.n == 1
    # Rinse water thins the cup but takes nothing out of the bed: its yield counts.
    assert drift.look(head_of(slot), asked(slot, "ey")).overall.group.n == 3


def test_only_the_span_counts_by_business_day(slot):
    (one,) = crew_of(slot, 1)
    make.reading(slot, one, brewed_at=NOW - timedelta(days=31))
    assert drift.look(head_of(slot), asked(slot)).overall is None
    assert drift.look(head_of(slot), asked(slot, days=31)).overall.group.n == 1


def test_a_barista_sees_oneself_and_an_unnamed_band_of_five_or_more(slot):
    me, *others = crew_of(slot, 6)
    for person in (me, *others):
        make.reading(slot, person)
    seen = drift.look(make.member(me), asked(slot))
    assert [brew.reading.barista for brew in seen.brews] == [me]
    assert [(row.group.key, row.group.n) for row in seen.people] == [
        ("You", 1),
        ("The rest of the crew, unnamed", 5),
    ]
    assert seen.band == (pytest.approx(1.405), pytest.approx(1.405))
    assert not any(other.name in repr((seen.people, seen.days)) for other in others)


def test_a_barista_sees_no_band_of_four_others(slot):
    me, *others = crew_of(slot, 5)
    for person in (me, *others):
        make.reading(slot, person)
    seen = drift.look(make.member(me), asked(slot))
    assert seen.band is None
    assert [row.group.key for row in seen.people] == ["You"]
    assert "Fewer than 5" in seen.why_not


def test_a_barista_is_not_told_of_other_peoples_voids(slot):
    me, other = crew_of(slot, 2)
    make.reading(slot, me)
    make.reading(slot, other, attempt=Reading.Attempt.REBREW)
    assert drift.look(make.member(me), asked(slot)).left_out == ()


@pytest.mark.parametrize(
    ("setting", "names"),
    [
        (Naming.UNNAMED, [f"Barista {letter}" for letter in "ABCDE"]),
        (Naming.INITIALS, ["CA", "CB", "CC", "CD", "CE"]),
        (Naming.NAMES, [f"Crew {letter}" for letter in "ABCDE"]),
    ],
)
def test_an_owner_sees_people_as_the_company_has_set(slot, setting, names):
    company = slot.board.cafe.company
    company.people_shown_to_owners = setting
    company.save()
    for person in crew_of(slot, 5):
        make.reading(slot, person)
    owner = make.member(make.person(Role.OWNER, company=company))
    seen = drift.look(owner, asked(slot))
    assert [row.group.key for row in seen.people] == names
    assert seen.brews == ()
    assert seen.overall.group.n == 5


def test_an_owner_sees_no_breakdown_of_four_people(slot):
    company = slot.board.cafe.company
    company.people_shown_to_owners = Naming.NAMES
    company.save()
    for person in crew_of(slot, 4):
        make.reading(slot, person)
    seen = drift.look(make.member(make.person(Role.OWNER, company=company)), asked(slot))
    assert seen.people == ()
    assert "Fewer than 5" in seen.why_not
    assert len(seen.days) == 1


def test_same_initials_stay_apart():
    assert naming.told_apart({1: "AB", 2: "AB", 3: "C"}) == {1: "AB", 2: "AB 2", 3: "C"}


def testletters_go_on_after_z():
    assert [naming.letters(n) for n in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]


def test_two_targets_of_two_versions(slot):
    (one,) = crew_of(slot, 1)
    make.reading(slot, one, brewed_at=NOW - timedelta(days=3))
    newer = make.version(slot.version.recipe, published=True, tds_target=Decimal("1.30"))
    make.reading(slot, one, version=newer)
    seen = drift.look(head_of(slot), asked(slot))
    assert [(t.version, round(t.low, 2)) for t in seen.targets] == [(1, 1.3), (2, 1.2)]
    assert seen.targets[0].last < seen.targets[1].first


def test_the_title_says_what_is_shown(slot):
    (one,) = crew_of(slot, 1)
    make.reading(slot, one)
    span = asked(slot)
    span = drift.Asked(span.cafe, span.recipe, drift.MEASURES["time"], "check", date(2020, 1, 2), span.last)
    title = drift.sentence(drift.look(head_of(slot), span))
    assert title.startswith(f"Brew time of {span.recipe.name}, 2 Jan 2020 to ")
    assert title.endswith(": 1 brew, mean 2:45")


def test_three_queries_whatever_the_span(slot, django_assert_num_queries):
    for person in crew_of(slot, 6):
        for days in range(4):
            make.reading(slot, person, brewed_at=NOW - timedelta(days=days))
    head, what = head_of(slot), asked(slot)
    with django_assert_num_queries(1):
        drift.look(head, what)
