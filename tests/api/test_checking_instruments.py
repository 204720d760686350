"""Instrument checks by a program: judged as the page judges them, and asked about as the page asks."""

import pytest

from brewbar.crew.models import Role
from calibration.models import InstrumentCheck
from tests import factories as make
from tests.api.bar import V1, pointers, send

PATH = "/instrument-checks/"


def water(bar, **other):
    return {"refractometer": bar.refractometer.pk, "kind": "zero", "read_tds": 0.01} | other


def standard(bar, **other):
    return {"refractometer": bar.refractometer.pk, "kind": "standard", "read_tds": 1.28} | other


def test_water_is_judged_and_kept(bar):
    answer = send(bar.program(), PATH, water(bar, was_zeroed=True, note="before opening"))
    assert answer.status_code == 201
    said, row = answer.json(), InstrumentCheck.objects.get()
    assert (said["id"], said["verdict"], said["was_zeroed"]) == (row.pk, "passed", True)
    assert (row.checked_by, row.as_found, row.note) == (bar.barista, False, "before opening")


def test_a_standard_says_what_was_weighed_or_what_its_bottle_says(bar):
    mixed = send(bar.program(), PATH, standard(bar, sucrose_g=15, solution_g=1000, scale_g=0.1))
    assert mixed.status_code == 201
    # 1.5 g in 100 g is 1.5 °Bx, of which a coffee refractometer shows 0.85 % each, as the page tells to mix it
    assert mixed.json()["expected_tds"] == pytest.approx(1.275, abs=0.001)
    bottle = send(bar.program(), PATH, standard(bar, expected_tds=1.275))
    assert (bottle.status_code, bottle.json()["sucrose_g"]) == (201, None)


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({}, "/sucrose_g"),
        ({"sucrose_g": 15}, "/solution_g"),
        ({"sucrose_g": 15, "solution_g": 10}, "/solution_g"),
        ({"sucrose_g": 150, "solution_g": 1000}, "/sucrose_g"),
        ({"sucrose_g": 15, "solution_g": 1000, "expected_tds": 1.2}, "/expected_tds"),
        ({"sucrose_g": 15, "solution_g": 1000, "scale_g": 1}, "/scale_g"),
        ({"expected_tds": 0}, "/expected_tds"),
        ({"expected_tds": 1.2755}, "/expected_tds"),
        ({"expected_tds": 1.275, "read_tds": 1.2755}, "/read_tds"),
        ({"expected_tds": 1.275, "note": "\u2615"}, "/note"),
        ({"expected_tds": 1.275, "refractometer": 987654321}, "/refractometer"),
        ({"kind": "zero", "expected_tds": 1.2}, "/expected_tds"),
    ],
)
def test_what_cannot_be(bar, wrong, pointer):
    answer = send(bar.program(), PATH, standard(bar, **wrong))
    assert (answer.status_code, pointers(answer)) == (422, [pointer])
    assert not InstrumentCheck.objects.exists()


def test_a_check_that_fails_is_asked_about_once(bar):
    program, body = bar.program(), water(bar, read_tds=0.4)
    asked = send(program, PATH, body)
    assert asked.status_code == 422
    [doubt] = asked.json()["doubts"]
    assert "0.40" in doubt["detail"]
    # Another number is another doubt.
    assert send(program, PATH, water(bar, read_tds=0.5, sure=[doubt["key"]])).status_code == 422
    saved = send(program, PATH, body | {"sure": [doubt["key"]]})
    assert (saved.status_code, saved.json()["verdict"]) == (201, "failed")


def test_instruments_of_others_and_retired_ones_are_not_checked(bar):
    strange = make.refractometer(make.cafe())
    bar.refractometer.retire()
    for instrument in (strange, bar.refractometer):
        answer = send(bar.program(Role.HEAD), PATH, water(bar, refractometer=instrument.pk))
        assert pointers(answer) == ["/refractometer"]


def test_owners_check_nothing(bar):
    key, secret = make.access_key(bar.owner)
    key.scopes = ["readings"]
    key.save()
    assert send(make.with_key(secret), PATH, water(bar)).status_code == 403


def test_the_list_is_the_cafes_and_an_owners_all(bar):
    here = make.unclear_check(bar.refractometer, by=bar.head)
    other = make.cafe(bar.cafe.company)
    there = make.unclear_check(make.refractometer(other), by=bar.owner)
    make.unclear_check(make.refractometer(make.cafe()), by=make.person())

    def seen(role, **query):
        return [one["id"] for one in bar.program(role).get(f"{V1}{PATH}", query).json()["items"]]

    assert seen(Role.BARISTA) == seen(Role.HEAD) == [here.pk]
    assert seen(Role.OWNER) == [there.pk, here.pk]
    assert seen(Role.OWNER, cafe=other.pk) == [there.pk]
    assert seen(Role.OWNER, refractometer=bar.refractometer.pk) == [here.pk]
