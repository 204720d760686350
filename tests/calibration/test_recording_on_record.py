"""Readings that are corrected or voided stand in the record; and every reading knows its water."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import record
from brewbar.crew.models import Change, Role
from calibration import recording
from recipes import happenings
from tests import factories as make

NOW = timezone.now()
EARLIER = NOW - timedelta(hours=5)


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=5))


@pytest.fixture
def cafe(slot):
    return slot.board.cafe


@pytest.fixture
def barista(cafe):
    return make.person(cafe=cafe, name="Ana Prates")


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


def saved(entry, by=None, now=NOW):
    return recording.record(entry, by or entry.barista, now).reading


def test_a_correction_is_noted_with_old_and_new(slot, barista):
    typo = saved(make.entry(slot, barista, ("1.40", "1.41")))
    assert not Change.objects.exists()
    same = {"corrects": typo, "brewed_at": typo.brewed_at}
    saved(make.entry(slot, barista, ("1.40", "1.40"), brew_time_s=175, **same))
    change = Change.objects.get()
    assert (change.about, change.what, change.by) == ("reading", "corrected", barista)
    assert change.before == {"drops": "1.40 % · 1.41 %", "brew time": "165", "tds": "1.405"}
    assert change.after == {"drops": "1.40 % · 1.40 %", "brew time": "175", "tds": "1.4"}
    assert change.row == record.row_key(typo)


def test_voiding_is_noted_with_its_reason(slot, barista, head):
    reading = saved(make.entry(slot, barista))
    recording.void(reading, head, "The scale was not on zero.", NOW)
    with pytest.raises(recording.NotStanding):
        recording.void(reading, head, "again", NOW)
    change = Change.objects.get()
    assert (change.what, change.why, change.by) == ("voided", "The scale was not on zero.", head)
    assert change.before["barista"] == "Ana Prates"
    assert change.before["drops"] == "1.40 % · 1.40 %"
    assert change.after == {}


def test_its_subject_names_nobody_and_no_number(slot, barista, head):
    """Owners who are shown no names read the subject all the same."""
    recording.void(saved(make.entry(slot, barista)), head, "spilt", NOW)
    subject = Change.objects.get().subject
    assert subject == f"{slot.version.recipe.name}, {slot.board.cafe.business_day(NOW).isoformat()}"


# --- the water it was brewed with


def test_a_reading_knows_the_water_in_use(slot, cafe, barista, head):
    assert saved(make.entry(slot, barista)).brew_water is None
    tap, spring = make.water(cafe, name="Tap"), make.water(cafe, name="Hut spring")
    happenings.brew_with(tap, head, EARLIER)
    assert saved(make.entry(slot, barista)).brew_water == tap
    happenings.brew_with(spring, head, NOW - timedelta(hours=1))
    reading = saved(make.entry(slot, barista))
    assert reading.brew_water == spring
    page = make.signed_in(barista).get(reverse("calibration:reading", args=[reading.uuid]))
    assert "Hut spring" in page.content.decode()


def test_a_brew_entered_late_has_the_water_of_its_hour(slot, cafe, barista, head):
    tap, spring = make.water(cafe), make.water(cafe)
    happenings.brew_with(tap, head, EARLIER)
    happenings.brew_with(spring, head, NOW - timedelta(hours=1))
    for hours_ago, water in ((3, tap), (6, None)):
        reading = saved(make.entry(slot, barista, brewed_at=NOW - timedelta(hours=hours_ago)))
        assert reading.brew_water == water, hours_ago


def test_a_correction_leaves_the_water_as_it_was_known_unless_the_moment_was_wrong(slot, cafe, barista, head):
    tap, spring = make.water(cafe), make.water(cafe)
    happenings.brew_with(tap, head, EARLIER)
    typo = saved(make.entry(slot, barista, brewed_at=NOW - timedelta(minutes=2)))
    # Only afterwards somebody says that the water was another by then.
    happenings.add(cafe, "water", NOW - timedelta(hours=1), head, NOW, spring)
    same = {"corrects": typo, "brewed_at": typo.brewed_at}
    right = saved(make.entry(slot, barista, weight_g=Decimal(222), **same))
    assert right.brew_water == tap
    moved = make.entry(slot, barista, corrects=right, brewed_at=NOW - timedelta(minutes=3))
    assert saved(moved).brew_water == spring


def test_the_water_of_another_cafe_is_none_of_ours(slot, cafe, barista, head):
    happenings.brew_with(make.water(make.cafe(cafe.company)), head, EARLIER)
    assert saved(make.entry(slot, barista)).brew_water is None


def test_a_retired_or_reweighed_server_leaves_readings_as_they_were(slot, cafe, barista):
    server = make.server(cafe, tare_g=Decimal("312.4"), name="Server A")
    weighed = {"beverage_source": "server", "server": server, "weight_g": Decimal("532.4")}
    # Just now, since a barista corrects within minutes and a long run began earlier
    reading = saved(make.entry(slot, barista, tare_g=server.tare_g, **weighed), now=timezone.now())
    client, code = make.signed_in(barista), reverse("calibration:code", args=[slot.card.code])
    assert "Server A" in client.get(code).content.decode()
    server.tare_g = Decimal("310.0")
    server.save()
    server.retire()
    reading.refresh_from_db()
    assert (reading.tare_g, reading.beverage_g) == (Decimal("312.4"), Decimal("220.0"))
    correcting = client.get(reverse("calibration:correct", args=[reading.uuid])).content.decode()
    assert "Server A" in correcting
