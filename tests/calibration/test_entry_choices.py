"""Which rows the entry page knows, offers and refuses: instruments, cards and slots of one's own café only."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Membership, Role
from calibration.models import Reading
from tests import factories as make


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe())


@pytest.fixture
def barista(slot):
    return make.person(cafe=slot.board.cafe)


@pytest.fixture
def client(barista):
    return make.signed_in(barista)


def path_of(slot):
    return reverse("calibration:code", args=[slot.card.code])


def typed(form, /, **change):
    said = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    four = {"weight_g": "220", "minutes": "2", "seconds": "45", "drop_1": "1,40", "drop_2": "1.41"}
    return said | four | change


def test_the_only_instrument_is_no_question(client, slot):
    only = make.refractometer(slot.board.cafe)
    form = client.get(path_of(slot)).context["form"]
    assert [key for key, _ in form.fields["refractometer"].choices] == [str(only.pk)]
    assert not form.is_different
    said = typed(form, refractometer=only.pk, drop_2="")
    assert not client.post(path_of(slot), said).context["form"].is_different


def test_of_several_instruments_one_is_asked_for_in_plain_sight(client, slot):
    make.refractometer(slot.board.cafe)
    make.refractometer(slot.board.cafe)
    form = client.get(path_of(slot)).context["form"]
    assert not form["refractometer"].value()
    assert form.is_different
    answer = client.post(path_of(slot), typed(form))
    assert answer.status_code == 422
    assert "refractometer" in answer.context["form"].errors


def test_of_several_instruments_the_last_one_is_remembered(client, slot, barista):
    make.refractometer(slot.board.cafe)
    mine = make.refractometer(slot.board.cafe)
    make.reading(slot, barista, refractometer=mine)
    form = client.get(path_of(slot)).context["form"]
    assert form["refractometer"].value() == mine.pk
    assert not form.is_different


def test_a_retired_instrument_is_neither_remembered_nor_offered(client, slot, barista):
    retired, other = make.refractometer(slot.board.cafe), make.refractometer(slot.board.cafe)
    make.reading(slot, barista, refractometer=retired)
    retired.retired_at = timezone.now()
    retired.save()
    form = client.get(path_of(slot)).context["form"]
    assert [key for key, _ in form.fields["refractometer"].choices] == [str(other.pk)]


@pytest.mark.parametrize("same_company", [True, False])
def test_a_card_of_another_place_is_unknown(client, slot, same_company):
    make.refractometer(slot.board.cafe)
    there = make.live_slot(make.cafe(slot.board.cafe.company if same_company else None))
    said = typed(client.get(path_of(slot)).context["form"], slot=there.pk)
    for answer in (client.get(path_of(there)), client.post(path_of(there), said)):
        assert answer.status_code == 404
        assert there.version.recipe.name not in answer.content.decode()
    assert not Reading.objects.exists()


def test_a_card_of_a_cafe_where_one_works_too_leads_there(client, slot, barista):
    there = make.live_slot(make.cafe(slot.board.cafe.company))
    Membership.objects.create(
        user=barista, company=there.board.cafe.company, cafe=there.board.cafe, role=Role.BARISTA
    )
    page = client.get(path_of(there))
    assert page.status_code == 404
    assert there.board.cafe.name in page.content.decode()


def test_a_slot_of_another_card_is_not_taken(client, slot):
    make.refractometer(slot.board.cafe)
    other = make.live_slot(slot.board.cafe)
    foreign = make.live_slot(make.cafe())
    form = client.get(path_of(slot)).context["form"]
    for chosen in (other.pk, foreign.pk, "x"):
        said = typed(form, refractometer=form.fields["refractometer"].choices[0][0], slot=chosen)
        assert client.post(path_of(slot), said).status_code == 302
    assert Reading.objects.get().slot == slot


def test_a_reading_of_another_barista_or_company_is_not_corrected(client, slot):
    colleague = make.reading(slot, make.person(cafe=slot.board.cafe))
    there = make.live_slot(make.cafe())
    foreign = make.reading(there, make.person(cafe=there.board.cafe))
    for reading in (colleague, foreign):
        path = reverse("calibration:correct", args=[reading.uuid])
        assert client.get(path).status_code == 404
        assert client.post(path, {"drop_1": "1.40"}).status_code == 404
