"""How owners read about people never opens for days that were before it was opened, and closes for all at once."""

from datetime import UTC, date, datetime

import pytest

from brewbar.crew import how_named, premises, record
from brewbar.crew.models import Change, Role
from tests import factories as make

UNNAMED, INITIALS, NAMES = how_named.PRIVATE_FIRST


@pytest.fixture
def cafe(db):
    return make.cafe(time_zone="Pacific/Auckland")


@pytest.fixture
def set_on(cafe, monkeypatch):
    """Changes the setting of the café's company at a moment."""
    owner = make.person(Role.OWNER, company=cafe.company)

    def change(when: datetime, setting: str) -> None:
        monkeypatch.setattr("brewbar.crew.premises.timezone.now", lambda: when)
        cafe.company.people_shown_to_owners = setting
        premises.save_company(cafe.company, owner)
        monkeypatch.undo()

    return change


def on(cafe, *days: int) -> list[str]:
    shown = how_named.of(cafe.company)
    return [shown.on(date(2026, 3, day)) for day in days]


def march(day: int, hour: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, tzinfo=UTC)


def test_what_was_never_changed_holds_for_all_days(cafe):
    cafe.company.people_shown_to_owners = NAMES
    assert how_named.of(cafe.company) == how_named.HowNamed(NAMES)
    assert how_named.of(cafe.company).opens is None


def test_opening_holds_from_the_next_whole_business_day_of_the_cafe(cafe, set_on):
    set_on(march(10, 20), NAMES)
    # It is the 11th in Auckland by then, and the 11th was not wholly open.
    assert on(cafe, 9, 11, 12, 30) == [UNNAMED, UNNAMED, NAMES, NAMES]
    # The last café to begin the day decides.
    make.cafe(cafe.company, time_zone="Pacific/Honolulu")
    assert how_named.of(cafe.company).opens == date(2026, 3, 12)


def test_opening_in_two_steps_and_closing_at_once(cafe, set_on):
    set_on(march(5), INITIALS)
    set_on(march(10), NAMES)
    assert on(cafe, 5, 6, 10, 11) == [UNNAMED, INITIALS, INITIALS, NAMES]
    # Of two changes on a day the last one counts.
    set_on(march(10, 1), INITIALS)
    set_on(march(10, 2), NAMES)
    assert len(how_named.of(cafe.company).since) == 2
    set_on(march(20), INITIALS)
    assert on(cafe, 5, 6, 11, 25) == [UNNAMED, INITIALS, INITIALS, INITIALS]
    set_on(march(22), NAMES)
    # What was closed stays closed for the days before it was opened again.
    assert on(cafe, 5, 11, 22, 23) == [UNNAMED, INITIALS, INITIALS, NAMES]
    set_on(march(25), UNNAMED)
    assert on(cafe, 5, 11, 23, 26) == [UNNAMED] * 4
    assert [(c.was, c.becomes) for c in how_named.changes(cafe.company)] == [
        (UNNAMED, INITIALS), (INITIALS, NAMES), (NAMES, INITIALS), (INITIALS, NAMES), (NAMES, INITIALS),
        (INITIALS, NAMES), (NAMES, UNNAMED),
    ]  # fmt: skip


def test_never_more_open_than_anything_that_held_since(cafe, set_on):
    """Held against the slow way: every setting that stood at some moment since the day began."""
    steps = [(3, NAMES), (8, UNNAMED), (12, INITIALS), (13, NAMES), (21, INITIALS), (24, NAMES)]
    for day, setting in steps:
        set_on(march(day), setting)
    before = [UNNAMED, *(setting for _day, setting in steps)]
    for first in range(1, 31):
        held = {before[n] for n in range(len(before)) if n == len(steps) or steps[n][0] >= first}
        assert on(cafe, first) == [min(held, key=how_named.PRIVATE_FIRST.index)]


def test_saving_other_settings_adds_nothing(cafe):
    premises.save_company(cafe.company, make.person(Role.OWNER, company=cafe.company))
    assert how_named.changes(cafe.company) == []


def test_the_record_names_nobody_of_days_before_it_was_opened(cafe, set_on):
    set_on(march(10), NAMES)
    head = make.person(Role.HEAD, cafe, name="Ada Head")
    subjects = {"Morning, 2026-03-08": "somebody of the crew", "Morning, 2026-03-12": "Ada Head"}
    for subject in subjects:
        record.note(
            company=cafe.company, cafe=cafe, about=Change.About.READING, what="voided", subject=subject, by=head,
            before={"barista": "Bo Barista"}, at=march(20),
        )  # fmt: skip
    owner = make.member(make.person(Role.OWNER, company=cafe.company))
    rows = record.looked_up(owner, about=Change.About.READING)
    assert {noted.change.subject: noted.who for noted in record.as_read_by(owner, rows)} == subjects
    assert [bool(noted.values) for noted in record.as_read_by(owner, rows.order_by("pk"))] == [False, True]
    # A search by a name would tell of whom the unnamed rows are.
    assert not record.looked_up(owner, "bo barista").exists()
    assert record.looked_up(make.member(head), "bo barista").count() == 2
