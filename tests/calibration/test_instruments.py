"""Refractometers, and what each café's can tell apart, as recipes read it."""

from decimal import Decimal
from math import sqrt

import pytest
from django.urls import reverse

from brewbar.crew.models import Role
from calibration import instruments
from calibration.instruments import Reach
from calibration.models import Refractometer
from calibration.statistics.uncertainty import Word, conformity
from recipes.models import InstrumentReach
from tests import factories as make

pytestmark = pytest.mark.django_db

TYPED = {
    "name": "Glass one",
    "resolution_tds": "0,01",
    "repeatability_tds": "0,015",
    "accuracy_tds": "0.03",
    "note": "",
}


@pytest.fixture
def cafe():
    return make.cafe(name="Harbour")


@pytest.fixture
def client(cafe):
    return make.signed_in(make.person(Role.HEAD, cafe))


def at(name, *args):
    return reverse(f"calibration:{name}", args=args)


def reaches(cafe):
    return dict(InstrumentReach.objects.filter(cafe=cafe).values_list("name", "relative_U_tds"))


def expected_U(sd, step):
    """JCGM 100:2008 (GUM), equation 10, k = 2: two drops, the display (4.3.7), temperature, drift, by hand."""
    return 2 * sqrt(sd**2 / 2 + step**2 / 12 + (0.3 * 0.057) ** 2 + 0.005**2)


def test_an_instrument_is_added_edited_retired_and_brought_back_with_its_reach(cafe, client):
    make.refractometer(cafe, name="Glass two", repeatability_tds=Decimal("0.05"))
    assert reaches(cafe) == {}
    assert client.post(at("instrument_new"), TYPED).url == at("instruments")
    glass = Refractometer.objects.get(name="Glass one")
    both = {"Glass one": expected_U(0.015, 0.01), "Glass two": expected_U(0.05, 0.01)}
    assert reaches(cafe) == pytest.approx(both, abs=1e-9)

    client.post(at("instrument", glass.pk), TYPED | {"name": "Prism", "resolution_tds": "0.1"})
    assert reaches(cafe) == pytest.approx(
        {"Prism": expected_U(0.015, 0.1), "Glass two": both["Glass two"]}, abs=1e-9
    )
    client.post(at("instrument_retire", glass.pk))
    assert list(reaches(cafe)) == ["Glass two"]
    client.post(at("instrument_retire", glass.pk), {"bring_back": "1"})
    assert sorted(reaches(cafe)) == ["Glass two", "Prism"]


def test_names_may_change_places(cafe):
    one, two = make.refractometer(cafe, name="One"), make.refractometer(cafe, name="Two")
    for row, name in ((one, "Three"), (two, "One"), (one, "Two")):
        row.name = name
        instruments.save(row, make.person())
    assert sorted(reaches(cafe)) == ["One", "Two"]


def test_another_cafes_reach_is_left_alone(cafe, client):
    next_door = make.cafe(cafe.company)
    instruments.save(make.refractometer(next_door, name="Next door"), make.person())
    client.post(at("instrument_new"), TYPED)
    assert list(reaches(next_door)) == ["Next door"]
    assert list(reaches(cafe)) == ["Glass one"]


def test_a_refused_save_leaves_the_reach_as_it_was(cafe):
    instruments.save(make.refractometer(cafe, name="One"), make.person())
    before = reaches(cafe)
    with pytest.raises(instruments.NameTaken):
        instruments.save(
            Refractometer(cafe=cafe, name="One", repeatability_tds=Decimal("0.2")), make.person()
        )
    assert reaches(cafe) == before


@pytest.mark.parametrize("U", [0.0, 0.0099, 0.01, 0.0388, 0.04, 0.0401, 0.1])
def test_the_finest_tolerance_is_the_first_that_a_verdict_can_be_given_on(U):
    finest = float(Reach(U, U).finest_tolerance)
    assert conformity(1.40, U / 2, 1.40, finest).word is Word.INSIDE
    if finest > 0.011:
        assert conformity(1.40, U / 2, 1.40, finest - 0.01).word is Word.TOO_CLOSE


def test_the_page_says_it_in_words(cafe, client):
    make.refractometer(cafe, name="Glass one")
    html = client.get(at("instruments")).content.decode().replace("\N{NO-BREAK SPACE}", " ")
    # The factory's instrument has a step and a repeatability of 0.01 %: U = 0.0388 %.
    assert "±0.04<" in html
    assert "Two drops on this instrument are known to ±0.039 %" in html


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"name": "prism"}, "name", "Prism exists already. It is retired: bring it back instead?"),
        ({"resolution_tds": "0"}, "resolution_tds", "At least 0.01."),
        ({"resolution_tds": "0.001"}, "resolution_tds", "With at most 2 decimals."),
        ({"repeatability_tds": "-0,1"}, "repeatability_tds", "At least 0."),
        ({"accuracy_tds": "±0.03"}, "accuracy_tds", "Enter the number alone"),
        ({"name": "折射"}, "name", "cannot print"),
    ],
)
def test_what_is_wrong_is_said_beside_the_field_and_kept(typed, field, said, cafe, client):
    make.refractometer(cafe, name="Prism").retire()
    answer = client.post(at("instrument_new"), TYPED | typed)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]
    assert said in answer.context["form"].errors[field][0]
    assert f'value="{typed[field]}"' in answer.content.decode()


def test_others_read_and_strangers_find_nothing(cafe, client):
    own = make.refractometer(cafe, name="Glass one")
    for role in (Role.BARISTA, Role.OWNER):
        reader = make.signed_in(make.person(role, cafe))
        html = reader.get(at("instruments")).content.decode()
        assert "Glass one" in html
        assert f'"{at("instrument", own.pk)}"' not in html
        assert reader.post(at("instrument", own.pk), TYPED).status_code == 403
        assert reader.post(at("instrument_retire", own.pk)).status_code == 403
    for other in (make.cafe(cafe.company), make.cafe()):
        row = make.refractometer(other, name="Not yours")
        assert client.get(at("instrument", row.pk)).status_code == 404
        assert client.post(at("instrument_retire", row.pk)).status_code == 404
        assert "Not yours" not in client.get(at("instruments")).content.decode()
        client.post(at("instrument_new"), TYPED | {"name": f"New {other.pk}", "cafe": other.pk})
        assert Refractometer.objects.get(name=f"New {other.pk}").cafe == cafe


@pytest.mark.parametrize("amount", [1, 6])
def test_the_page_asks_as_often_however_much_there_is(amount, cafe, client, django_assert_num_queries):
    for _ in range(amount):
        make.refractometer(cafe)
    # session, person, places; instruments; plans, newest checks, all checks for their spans; cafés
    with django_assert_num_queries(8):
        client.get(at("instruments"))
