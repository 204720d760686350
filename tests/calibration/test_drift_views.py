"""The charts of days and people: who sees what, small numbers, figures that plotly takes, tables, and queries."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from decimal import Decimal

import numpy as np
import plotly.graph_objects as go
import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import get_language

from brewbar.crew.models import Naming, Role
from calibration import people_share, spread
from calibration.models import CheckPlan, OnDuty, Reading
from calibration.tables import neutral
from tests import factories as make

NAMES = ("days", "staff", "people_share", "heat_map", "scatter")
NOW = timezone.now()


@pytest.fixture(autouse=True)
def nothing_remembered():
    cache.clear()


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=80))


def brewed(slot, people, days=12, off=(), seed=1):
    """A crew's brews; ``off``: of one person, by how much."""
    rng = np.random.default_rng(seed)
    for day in range(days):
        of_day = rng.normal(0, 0.02)
        for place, person in enumerate(people):
            tds = 1.4 + of_day + rng.normal(0, 0.015) + dict(off).get(place, 0)
            make.reading(
                slot,
                person,
                (f"{tds:.2f}",) * 2,
                brewed_at=NOW - timedelta(days=day),
                brew_time_s=160 + int(rng.integers(12)),
            )


def crew_of(slot, n=6):
    return [make.person(cafe=slot.board.cafe, name=f"Crew {chr(65 + i)}") for i in range(n)]


@pytest.fixture
def bar(slot):
    crew = crew_of(slot)
    brewed(slot, crew, off=((0, 0.03), (1, -0.03), (2, 0.02), (3, -0.02)))
    return slot, crew


def client_of(bar, role):
    slot, crew = bar
    return make.signed_in(crew[0] if role == Role.BARISTA else make.person(role, slot.board.cafe))


def page(client, name, **query):
    answer = client.get(reverse(f"calibration:{name}"), query)
    assert answer.status_code == 200
    return answer


def figure(client, name, **query):
    answer = client.get(reverse(f"calibration:{name}_figure"), query)
    assert answer.status_code == 200
    return go.Figure(answer.json())


def rows_of(client, name, **query):
    answer = client.get(reverse(f"calibration:{name}_csv"), query)
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("role", [Role.BARISTA, Role.HEAD, Role.OWNER])
def test_every_chart_is_one_that_plotly_takes_with_its_table(bar, role, name):
    bar[0].board.cafe.company.people_shown_to_owners = Naming.NAMES
    bar[0].board.cafe.company.save()
    client = client_of(bar, role)
    for measure in ("tds", "ey", "time"):
        assert figure(client, name, measure=measure).data
        head, *rows = rows_of(client, name, measure=measure)
        assert rows
        assert {len(row) for row in rows} == {len(head)}
        shown = page(client, name, measure=measure)
        assert "plotly" in shown.content.decode()
        assert shown.context["seen"].answer


@pytest.mark.parametrize("name", [*NAMES, "person_chart"])
def test_a_barista_gets_nobody_elses_name(bar, name):
    _slot, crew = bar
    client = make.signed_in(crew[0])
    args = [crew[0].pk] if name == "person_chart" else []
    for address in (name, f"{name}_figure", f"{name}_csv"):
        text = client.get(reverse(f"calibration:{address}", args=args)).content.decode()
        assert not [other.name for other in crew[1:] if other.name in text]


def test_a_barista_sees_their_own_dot_in_a_band_that_belongs_to_nobody(bar):
    seen = page(make.signed_in(bar[1][0]), "staff").context["seen"]
    assert [person.name for person in seen.people] == ["You"]
    low, high = seen.band
    assert low < high
    lines = page(make.signed_in(bar[1][0]), "heat_map").context["seen"].lines
    assert [line.name for line in lines] == ["You", "The rest of the crew, unnamed"]


@pytest.mark.parametrize("name", NAMES)
def test_somebody_who_has_not_brewed_yet_sees_what_belongs_to_nobody(bar, name):
    newcomer = make.signed_in(make.person(cafe=bar[0].board.cafe))
    assert page(newcomer, name)
    assert figure(newcomer, name) is not None
    assert rows_of(newcomer, name)


def test_with_four_others_there_is_no_band_and_no_day_of_theirs(slot):
    crew = crew_of(slot, 5)
    brewed(slot, crew[1:], days=10)
    make.reading(slot, crew[0])
    client = make.signed_in(crew[0])
    assert page(client, "staff").context["seen"].band is None
    seen = page(client, "days").context["seen"]
    assert [day.brews for day in seen.days] == [1]
    assert "Fewer than 5 people" in seen.sight.why_not
    assert "Fewer than 5 people" in page(client, "people_share").context["seen"].answer
    assert [line.name for line in page(client, "heat_map").context["seen"].lines] == ["You"]
    assert page(client, "scatter").context["seen"].crew is None


def test_a_day_that_would_tell_of_one_other_is_no_baristas(bar):
    slot, crew = bar
    make.reading(slot, crew[1], brewed_at=NOW - timedelta(days=20))
    assert len(page(make.signed_in(crew[0]), "days").context["seen"].days) == 12
    head = client_of(bar, Role.HEAD)
    assert len(page(head, "days").context["seen"].days) == 13


@pytest.mark.parametrize("setting", Naming.values)
def test_an_owner_reads_names_as_the_company_has_set(bar, setting):
    slot, crew = bar
    company = slot.board.cafe.company
    company.people_shown_to_owners = setting
    company.save()
    client = make.signed_in(make.person(Role.OWNER, slot.board.cafe))
    staff = page(client, "staff")
    named = [person.name for person in crew if person.name in staff.content.decode()]
    assert bool(named) is (setting == Naming.NAMES)
    assert len(staff.context["seen"].people) == 6
    # Letters with the days they worked would be names.
    assert bool(page(client, "heat_map").context["seen"].lines) is (setting != Naming.UNNAMED)
    assert (staff.context["seen"].dots is None) is (setting == Naming.UNNAMED)
    assert "/charts/person/" not in staff.content.decode()


def test_an_owner_gets_nothing_by_person_of_four(slot):
    brewed(slot, crew_of(slot, 4))
    client = make.signed_in(make.person(Role.OWNER, slot.board.cafe))
    assert not page(client, "staff").context["seen"].people
    assert not page(client, "heat_map").context["seen"].lines
    assert page(client, "people_share").context["seen"].fit is None
    assert page(client, "days").context["seen"].days
    assert all(point.person == "" for point in page(client, "scatter").context["seen"].points)


def test_who_is_off_is_said_and_leads_to_a_page_over_time(slot):
    crew = crew_of(slot)
    brewed(slot, crew, days=14, off=((2, 0.16),))
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe))
    seen = page(head, "staff").context["seen"]
    assert seen.smallest == pytest.approx(0.05)
    assert [person.name for person in seen.people if person.state == "high"] == ["Crew C"]
    assert seen.answer.startswith("Crew C brews 0.")
    assert seen.people[0].name == "Crew C"
    address = reverse("calibration:person_chart", args=[crew[2].pk])
    assert address in page(head, "staff").content.decode()
    own = head.get(address).context["seen"]
    assert len(own.days) == 14
    assert not own.followed.own_sd
    assert "stronger" in own.answer


def test_the_smallest_difference_is_what_the_cafe_says(bar):
    slot, _crew = bar
    CheckPlan.objects.create(cafe=slot.board.cafe, smallest_tds=Decimal("0.02"), smallest_time_s=4)
    head = client_of(bar, Role.HEAD)
    assert page(head, "staff").context["seen"].smallest == pytest.approx(0.02)
    assert page(head, "staff", measure="time").context["seen"].smallest == 4


def test_a_page_of_somebody_elses_is_not_found(bar):
    slot, crew = bar
    barista, head = make.signed_in(crew[0]), client_of(bar, Role.HEAD)
    stranger = make.person(cafe=make.cafe(slot.board.cafe.company))
    for end in ("", "_figure", "_csv"):
        name = f"calibration:person_chart{end}"
        assert barista.get(reverse(name, args=[crew[1].pk])).status_code == 404
        assert head.get(reverse(name, args=[crew[1].pk])).status_code == 200
        assert head.get(reverse(name, args=[stranger.pk])).status_code == 404


def test_a_cup_that_moved_is_said_with_what_was_changed_then(slot):
    crew = crew_of(slot, 5)
    rng = np.random.default_rng(2)
    for day in range(24):
        for person in crew:
            tds = 1.4 + (0.12 if day < 10 else 0) + rng.normal(0, 0.012)
            make.reading(slot, person, (f"{tds:.2f}",) * 2, brewed_at=NOW - timedelta(days=day))
    make.event(
        slot.board.cafe, kind="burrs", happened_at=NOW - timedelta(days=9), grinder=slot.setting.grinder
    )
    seen = page(make.signed_in(make.person(Role.HEAD, slot.board.cafe)), "days").context["seen"]
    assert seen.answer.startswith("Yes: since about")
    assert "0.12 % TDS stronger" in seen.answer
    assert "burrs" in seen.how_sure
    assert not any(day.is_outside for day in seen.days)


def test_too_few_days_people_and_brews_are_said(slot):
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe))
    make.reading(slot, crew_of(slot, 1)[0])
    assert "Too early to say" in page(head, "days").context["seen"].answer
    assert "Too early" in page(head, "staff").context["seen"].answer
    share = page(head, "people_share").context["seen"]
    assert share.cannot
    assert not share.parts or not any(part.key == "people" for part in share.parts)
    for name in NAMES:
        assert figure(head, name) is not None


def test_the_largest_part_is_said(bar):
    head = client_of(bar, Role.HEAD)
    seen = page(head, "people_share").context["seen"]
    assert sum(part.share for part in seen.parts) == pytest.approx(1)
    first = max(seen.parts, key=lambda part: part.share)
    words = {"days": "days, not people", "brews": "one brew to the next", "people": "is people"}
    assert words[first.key] in seen.answer
    assert people_share.percent(first) in seen.how_sure
    # nobody brewed twice on a day
    assert any("twice on a day" in says for says in seen.cannot)


def test_one_person_with_a_grinder_of_their_own_cannot_be_told_from_it(bar):
    slot, _crew = bar
    newcomer = make.person(cafe=slot.board.cafe, name="Grinder owner")
    own = make.grinder(slot.board.cafe)
    for day in range(6):
        make.reading(slot, newcomer, brewed_at=NOW - timedelta(days=day), grinder=own)
    said = page(client_of(bar, Role.HEAD), "staff").context["seen"].tied
    assert any("Grinder owner" in one and "grinder" in one for one in said)


def test_what_is_left_out_is_counted_beside(bar):
    slot, crew = bar
    by = make.person(Role.HEAD, slot.board.cafe)
    void = {"voided_at": NOW, "voided_by": by, "void_reason": "spilt"}
    first = make.reading(slot, crew[0], ("1.80", "1.80"))
    make.reading(slot, crew[0], corrects=first)
    make.reading(slot, crew[1], ("1.90", "1.90"), **void)
    make.reading(slot, crew[1], ("1.90", "1.90"), attempt=Reading.Attempt.REBREW)
    make.reading(slot, crew[1], ("1.90", "1.90"), kind=Reading.Kind.PRACTICE)
    make.reading(slot, crew[2], ("1.90", "1.90"), rinse_left_in=True)
    CheckPlan.objects.create(cafe=slot.board.cafe, recipe=slot.version.recipe)
    day = slot.board.cafe.business_day(NOW) - timedelta(days=1)
    for user in (make.person(cafe=slot.board.cafe), crew[0]):
        OnDuty.objects.create(cafe=slot.board.cafe, business_day=day, user=user, since=NOW, how="marked")
    seen = page(client_of(bar, Role.HEAD), "staff").context["seen"]
    assert dict(seen.beside.left_out) == {
        "voided": 1,
        "corrected: the newer reading counts": 1,
        "re-brew: the first brew counts": 1,
        "practice: counts nowhere": 1,
        "rinse water left in: strength not judged": 1,
        "on duty, and no check brewed": 1,
    }
    assert dict(seen.beside.kept) == {"no passing instrument check before it": 73}
    assert seen.brews == 73
    assert max(point.tds for point in page(client_of(bar, Role.HEAD), "scatter").context["seen"].points) < 1.6
    mine = page(make.signed_in(crew[1]), "staff").context["seen"]
    assert dict(mine.beside.left_out) == {
        "voided": 1, "re-brew: the first brew counts": 1, "practice: counts nowhere": 1,
    }  # fmt: skip


def test_yield_of_weights_that_do_not_add_up_is_left_out_as_its_own_page_says(bar):
    slot, crew = bar
    make.reading(slot, crew[0], beverage_g=Decimal("240"))
    head = client_of(bar, Role.HEAD)
    assert page(head, "staff", measure="ey").context["seen"].brews == 72
    assert page(head, "staff", measure="tds").context["seen"].brews == 73


def test_readings_of_a_failing_instrument_are_left_out_unless_asked_for(bar):
    slot, crew = bar
    from calibration import instruments

    glass = make.refractometer(slot.board.cafe, name="Off glass")
    for day in range(3):
        make.reading(
            slot, crew[0], ("1.70", "1.70"), refractometer=glass, brewed_at=NOW - timedelta(days=day)
        )
    instruments.check(
        glass, "zero", Decimal("0"), Decimal("0.20"), make.person(Role.HEAD, slot.board.cafe), NOW
    )
    head = client_of(bar, Role.HEAD)
    assert page(head, "staff").context["seen"].brews == 72
    assert page(head, "staff", instrument="any").context["seen"].brews == 75
    assert page(head, "staff", instrument="checked").context["seen"].brews == 0
    assert page(head, "strength").context["seen"].n_brews == 72


def test_all_recipes_of_a_coffee_are_brought_to_one_level(bar):
    slot, crew = bar
    recipe = make.recipe(slot.board.cafe.company, coffee=slot.version.recipe.coffee)
    other = make.live_slot(slot.board.cafe, version=make.version(recipe), at=NOW - timedelta(days=60))
    for day in range(12):
        for person in crew[:4]:
            make.reading(other, person, ("1.20", "1.20"), brewed_at=NOW - timedelta(days=day))
    head = client_of(bar, Role.HEAD)
    coffee = f"coffee-{recipe.coffee_id}"
    seen = page(head, "days", recipe=coffee).context["seen"]
    assert seen.brews == 120
    assert max(d.value for d in seen.days) - min(d.value for d in seen.days) < 0.1
    assert not seen.targets
    for name in (*NAMES, "strength"):
        assert figure(head, name, recipe=coffee).data
    assert head.get(reverse("calibration:days"), {"recipe": "coffee-999"}).status_code == 422


def test_ageing_can_be_taken_out(slot):
    crew = crew_of(slot, 5)
    for day in range(15):
        for person in crew:
            make.reading(slot, person, (f"{1.3 + 0.01 * day:.2f}",) * 2, brewed_at=NOW - timedelta(days=day))
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe))
    seen = page(head, "days").context["seen"]
    assert seen.ageing.slope == pytest.approx(-0.01)
    out = page(head, "days", ageing="out").context["seen"]
    assert max(d.value for d in out.days) - min(d.value for d in out.days) < 1e-6


@pytest.mark.parametrize("name", NAMES)
def test_a_span_without_a_reading_is_empty_and_no_error(bar, name):
    head = client_of(bar, Role.HEAD)
    long_ago = {"first": "2001-01-01", "last": "2001-02-01"}
    assert "plotly" not in page(head, name, **long_ago).content.decode()
    assert not figure(head, name, **long_ago).data
    assert len(rows_of(head, name, **long_ago)) == 1


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("more", [0, 30])
def test_queries_are_as_many_for_a_long_span_and_a_large_crew(
    slot, name, more, django_assert_max_num_queries
):
    crew = crew_of(slot, 5 + more // 5)
    brewed(slot, crew, days=3 + more // 3)
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe))
    with django_assert_max_num_queries(30):
        page(head, name)


def test_what_was_reckoned_once_is_remembered_until_a_brew_is_added(bar, monkeypatch):
    from calibration import staff

    slot, crew = bar
    head = client_of(bar, Role.HEAD)
    times = []
    monkeypatch.setattr(
        staff, "between_staff", lambda sums, own=staff.between_staff: times.append(1) or own(sums)
    )
    page(head, "staff")
    figure(head, "staff")
    assert len(times) == 1
    make.reading(slot, crew[0])
    page(head, "staff")
    assert len(times) == 2


def test_what_is_remembered_is_told_in_each_language_anew():
    for language in ("en", "de", "en", "de"):
        with translation.override(language):
            assert spread.remembered("word", spread.NOTHING, get_language) == language


def test_every_brew_is_in_the_sheet_with_names_as_text(bar):
    slot, _crew = bar
    villain = make.person(cafe=slot.board.cafe, name='=HYPERLINK("https://x.invalid")')
    make.reading(slot, villain, taste="@evil")
    head = client_of(bar, Role.HEAD)
    for name in ("staff", "scatter"):
        cells = [cell for row in rows_of(head, name) for cell in row]
        assert "'" + villain.name in cells
        assert not [cell for cell in cells if cell.startswith(("=", "@"))]
    assert len(rows_of(head, "scatter")) == 1 + 73


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1"])
def test_formulas_are_neutralised(cell):
    assert neutral(cell) == "'" + cell
    assert neutral(-1.5) == -1.5
