"""Forms in another reader's figures, sent back as they came: nothing of what is kept may move."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.db import models
from django.urls import reverse

from brewbar.crew.models import User
from calibration.models import Reading
from recipes.models import Pour
from tests import factories as make
from tests.test_bad_input import SeenForm, forms_on
from tests.world import World

STYLES = [(".", "C", "dmy"), (",", "F", "iso"), (",", "C", "mdy"), (".", "F", "dmy")]
MOVES_WITH_EACH_SAVE = {"revision", "edited_at", "edited_by_id"}

pytestmark = pytest.mark.django_db


@pytest.fixture(params=STYLES, ids="".join)
def style(request) -> tuple[str, str, str]:
    return request.param


def read_as(user: User, style: tuple[str, str, str]) -> Any:
    user.decimal_mark, user.temperature_unit, user.date_order = style
    user.save()
    return make.signed_in(user)


def kept(row: models.Model) -> dict[str, Any]:
    row.refresh_from_db()
    names = [field.attname for field in row._meta.concrete_fields]
    return {name: getattr(row, name) for name in names if name not in MOVES_WITH_EACH_SAVE}


def form_with(client: Any, path: str, field: str) -> SeenForm:
    [form] = [form for form in forms_on(client, path) if field in form.typed and form.method == "post"]
    return form


ROWS = {
    "recipes:coffee_edit": ("coffee", "name"),
    "recipes:batch": ("batch", "label"),
    "recipes:brewer": ("brewer", "name"),
    "recipes:paper": ("paper", "name"),
    "recipes:kettle": ("kettle", "name"),
    "recipes:grinder": ("grinder", "name"),
    "recipes:server": ("server", "name"),
    "calibration:instrument": ("refractometer", "name"),
}


@pytest.mark.parametrize("address", ROWS)
def test_a_row_sent_back_as_it_was_shown_is_the_same_row(style, address):
    world = World.build()
    key, field = ROWS[address]
    row = world.rows[key]
    if key == "kettle":
        row.spout_bore_mm, row.flow_max_g_s = Decimal("6.5"), Decimal("8.5")
        row.save()
    client = read_as(world.head, style)
    before = kept(row)
    path = reverse(address, args=[row.pk])
    answer = client.post(path, form_with(client, path, field).sent)
    assert answer.status_code == 302, answer.context["form"].errors
    assert kept(row) == before


def test_a_draft_sent_back_as_it_was_shown_is_the_same_plan(style):
    world = World.build()
    draft = world.draft
    draft.water_temperature_C, draft.dose_g, draft.water_g = (
        Decimal("92.7"),
        Decimal("15.5"),
        Decimal("250.0"),
    )
    draft.note = "Two lines\nof a note"
    draft.save()
    pours = list(draft.pours.order_by("order"))
    for pour, temperature in zip(pours, ("93.3", "0.1", "99.9"), strict=True):
        pour.temperature_C, pour.flow_g_s = Decimal(temperature), Decimal("4.5")
        pour.save()
    client = read_as(world.head, style)
    before = kept(draft), [without_key(pour) for pour in pours]
    path = reverse("recipes:version_edit", args=[draft.pk])
    answer = client.post(path, form_with(client, path, "dose_g").sent | {"do": ["save"]})
    assert answer.status_code == 302
    after = kept(draft), [without_key(pour) for pour in draft.pours.order_by("order")]
    assert (after[0] | {"note": after[0]["note"].replace("\r\n", "\n")}, after[1]) == before


def without_key(pour: Pour) -> dict[str, Any]:
    return {name: value for name, value in kept(pour).items() if name != "id"}


def test_a_correction_sent_as_it_was_shown_says_the_same_of_the_brew(style):
    world = World.build()
    reading = make.reading(world.slot, world.barista, slurry_temperature_C=Decimal("91.7"))
    client = read_as(world.head, style)
    path = reverse("calibration:correct", args=[reading.uuid])
    assert client.post(path, form_with(client, path, "drop_1").sent).status_code == 302
    new = Reading.objects.get(corrects=reading)
    for name in ("dose_g", "water_g", "bypass_g", "ice_g", "beverage_g", "tds", "brew_time_s", "brewed_at"):
        assert getattr(new, name) == getattr(reading, name), name
    assert new.slurry_temperature_C == reading.slurry_temperature_C
    assert [drop.tds for drop in new.drops.all()] == [drop.tds for drop in reading.drops.all()]
