"""A program's reading goes the way that the entry page sends it: same rules, same numbers, same questions."""

import uuid
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from calibration.models import Reading
from recipes.models import Seen, SlotSetting
from tests import factories as make
from tests.api.bar import V1, pointers, send


def test_a_reading_is_saved_as_the_key_and_told_whole(bar):
    body = bar.body(beverage_source="server", weight_g=463.5, drops=[1.40, 1.42], taste="clear")
    answer = send(bar.program(), "/readings/", body)
    assert answer.status_code == 201, answer.json()
    said, row = answer.json(), Reading.objects.get()
    assert answer["Location"] == said["url"] == f"http://testserver{V1}/readings/{body['uuid']}/"
    assert (row.source, row.key.name) == (Reading.Source.API, "scale at the bar")
    assert row.barista == row.entered_by == bar.barista
    assert (row.dose_g, row.water_g, row.grind_setting) == (15, 250, "24")
    assert (said["gross_g"], said["tare_g"], said["beverage_g"]) == (463.5, 243.5, 220)
    assert [drop["tds"] for drop in said["drops"]] == [1.4, 1.42]
    # EY = beverage x TDS / dose, by hand: 220 x 1.41 / 15
    assert (said["tds"], said["ey"]) == (1.41, 20.68)
    assert [verdict["of"] for verdict in said["verdicts"]] == ["tds", "ey", "brew_time_s"]
    assert Seen.objects.filter(slot=bar.slot, user=bar.barista).exists()


def test_the_form_and_the_interface_save_the_same(bar):
    """One way in: whatever is not of the way itself is alike, column by column."""
    page = reverse("calibration:code", args=[bar.slot.card.code])
    typed = {
        "uuid": str(uuid.uuid4()), "kind": "served", "beverage_source": "alone", "weight_g": "220",
        "minutes": "2", "seconds": "45", "drop_1": "1.40", "drop_2": "1.42", "dose_g": "15", "water_g": "250",
        "bypass_g": "0", "ice_g": "0", "roast_batch": bar.slot.setting.roast_batch.pk,
        "grinder": bar.slot.setting.grinder.pk, "grind_setting": "24", "kettle": bar.slot.kettle.pk,
        "refractometer": bar.refractometer.pk, "slot": bar.slot.pk,
    }  # fmt: skip
    assert make.signed_in(bar.barista).post(page, typed).status_code == 302
    answer = send(bar.program(), "/readings/", bar.body(kind="served", drops=[1.4, 1.42]))
    assert answer.status_code == 201
    one, other = Reading.objects.order_by("pk").values()
    of_the_way = {"id", "uuid", "fingerprint", "entered_at", "brewed_at", "source", "key_id"}
    assert {name for name in one if one[name] != other[name]} <= of_the_way


def test_a_slot_serves_as_well_as_a_code_and_one_of_the_two_is_wanted(bar):
    program = bar.program()
    assert send(program, "/readings/", bar.body(code=None, slot=bar.slot.pk)).status_code == 201
    for wrong in ({"code": None}, {"slot": bar.slot.pk}):
        answer = send(program, "/readings/", bar.body(**wrong))
        assert (answer.status_code, pointers(answer)) == (422, ["/code"])


def test_the_same_reading_again_is_the_same_reading(bar):
    program, body = bar.program(), bar.body()
    first = send(program, "/readings/", body)
    # Meanwhile the grind moves and another server comes: what was left out is as it was then.
    moved = SlotSetting.objects.create(
        slot=bar.slot, roast_batch=bar.slot.setting.roast_batch, grinder=bar.slot.setting.grinder,
        grind_setting="22", set_at=timezone.now(), set_by=bar.head,
    )  # fmt: skip
    bar.slot.setting = moved
    bar.slot.save()
    make.refractometer(bar.cafe)
    again = send(program, "/readings/", body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert Reading.objects.count() == 1


def test_a_uuid_that_stands_for_another_reading_is_a_conflict(bar):
    program, body = bar.program(), bar.body()
    send(program, "/readings/", body)
    answer = send(program, "/readings/", body | {"taste": "flat"})
    assert (answer.status_code, pointers(answer)) == (409, ["/uuid"])
    assert answer.json()["type"].endswith("#taken")
    assert Reading.objects.count() == 1


def test_whose_reading_a_uuid_stands_for_is_told_to_no_other_barista(bar):
    body = bar.body()
    send(bar.program(), "/readings/", body)
    other = make.person(Role.BARISTA, bar.cafe)
    answer = send(make.with_key(make.access_key(other)[1]), "/readings/", body)
    assert (answer.status_code, pointers(answer)) == (409, ["/uuid"])


def test_blanks_around_words_say_nothing_as_on_the_page(bar):
    send(bar.program(), "/readings/", bar.body(grind_setting=" 22 ", taste=" clear\n"))
    send(bar.program(), "/readings/", bar.body(grind_setting=" "))
    first, second = Reading.objects.order_by("pk")
    assert (first.grind_setting, first.taste, second.grind_setting) == ("22", "clear", "24")


IMPOSSIBLE = [
    ({"weight_g": 0}, "/weight_g"),
    ({"beverage_source": "estimated"}, "/weight_g"),
    ({"weight_g": None}, "/weight_g"),
    ({"drops": [1.4, 1.405]}, "/drops/1"),
    ({"drops": [29.0, 29.0], "weight_g": 900}, "/drops/0"),
    ({"brewed_at": "2999-01-01T00:00:00Z"}, "/brewed_at"),
    ({"brewed_at": "2001-01-01T00:00:00Z"}, "/brewed_at"),
    ({"kind": "practice"}, "/kind"),
    ({"code": "00000"}, "/code"),
    ({"kettle": 987654321}, "/kettle"),
    ({"grinder": 987654321}, "/grinder"),
    ({"roast_batch": 987654321}, "/roast_batch"),
    ({"refractometer": 2**63 - 1}, "/refractometer"),
    ({"beverage_source": "server", "server": 987654321}, "/server"),
    ({"barista": 987654321}, "/barista"),
]


@pytest.mark.parametrize(("wrong", "pointer"), IMPOSSIBLE)
def test_what_cannot_be_is_told_at_its_field_and_nothing_is_saved(bar, wrong, pointer):
    answer = send(bar.program(), "/readings/", bar.body(**wrong))
    assert answer.status_code == 422, answer.json()
    assert answer.json()["type"].endswith("#not-possible")
    assert pointers(answer) == [pointer]
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"drops": [1.4]}, "/drops"),
        ({"drops": [1.4] * 6}, "/drops"),
        ({"drops": [1.4, 31]}, "/drops/1"),
        ({"brew_time_s": 5}, "/brew_time_s"),
        ({"brew_time_s": 165.5}, "/brew_time_s"),
        ({"brewed_at": "2026-11-02T10:00:00"}, "/brewed_at"),
        ({"brewed_at": "0001-01-01T00:00:00+14:00"}, "/brewed_at"),
        ({"brewed_at": 5}, "/brewed_at"),
        ({"dose_g": 0.5}, "/dose_g"),
        ({"dose_g": True}, "/dose_g"),
        ({"water_g": 1e400}, "/water_g"),
        ({"taste": "x" * 201}, "/taste"),
        ({"taste": "nul\x00"}, "/taste"),
        ({"taste": "half \ud800 of one"}, "/taste"),
        ({"kind": "drill"}, "/kind"),
        ({"kind": 1}, "/kind"),
        ({"kettle": 2**63}, "/kettle"),
        ({"sure": "all"}, "/sure"),
    ],
)
def test_what_has_the_wrong_shape(bar, wrong, pointer):
    import json

    body = json.dumps(bar.body(**wrong)).replace("Infinity", "1e400")
    answer = bar.program().post(f"{V1}/readings/", body, content_type="application/json")
    assert answer.status_code == 400, answer.json()
    assert pointers(answer) == [pointer]


def test_what_is_improbable_is_asked_about_and_saved_with_the_answers(bar):
    program, body = bar.program(), bar.body(drops=[1.95, 1.95], brew_time_s=400)
    asked = send(program, "/readings/", body)
    assert asked.status_code == 422
    assert asked.json()["type"].endswith("#question")
    doubts = [one["key"] for one in asked.json()["doubts"]]
    assert {key.split(":")[0] for key in doubts} == {"tds", "ey", "time"}
    assert send(program, "/readings/", body | {"sure": doubts[:1]}).status_code == 422
    assert send(program, "/readings/", body | {"sure": doubts}).status_code == 201


def test_rinse_water_and_one_more_drop_are_asked_for_by_field(bar):
    program, heavy = bar.program(), bar.body(weight_g=249)
    asked = send(program, "/readings/", heavy)
    assert pointers(asked) == ["/rinse_left_in"]
    doubts = [one["key"] for one in asked.json()["doubts"]]
    saved = send(program, "/readings/", heavy | {"rinse_left_in": True, "sure": doubts})
    assert (saved.status_code, saved.json()["rinse_left_in"]) == (201, True)
    apart = bar.body(drops=[1.30, 1.45])
    assert pointers(send(program, "/readings/", apart)) == ["/no_more_drops"]
    assert send(program, "/readings/", apart | {"no_more_drops": True}).status_code == 201


def test_whose_brews_a_key_enters(bar):
    other = make.person(Role.BARISTA, bar.cafe)
    theirs = bar.body(barista=other.pk)
    assert pointers(send(bar.program(), "/readings/", theirs)) == ["/barista"]
    saved = send(bar.program(Role.HEAD), "/readings/", theirs | {"kind": "practice"})
    assert saved.status_code == 201
    assert (saved.json()["barista"]["id"], saved.json()["entered_by"]) == (other.pk, bar.head.pk)
    for nobody in (bar.owner, make.person()):
        answer = send(bar.program(Role.HEAD), "/readings/", bar.body(barista=nobody.pk))
        assert pointers(answer) == ["/barista"]
    secret = make.access_key(bar.owner)[1]
    assert send(make.with_key(secret), "/readings/", bar.body()).status_code == 403


def test_a_scope_that_was_written_past_the_form_lets_no_owner_enter(bar):
    key, secret = make.access_key(bar.owner)
    key.scopes = ["readings"]
    key.save()
    answer = send(make.with_key(secret), "/readings/", bar.body())
    assert answer.status_code == 403
    assert "those who brew" in answer.json()["detail"]


def test_nothing_of_another_company_can_be_named(bar):
    strange = make.live_slot(make.cafe())
    things = {
        "slot": strange.pk, "kettle": strange.kettle.pk, "grinder": strange.setting.grinder.pk,
        "roast_batch": strange.setting.roast_batch.pk, "refractometer": make.refractometer(strange.board.cafe).pk,
        "barista": make.person(Role.BARISTA, strange.board.cafe).pk,
    }  # fmt: skip
    for name, pk in things.items():
        body = bar.body(**{name: pk}, **({"code": None} if name == "slot" else {}))
        assert pointers(send(bar.program(Role.HEAD), "/readings/", body)) == [f"/{name}"]
    answer = send(bar.program(), "/readings/", bar.body(code=strange.card.code))
    assert pointers(answer) == ["/code"]


def test_what_is_retired_is_refused_and_the_only_one_left_is_meant(bar):
    second = make.refractometer(bar.cafe)
    assert pointers(send(bar.program(), "/readings/", bar.body())) == ["/refractometer"]
    second.retire()
    answer = send(bar.program(), "/readings/", bar.body(refractometer=second.pk))
    assert pointers(answer) == ["/refractometer"]
    saved = send(bar.program(), "/readings/", bar.body())
    assert saved.json()["refractometer"] == bar.refractometer.pk


def test_masses_are_kept_to_a_tenth_of_a_gram(bar):
    send(bar.program(), "/readings/", bar.body(dose_g=15.04, weight_g=220.06))
    row = Reading.objects.get()
    assert (row.dose_g, row.beverage_g) == (Decimal("15.0"), Decimal("220.1"))
