"""How people appear: as the company has set it, five or more at a time, in order of name."""

from __future__ import annotations

from datetime import timedelta

import pytest

from brewbar.crew.models import Membership, Naming
from calibration.reporting import monday, people
from calibration.reporting.build import build
from calibration.reporting.ground import gather
from calibration.reporting.parts import Parts
from tests import factories as make
from tests.reporting import bar
from tests.reporting.test_done import signal


@pytest.fixture
def slot(db):
    return bar.slot()


@pytest.fixture
def cafe(slot):
    return slot.board.cafe


def parts_of(cafe) -> Parts:
    return Parts(gather(bar.asked(cafe), bar.NOW))


@pytest.mark.parametrize(("n", "told"), [(4, 0), (5, 5)])
def test_four_are_not_told_apart_and_five_are(slot, cafe, n, told):
    bar.month(slot, bar.crew(slot, n), days=6)
    parts = parts_of(cafe)
    found = people.section(parts.people)
    assert len(found.table.numbers if found.table else ()) == told
    assert ("staff" in [row[2] for row in _spread(parts)]) == (told > 0)


def _spread(parts):
    from calibration.reporting import spreads

    return spreads.section(parts.spreads).table.numbers


def test_a_trainee_makes_no_fifth(slot, cafe):
    crew = bar.crew(slot, 5)
    bar.month(slot, crew, days=6)
    Membership.objects.filter(user=crew[2]).update(in_training=True)
    assert people.section(parts_of(cafe).people).table is None


@pytest.mark.parametrize(
    ("setting", "shown"),
    [
        (Naming.UNNAMED, {f"Barista {letter}" for letter in "ABCDE"}),
        (Naming.INITIALS, {"AA", "BB", "CC", "DD", "EE"}),
        (Naming.NAMES, {"Ada Ash", "Bo Bell", "Cy Cole", "Di Dunn", "Ed Egg"}),
    ],
)
def test_people_appear_as_the_company_has_set_it(slot, cafe, setting, shown):
    cafe.company.people_shown_to_owners = setting
    cafe.company.save()
    names = ("Ada Ash", "Bo Bell", "Cy Cole", "Di Dunn", "Ed Egg")
    bar.month(slot, [make.person(cafe=cafe, name=name) for name in names], days=6)
    report = build(bar.asked(cafe), bar.NOW)
    table = next(one.table for one in report.sections if one.key == "people")
    rows = [row[1] for row in table.numbers]
    assert set(rows) == shown
    assert rows == sorted(rows)
    if setting != Naming.NAMES:
        assert not any(name in repr(report.sections) + repr(report.next) for name in names)
    assert "Tell your staff" in report.people_note


@pytest.mark.parametrize(("n", "says"), [(5, "about one person"), (4, "the signal of")])
def test_a_signal_of_somebody_is_one_persons_only_among_five(slot, cafe, n, says):
    crew = bar.crew(slot, n)
    bar.month(slot, crew, days=6)
    signal(cafe, 12, person=crew[0])
    said = next(one for one in monday.of(parts_of(cafe)) if "signal" in one)
    assert says in said
    assert ("person" in said) == (n == 5)
    assert "18 days" in said


def test_a_signal_closed_since_is_not_to_be_looked_at(slot, cafe):
    bar.month(slot, bar.crew(slot, 2), days=6)
    signal(cafe, 12, ("explained", bar.NOW - timedelta(days=2), "grind"), recipe=slot.version.recipe)
    made = signal(cafe, 13, ("closed", bar.NOW - timedelta(days=1), ""), recipe=slot.version.recipe)
    parts = parts_of(cafe)
    assert len(parts.signals.open) == 2
    assert made.pk in {life.signal.pk for life in parts.signals.open}
    said = " ".join(monday.of(parts))
    assert "Sat 12 Sep" in said
    assert "Sun 13 Sep" not in said
