"""What reaches an owner about people, through pages, figures and files: nothing that names whom it must not."""

from __future__ import annotations

import json
from datetime import timedelta

import numpy as np
import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import forgetting, premises
from brewbar.crew.models import Naming, Role
from calibration import crowd, naming, recording
from tests import factories as make

NOW = timezone.now()
CHARTS = ("days", "staff", "people_share", "heat_map", "scatter", "strength")
NAMES = ("Aurelia Quick", "Benedikt Roll", "Cosima Stern", "Dietrich Thal", "Emilia Unger")
INITIALS = ("AQ", "BR", "CS", "DT", "EU")


@pytest.fixture(autouse=True)
def nothing_remembered():
    cache.clear()


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=100))


def crew_of(slot, n=5):
    """The first brews on two days only, each with a grinder of its own beside the bar's."""
    rng, crew = np.random.default_rng(4), []
    for name in NAMES[:n]:
        crew.append(make.person(cafe=slot.board.cafe, name=name))
    own = make.grinder(slot.board.cafe)
    for day in range(12):
        for place, person in enumerate(crew):
            if place or day < 2:
                tds = 1.35 + 0.03 * place + rng.normal(0, 0.01)
                more = {"grinder": own} if place == 0 else {}
                make.reading(slot, person, (f"{tds:.2f}",) * 2, brewed_at=NOW - timedelta(days=day), **more)
    return crew


def set_to(slot, setting: str) -> None:
    company = slot.board.cafe.company
    company.people_shown_to_owners = setting
    company.save()


def owner_of(slot):
    return make.signed_in(make.person(Role.OWNER, slot.board.cafe, name="Olga Owner"))


def reads(client, **query) -> dict[str, str]:
    """All that an owner gets of every chart: page, figure and file, by address."""
    found = {}
    for chart in CHARTS:
        for end in ("", "_figure", "_csv"):
            answer = client.get(reverse(f"calibration:{chart}{end}"), query)
            assert answer.status_code == 200
            # As it is read, not as it is escaped.
            found[f"{chart}{end}"] = (
                json.dumps(answer.json(), ensure_ascii=False) if end == "_figure" else answer.content.decode()
            )
    for name in ("calibration:signals", "crew:record"):
        found[name] = client.get(reverse(name)).content.decode()
    return found


def naming_somebody(read: dict[str, str], words: tuple[str, ...]) -> list[str]:
    return [f"{where}: {word}" for where, text in read.items() for word in words if word in text]


@pytest.mark.parametrize("n", [4, 5])
@pytest.mark.parametrize("setting", Naming.values)
def test_names_and_initials_reach_an_owner_only_as_set_and_of_five(slot, setting, n):
    crew = crew_of(slot, n)
    set_to(slot, setting)
    recording.void(
        crew[1].readings.first(), make.person(Role.HEAD, slot.board.cafe), "Aurelia Quick spilt it", NOW
    )
    make.signal(slot.board.cafe, crew[2])
    read = reads(owner_of(slot))
    if setting == Naming.NAMES:
        # The record of changes follows the setting alone: it tells of no result beside others.
        read.pop("crew:record")
    named, short = naming_somebody(read, NAMES), naming_somebody(read, tuple(f">{i}<" for i in INITIALS))
    if n < naming.FEWEST_PEOPLE or setting == Naming.UNNAMED:
        assert (named, short) == ([], [])
    elif setting == Naming.INITIALS:
        assert named == []
        assert short
    else:
        assert {where.split(":")[0] for where in named} >= {"staff", "staff_figure", "staff_csv"}


def test_no_count_day_or_piece_of_equipment_tells_who_a_letter_is(slot):
    crew_of(slot)
    client = owner_of(slot)
    answer = client.get(reverse("calibration:staff"))
    table = answer.context["table"]
    assert len(table.csv_head) == 8
    assert "Brews" not in {
        heading.text if hasattr(heading, "text") else str(heading[0]) for heading in table.head
    }
    assert answer.context["seen"].dots is None
    said = answer.content.decode()
    assert "1 person, always with a grinder that nobody else used" in said
    assert "n = " not in json.dumps(client.get(reverse("calibration:staff_figure")).json()["data"])
    # The same for whom names are open.
    set_to(slot, Naming.NAMES)
    answer = client.get(reverse("calibration:staff"))
    assert len(answer.context["table"].csv_head) == 11
    assert "Aurelia Quick, always with a grinder" in answer.content.decode()


@pytest.mark.parametrize("setting", Naming.values)
def test_few_days_are_not_shown_by_letter(slot, setting):
    crew_of(slot)
    set_to(slot, setting)
    today = slot.board.cafe.business_day(NOW)
    short = {"first": (today - timedelta(days=naming.FEWEST_DAYS - 2)).isoformat(), "last": today.isoformat()}
    client = owner_of(slot)
    seen = client.get(reverse("calibration:staff"), short).context["seen"]
    assert bool(seen.people) is (setting != Naming.UNNAMED)
    assert ("28 days or more" in seen.sight.why_not) is (setting == Naming.UNNAMED)
    assert (
        not client.get(reverse("calibration:heat_map"), short).context["seen"].lines
        or setting != Naming.UNNAMED
    )
    # How much of the spread is people names nobody.
    assert client.get(reverse("calibration:people_share"), short).context["seen"].parts


def test_letters_stay_on_a_page_and_change_with_the_span(slot):
    crew = crew_of(slot)
    owner = make.member(make.person(Role.OWNER, slot.board.cafe))
    today = slot.board.cafe.business_day(NOW)
    keys = [person.pk for person in crew]
    drawn = set()
    for days in range(28, 60):
        first = today - timedelta(days=days)
        names = crowd.sight_of(owner, keys, first, today).names
        assert names == crowd.sight_of(owner, reversed(keys), first, today).names
        assert sorted(names.values()) == [f"Barista {letter}" for letter in "ABCDE"]
        drawn.add(tuple(names[key] for key in keys))
    assert len(drawn) > 10


def test_those_of_whom_there_is_too_little_are_in_no_order_that_tells(slot):
    crew = crew_of(slot)
    late = [make.person(cafe=slot.board.cafe) for _n in range(8)]
    for person in late:
        make.reading(slot, person)
    people = owner_of(slot).get(reverse("calibration:staff")).context["seen"].people
    few = [one.name for one in people if one.standing.too_few]
    assert len(people) == len(crew) + len(late)
    assert few == sorted(few)


def test_what_was_opened_yesterday_opens_no_day_before(slot):
    crew_of(slot)
    company = slot.board.cafe.company
    company.people_shown_to_owners = Naming.NAMES
    premises.save_company(company, make.person(Role.OWNER, company=company))
    client = owner_of(slot)
    assert naming_somebody(reads(client), NAMES) == []
    # Nor by asking for the days after it alone, of which there are none yet.
    tomorrow = slot.board.cafe.business_day(NOW) + timedelta(days=1)
    assert naming.setting_for(company, tomorrow, tomorrow) == Naming.NAMES
    assert naming.setting_for(company, tomorrow - timedelta(days=1), tomorrow) == Naming.UNNAMED


@pytest.mark.parametrize("setting", Naming.values)
def test_somebody_who_left_and_was_forgotten_is_a_pseudonym_everywhere(slot, setting):
    crew = crew_of(slot)
    set_to(slot, setting)
    crew[0].memberships.update(started_at=NOW - timedelta(days=900), ended_at=NOW - timedelta(days=1))
    forgetting.forget(crew[0], NOW)
    client = owner_of(slot)
    read = reads(client)
    assert naming_somebody(read, (NAMES[0], ">AQ<")) == []
    assert naming_somebody(read, ("Former barista 1",)) or setting != Naming.NAMES
    assert len(client.get(reverse("calibration:staff")).context["seen"].people) == 5
    for head_reads in reads(make.signed_in(make.person(Role.HEAD, slot.board.cafe))).values():
        assert NAMES[0] not in head_reads


@pytest.mark.parametrize("name", ["reading", "correct", "void"])
def test_no_single_reading_is_an_owners(slot, name):
    reading = crew_of(slot)[0].readings.first()
    set_to(slot, Naming.NAMES)
    assert owner_of(slot).get(reverse(f"calibration:{name}", args=[reading.uuid])).status_code == 403
