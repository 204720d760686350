"""What happened at the bar: written down by the café's clock, taken back, found again, and kept for the charts."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Change, Role
from recipes import happenings
from recipes.catalogue import NotDone
from recipes.models import BarEvent
from tests import factories as make

pytestmark = pytest.mark.django_db

Kind = BarEvent.Kind


@pytest.fixture
def cafe():
    return make.cafe(time_zone="Europe/Lisbon")


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe, name="Inés Faro")


@pytest.fixture
def client(head):
    return make.signed_in(head)


def at(name, *args):
    return reverse(f"recipes:{name}", args=args)


def page(client, address, **query):
    answer = client.get(address, query)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_new_burrs_are_written_down_by_the_clock_on_the_wall(cafe, head, client):
    quern = make.grinder(cafe, name="The Quern")
    typed = {
        "kind": "burrs",
        "thing": f"grinder-{quern.pk}",
        "happened_at": "2026-07-01T09:40",
        "note": "Set B",
    }
    assert client.post(at("event_new"), typed).url == at("events")
    event = BarEvent.objects.get()
    # Lisbon is an hour ahead of UTC in July.
    assert event.happened_at == datetime(2026, 7, 1, 8, 40, tzinfo=UTC)
    assert (event.cafe, event.kind, event.thing, event.noted_by) == (cafe, "burrs", quern, head)
    html = page(client, at("events"))
    for said in ("New burrs", "The Quern", "Set B", "Inés Faro"):
        assert said in html
    change = Change.objects.get()
    assert (change.about, change.what, change.subject) == ("equipment", "happened", "new burrs: The Quern")
    assert change.after == {"when": "2026-07-01 09:40", "note": "Set B"}


def test_the_form_begins_with_the_piece_it_was_opened_from_and_with_now(cafe, client):
    kettle = make.kettle(cafe)
    form = client.get(at("event_new"), {"thing": f"kettle-{kettle.pk}"}).context["form"]
    assert form["thing"].value() == f"kettle-{kettle.pk}"
    now = timezone.localtime(timezone=cafe.zone).strftime("%Y-%m-%dT%H:%M")
    assert form["happened_at"].value()[:13] == now[:13]


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"kind": ""}, "kind", "Say what happened."),
        ({"kind": "exploded"}, "kind", "not one of the available choices"),
        ({"happened_at": ""}, "happened_at", "Say when."),
        ({"happened_at": "this morning"}, "happened_at", "Enter day and time"),
        ({"happened_at": "1997-07-01T09:40"}, "happened_at", "more than ten years ago"),
        ({"kind": "burrs"}, "thing", "That happens to a grinder: choose which."),
        ({"kind": "water"}, "thing", "Choose which water"),
        ({"kind": "paper", "thing": "kettle"}, "thing", "Choose which paper."),
        ({"kind": "descaled", "thing": "grinder"}, "thing", "to a kettle, or to the bar"),
        ({"kind": "cleaned", "thing": "paper"}, "thing", "choose another piece"),
        ({"kind": "other"}, "note", "Say in a few words what happened."),
        ({"note": "x" * 201}, "note", "at most 200 characters"),
        ({"note": "水"}, "note", "cannot print"),
    ],
)
def test_what_is_wrong_is_said_beside_the_field_and_kept(typed, field, said, cafe, client):
    things = {
        "kettle": make.kettle(cafe),
        "grinder": make.grinder(cafe),
        "paper": make.paper(cafe.company),
    }
    if typed.get("thing"):
        typed = typed | {"thing": happenings.key_of(things[typed["thing"]])}
    typed = {"kind": "cleaned", "thing": "", "happened_at": "2026-07-01T09:40", "note": ""} | typed
    answer = client.post(at("event_new"), typed)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]
    assert said in answer.context["form"].errors[field][0]
    assert typed["note"][:50] in answer.content.decode()
    assert not BarEvent.objects.exists()


def test_what_is_still_to_come_has_not_happened(cafe, head, client):
    now = timezone.now()
    tomorrow = (now + timedelta(days=1)).astimezone(cafe.zone).strftime("%Y-%m-%dT%H:%M")
    answer = client.post(at("event_new"), {"kind": "cleaned", "happened_at": tomorrow})
    assert answer.context["form"].errors["happened_at"] == ["This moment is still to come."]
    with pytest.raises(NotDone, match="still to come"):
        happenings.add(cafe, Kind.CLEANED, now + timedelta(minutes=2), head, now)


def test_another_cafes_things_are_not_offered_and_not_taken(cafe, head, client):
    next_door = make.kettle(make.cafe(cafe.company))
    typed = {"kind": "descaled", "thing": f"kettle-{next_door.pk}", "happened_at": "2026-07-01T09:40"}
    assert "thing" in client.post(at("event_new"), typed).context["form"].errors
    now = timezone.now()
    for thing in (next_door, make.brewer(make.company())):
        with pytest.raises(NotDone, match="another café"):
            happenings.add(cafe, Kind.SWAPPED, now, head, now, thing)


def test_a_wrong_one_is_taken_back_once_and_stays_to_be_seen(cafe, client, head):
    event = make.event(cafe, Kind.DESCALED, kettle=make.kettle(cafe, name="The Heron"))
    client.post(at("event_take_back", event.pk))
    event.refresh_from_db()
    assert event.taken_back_by == head
    html = page(client, at("events"))
    assert "The Heron" in html
    assert "Taken back by Inés Faro" in html
    again = client.post(at("event_take_back", event.pk), follow=True).content.decode()
    assert "This was taken back already." in again
    assert happenings.events_between(cafe, event.happened_at, timezone.now()) == []
    for change in ({"note": "never"}, {"taken_back_at": None, "taken_back_by": None}):
        with pytest.raises(IntegrityError), transaction.atomic():
            BarEvent.objects.update(**change)


def test_events_between_are_the_cafes_own_oldest_first_and_end_before_the_end(cafe):
    start = datetime(2026, 7, 1, tzinfo=UTC)
    days = [
        make.event(cafe, happened_at=start + timedelta(days=n), kettle=make.kettle(cafe))
        for n in (2, 0, -1, 3)
    ]
    make.event(make.cafe(cafe.company), happened_at=start)
    assert happenings.events_between(cafe, start, start + timedelta(days=3)) == [days[1], days[0]]


def test_the_page_is_filtered_by_piece_and_by_kind(cafe, client):
    quern, heron = make.grinder(cafe, name="The Quern"), make.kettle(cafe, name="The Heron")
    make.event(cafe, Kind.BURRS, grinder=quern, note="first set")
    make.event(cafe, Kind.CLEANED, grinder=quern, note="brushed")
    make.event(cafe, Kind.DESCALED, kettle=heron, note="citric")
    of_quern = page(client, at("events"), thing=f"grinder-{quern.pk}")
    assert "first set" in of_quern
    assert "brushed" in of_quern
    assert "citric" not in of_quern
    assert "brushed" not in page(client, at("events"), thing=f"grinder-{quern.pk}", kind="burrs")
    assert "Nothing like that" in page(client, at("events"), kind="repaired")
    for nonsense in ("grinder-x", "grinder-987654", "-1", "cafe-1"):
        assert "citric" in page(client, at("events"), thing=nonsense)


def test_everybody_reads_and_head_baristas_write(cafe):
    event = make.event(cafe, note="brushed")
    for role in (Role.BARISTA, Role.OWNER):
        reader = make.signed_in(make.person(role, cafe))
        html = page(reader, at("events"))
        assert "brushed" in html
        assert at("event_new") not in html
        assert reader.get(at("event_new")).status_code == 403
        assert reader.post(at("event_take_back", event.pk)).status_code == 403
    stranger = make.signed_in(make.person(Role.HEAD, make.cafe(cafe.company)))
    assert "brushed" not in page(stranger, at("events"))


def test_the_equipment_page_says_what_happened_last_and_leads_to_all_of_it(cafe, client):
    quern = make.grinder(cafe, name="The Quern")
    long_ago = datetime(2026, 3, 1, 12, tzinfo=UTC)
    make.event(cafe, Kind.BURRS, grinder=quern, happened_at=long_ago)
    assert "new burrs, 1 Mar 2026" in page(client, at("equipment"))
    wrong = make.event(cafe, Kind.CLEANED, grinder=quern)
    assert "new burrs, 1 Mar" not in page(client, at("equipment"))
    happenings.take_back(wrong, wrong.noted_by, timezone.now())
    assert "new burrs, 1 Mar 2026" in page(client, at("equipment"))
    barista = make.signed_in(make.person(Role.BARISTA, cafe))
    assert f"{at('events')}?thing=grinder-{quern.pk}" in page(barista, at("equipment"))


def test_a_thing_tells_events_and_changes_in_one_history_newest_first(cafe, client):
    client.post(at("grinder_new"), {"name": "The Quern", "setting_step": "1"})
    quern = cafe.grinders.get()
    yesterday = timezone.now() - timedelta(days=1)
    make.event(cafe, Kind.BURRS, grinder=quern, happened_at=yesterday)
    client.post(at("grinder", quern.pk), {"name": "The Old Quern", "setting_step": "0.5"})
    make.event(cafe, Kind.CLEANED, grinder=make.grinder(cafe))
    history = client.get(at("grinder", quern.pk)).context["history"]
    assert [moment.what for moment in history] == ["changed", "added", "new burrs"]
    assert {field: (old, new) for field, old, new in history[0].values} == {
        "name": ("The Quern", "The Old Quern"),
        "one step on its scale": ("1", "0.5"),
    }
    assert history[0].who == "Inés Faro"
    html = page(client, at("grinder", quern.pk))
    assert "The Quern</del>" in html
    assert "New burrs" in html


@pytest.mark.parametrize("amount", [1, 6])
def test_the_page_asks_as_often_however_much_there_is(amount, cafe, client, django_assert_num_queries):
    for _ in range(amount):
        make.event(cafe, kettle=make.kettle(cafe))
        make.event(cafe, grinder=make.grinder(cafe))
    # session, person, places; six kinds of pieces to filter by; how many events, and those
    with django_assert_num_queries(11):
        page(client, at("events"))
