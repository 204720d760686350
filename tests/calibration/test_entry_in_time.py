"""Old cards, brews entered late, and clocks that change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import recording
from calibration.models import Reading
from recipes.forms.fields import WallTimeField
from recipes.models import SlotSetting
from tests import factories as make

NOW = timezone.now()


@pytest.fixture
def slot(db):
    slot = make.live_slot(make.cafe(), at=NOW - timedelta(days=5), grind_setting="24")
    make.refractometer(slot.board.cafe)
    return slot


@pytest.fixture
def client(slot):
    return make.signed_in(make.person(cafe=slot.board.cafe))


def typed(client, path, **change):
    form = client.get(path).context["form"]
    said = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    four = {"weight_g": "220", "minutes": "2", "seconds": "45", "drop_1": "1.40", "drop_2": "1.41"}
    return said | {"slot": form.slot.pk} | four | change


def replaced(slot):
    """The slot's card with a newer version live, ground finer."""
    newer = make.version(slot.version.recipe, published=True, what_changed="Finer", why="It ran fast")
    slot.withdrawn_at, slot.withdrawn_by = NOW - timedelta(days=2), slot.published_by
    slot.save()
    return make.live_slot(
        slot.board.cafe, newer, slot.station, at=NOW - timedelta(days=2), grind_setting="22"
    )


def test_who_brewed_by_an_old_card_can_say_so_and_it_counts_as_that_version(client, slot):
    newer = replaced(slot)
    path = reverse("calibration:code", args=[slot.card.code, 1])
    page = client.get(path).content.decode()
    assert 'href="?as=printed"' in page
    said = typed(client, f"{path}?as=printed")
    assert client.post(path, said).status_code == 302
    reading = Reading.objects.get()
    assert reading.version == slot.version
    assert reading.grind_setting == newer.setting.grind_setting


def test_the_page_may_outlive_what_it_was_opened_for(client, slot):
    path = reverse("calibration:code", args=[slot.card.code])
    said = typed(client, path)
    newer = replaced(slot)
    assert client.post(path, said).status_code == 302
    assert Reading.objects.get().version == slot.version != newer.version


def test_a_brew_entered_late_has_the_grind_of_its_hour(client, slot):
    old, hour = slot.setting, NOW - timedelta(hours=3)
    slot.setting = SlotSetting.objects.create(
        slot=slot,
        roast_batch=old.roast_batch,
        grinder=old.grinder,
        grind_setting="22",
        set_at=NOW - timedelta(hours=1),
        set_by=old.set_by,
    )
    slot.save()
    path, late = reverse("calibration:code", args=[slot.card.code]), hour.strftime("%Y-%m-%dT%H:%M")
    client.post(path, typed(client, path, brewed_at=late))
    client.post(path, typed(client, path))
    client.post(path, typed(client, path, brewed_at=late, grind_setting="30"))
    by_entry = Reading.objects.order_by("pk").values_list("grind_setting", flat=True)
    assert list(by_entry) == ["24", "22", "30"]


def test_the_wall_clock_of_the_cafe_says_when(slot):
    berlin = WallTimeField(ZoneInfo("Europe/Berlin"))
    assert berlin.clean("2026-07-01T09:40") == datetime(2026, 7, 1, 7, 40, tzinfo=UTC)
    # The clocks went from two to three on 29 March 2026, and from three back to two on 25 October.
    with pytest.raises(ValidationError, match="clocks skip"):
        berlin.clean("2026-03-29T02:30")
    assert berlin.clean("2026-10-25T02:30") == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    with pytest.raises(ValidationError, match="day and time"):
        berlin.clean("half past nine")


def test_a_correction_leaves_the_moment_and_the_tare_alone(slot):
    barista = make.person(cafe=slot.board.cafe)
    server = make.server(slot.board.cafe, tare_g="243.5")
    weighed = {"beverage_source": "server", "server": server, "weight_g": Decimal("463.5")}
    at = NOW - timedelta(minutes=3, seconds=17)
    entry = make.entry(slot, barista, ("1.40", "1.41"), tare_g=Decimal("243.5"), brewed_at=at, **weighed)
    typo = recording.record(entry, barista, timezone.now()).reading
    server.tare_g = 300
    server.save()
    client, path = make.signed_in(barista), reverse("calibration:correct", args=[typo.uuid])
    client.post(path, typed(client, path, weight_g="464.5", drop_2="1.40"))
    right = Reading.objects.get(corrects=typo)
    assert (right.brewed_at, right.tare_g, right.beverage_g) == (at, Decimal("243.5"), 221)


def test_a_correction_of_a_brew_in_the_hour_that_came_twice_stays_in_its_hour(slot):
    cafe = slot.board.cafe
    cafe.time_zone = "Europe/Berlin"
    cafe.save()
    head = make.person(Role.HEAD, cafe)
    second_time = datetime(2025, 10, 26, 1, 30, 40, tzinfo=UTC)
    slot = make.live_slot(cafe, at=second_time - timedelta(days=3))
    typo = make.reading(slot, head, brewed_at=second_time)
    client, path = make.signed_in(head), reverse("calibration:correct", args=[typo.uuid])
    said = typed(client, path, taste="Sweet")
    sure = client.post(path, said).context["question"].keys
    client.post(path, said | {"sure": sure})
    assert Reading.objects.get(corrects=typo).brewed_at == second_time
