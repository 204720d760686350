"""Brewers, papers, kettles, grinders and servers: added, edited, retired, brought back, and never anybody else's."""

from decimal import Decimal

import pytest
from django.db import IntegrityError
from django.urls import reverse

from brewbar.crew.models import Change, Role
from recipes import catalogue
from recipes.forms.equipment import KINDS, KettleForm
from recipes.models import Brewer, Kettle
from tests import factories as make

pytestmark = pytest.mark.django_db

TYPED = {
    "brewer": {"shape": "cone", "wall_angle_deg": "60,5", "body": "ceramic", "largest_dose_g": "20,5"},
    "paper": {"speed": "fast"},
    "kettle": {"flow_min_g_s": "1,5", "flow_max_g_s": "5.5", "capacity_g": "900", "spout_bore_mm": "5,0"},
    "water": {"hardness_mg_l": "96", "alkalinity_mg_l": "62", "measured_on": "2026-03-02"},
    "grinder": {"setting_step": "0,01"},
    "server": {"tare_g": "312,4"},
}
COMPANY_WIDE = {"brewer", "paper"}
FACTORY = {kind.key: getattr(make, kind.key) for kind in KINDS}

each_kind = pytest.mark.parametrize("kind", KINDS, ids=[kind.key for kind in KINDS])


@pytest.fixture
def cafe():
    return make.cafe(name="Harbour")


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


@pytest.fixture
def client(head):
    return make.signed_in(head)


def at(name, *args):
    return reverse(f"recipes:{name}", args=args)


def page(client, address):
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def home_of(kind, cafe):
    return cafe.company if kind.key in COMPANY_WIDE else cafe


@each_kind
def test_a_thing_is_added_edited_retired_and_brought_back(kind, cafe, client):
    typed = TYPED[kind.key] | {"name": "  Old   faithful "}
    answer = client.post(at(f"{kind.key}_new"), typed)
    assert answer.status_code == 302
    assert answer.url == f"{at('equipment')}#{kind.key}s"
    thing = kind.model.objects.get()
    assert thing.name == "Old faithful"
    assert getattr(thing, kind.form.within) == home_of(kind, cafe)
    assert "Old faithful" in page(client, at("equipment"))

    assert client.post(at(kind.key, thing.pk), typed | {"name": "Young faithful"}).status_code == 302
    assert "Young faithful" in page(client, at("equipment"))

    assert client.post(at(f"{kind.key}_retire", thing.pk)).status_code == 302
    thing.refresh_from_db()
    assert thing.retired_at
    assert "1 retired" in page(client, at("equipment"))

    client.post(at(f"{kind.key}_retire", thing.pk), {"bring_back": "1"})
    thing.refresh_from_db()
    assert thing.retired_at is None


def test_decimal_commas_are_read_and_stored_exactly(client):
    client.post(at("kettle_new"), TYPED["kettle"] | {"name": "Comma"})
    kettle = Kettle.objects.get()
    assert (kettle.flow_min_g_s, kettle.flow_max_g_s, kettle.spout_bore_mm) == (
        Decimal("1.5"),
        Decimal("5.5"),
        Decimal("5.0"),
    )


@each_kind
def test_a_name_is_given_once_whatever_its_case(kind, cafe, client):
    FACTORY[kind.key](home_of(kind, cafe), name="Station one")
    answer = client.post(at(f"{kind.key}_new"), TYPED[kind.key] | {"name": "STATION  one"})
    assert answer.status_code == 422
    assert answer.context["form"].errors["name"] == ["Station one exists already."]
    html = answer.content.decode()
    for value in (*TYPED[kind.key].values(), "STATION  one"):
        assert f'value="{value}"' in html, "what was typed is lost"
    assert kind.model.objects.count() == 1


@each_kind
def test_a_retired_name_offers_to_bring_it_back(kind, cafe, client):
    thing = FACTORY[kind.key](home_of(kind, cafe), name="Station one")
    thing.retire()
    answer = client.post(at(f"{kind.key}_new"), TYPED[kind.key] | {"name": "Station one"})
    assert answer.context["form"].errors["name"] == [
        "Station one exists already. It is retired: bring it back instead?"
    ]
    assert f'formaction="{at(f"{kind.key}_retire", thing.pk)}"' in answer.content.decode()


@each_kind
def test_another_cafe_or_company_may_use_the_same_name(kind, cafe, client):
    other = make.cafe(company=None if kind.key in COMPANY_WIDE else cafe.company)
    FACTORY[kind.key](home_of(kind, other), name="Station one")
    assert client.post(at(f"{kind.key}_new"), TYPED[kind.key] | {"name": "Station one"}).status_code == 302


def test_a_name_taken_a_moment_ago_is_told_as_kindly(cafe, client, monkeypatch):
    make.kettle(cafe, name="Station one")
    monkeypatch.setattr(KettleForm, "_refuse_twins", lambda form, name: None)
    answer = client.post(at("kettle_new"), TYPED["kettle"] | {"name": "Station one"})
    assert answer.status_code == 422
    assert answer.context["form"].errors["name"] == ["Station one exists already."]


WRONG = [
    ("kettle", {"flow_max_g_s": "1,5"}, "flow_max_g_s", "above the slowest, 1.5 g/s"),
    ("kettle", {"flow_min_g_s": "9"}, "flow_max_g_s", "above the slowest, 9 g/s"),
    ("kettle", {"flow_min_g_s": "-1"}, "flow_min_g_s", "At least 0."),
    ("kettle", {"flow_min_g_s": "slow"}, "flow_min_g_s", "Enter the number alone"),
    ("kettle", {"capacity_g": "90"}, "capacity_g", "At least 100."),
    ("kettle", {"capacity_g": "9,5"}, "capacity_g", "Enter a whole number."),
    ("kettle", {"spout_bore_mm": "5.55"}, "spout_bore_mm", "With at most 1 decimals."),
    ("grinder", {"setting_step": "0"}, "setting_step", "At least 0.01."),
    ("water", {"hardness_mg_l": "2001"}, "hardness_mg_l", "At most 2000."),
    ("water", {"alkalinity_mg_l": "5 °dH"}, "alkalinity_mg_l", "Enter a whole number."),
    ("water", {"measured_on": "2999-01-01"}, "measured_on", "still to come"),
    ("water", {"measured_on": "0026-01-01"}, "measured_on", "Check the year"),
    ("water", {"measured_on": "last spring"}, "measured_on", "valid date"),
    ("server", {"tare_g": ""}, "tare_g", "required"),
    ("server", {"tare_g": "6000"}, "tare_g", "At most 5000."),
    ("brewer", {"shape": "sphere"}, "shape", "not one of the available choices"),
    ("brewer", {"largest_dose_g": "20 g"}, "largest_dose_g", "without a unit"),
    ("brewer", {"wall_angle_deg": "19"}, "wall_angle_deg", "At least 20."),
    ("brewer", {"wall_angle_deg": "60°"}, "wall_angle_deg", "without a unit"),
    ("brewer", {"diameter_mm": "75"}, "diameter_mm", "clear it, or choose flat bed"),
    ("brewer", {"shape": "flat"}, "wall_angle_deg", "clear the angle, or choose cone"),
    ("brewer", {"body": "paper"}, "body", "not one of the available choices"),
    ("paper", {"note": "x" * 201}, "note", "At most 200 characters; this has 201."),
    ("paper", {"name": "漏斗"}, "name", "The card cannot print this: 漏 斗."),
    ("paper", {"name": "   "}, "name", "required"),
]


@pytest.mark.parametrize(("key", "typed", "field", "said"), WRONG)
def test_what_is_wrong_is_said_beside_the_field(key, typed, field, said, client):
    answer = client.post(at(f"{key}_new"), {"name": "New one"} | TYPED[key] | typed)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]
    assert said in answer.context["form"].errors[field][0]
    kept = next(iter(typed.values())).strip()
    assert kept in answer.content.decode()


@each_kind
@pytest.mark.parametrize(("role", "reads", "writes"), [(Role.BARISTA, 200, 403), (Role.OWNER, 200, 403)])
def test_baristas_and_owners_read_only(kind, role, reads, writes, cafe):
    thing = FACTORY[kind.key](home_of(kind, cafe), name="Station one")
    client = make.signed_in(make.person(role, cafe))
    html = client.get(at("equipment"))
    assert html.status_code == reads
    assert "Station one" in html.content.decode()
    assert f'"{at(kind.key, thing.pk)}"' not in html.content.decode()
    assert client.get(at(f"{kind.key}_new")).status_code == writes
    assert client.post(at(kind.key, thing.pk), {"name": "Mine"}).status_code == writes
    assert client.post(at(f"{kind.key}_retire", thing.pk)).status_code == writes


@each_kind
def test_what_is_another_companys_is_not_there(kind, cafe, client):
    other = make.cafe()
    thing = FACTORY[kind.key](home_of(kind, other), name="Stranger")
    assert client.get(at(kind.key, thing.pk)).status_code == 404
    assert client.post(at(kind.key, thing.pk), TYPED[kind.key] | {"name": "Mine"}).status_code == 404
    assert client.post(at(f"{kind.key}_retire", thing.pk)).status_code == 404
    assert "Stranger" not in page(client, at("equipment"))
    # A form has no field for where a thing belongs: what is posted for one is not looked at.
    posted = TYPED[kind.key] | {"name": "Own", "cafe": other.pk, "company": other.company.pk}
    client.post(at(f"{kind.key}_new"), posted)
    assert getattr(kind.model.objects.get(name="Own"), kind.form.within) == home_of(kind, cafe)


@pytest.mark.parametrize("key", sorted(set(FACTORY) - COMPANY_WIDE))
def test_what_stands_in_another_cafe_is_not_there(key, cafe, client):
    thing = FACTORY[key](make.cafe(cafe.company), name="Next door")
    assert client.get(at(key, thing.pk)).status_code == 404
    assert client.post(at(f"{key}_retire", thing.pk)).status_code == 404
    assert "Next door" not in page(client, at("equipment"))


def test_an_owner_sees_each_cafe_with_what_is_its_own(cafe):
    make.kettle(cafe, name="Kettle of Harbour")
    make.kettle(make.cafe(cafe.company, name="Station"), name="Kettle of Station")
    answer = make.signed_in(make.person(Role.OWNER, company=cafe.company)).get(at("equipment"))
    seen = {
        str(place.cafe): [str(row.thing) for section in place.sections for row in section.shown]
        for place in answer.context["places"]
    }
    assert seen == {"None": [], "Harbour": ["Kettle of Harbour"], "Station": ["Kettle of Station"]}


def test_what_is_on_the_board_says_where_and_cannot_be_retired_under_it(cafe, head, client):
    slot = make.live_slot(cafe, station=make.station(cafe, name="Window bar"), by=head)
    things = {
        "brewer": slot.version.brewer,
        "paper": slot.version.paper,
        "kettle": slot.kettle,
        "grinder": slot.setting.grinder,
    }
    assert page(client, at("equipment")).count("Window bar") == len(things)
    for key, thing in things.items():
        answer = client.post(at(f"{key}_retire", thing.pk), follow=True)
        assert (
            f"{thing} is on the board, or planned for it: Window bar at Harbour." in answer.content.decode()
        )
        thing.refresh_from_db()
        assert thing.retired_at is None


def test_what_is_planned_cannot_be_retired_either(cafe, head):
    with pytest.raises(catalogue.OnABoard):
        catalogue.retire(make.planned_slot(cafe, by=head).kettle, head)


def test_a_new_name_reaches_the_boards_that_show_it_and_no_other(cafe, head, client):
    slot, elsewhere = make.live_slot(cafe, by=head), make.live_slot(make.cafe(cafe.company))
    before, other = slot.board.revision, elsewhere.board.revision
    client.post(at("kettle", slot.kettle.pk), TYPED["kettle"] | {"name": "Renamed"})
    client.post(at("kettle_new"), TYPED["kettle"] | {"name": "A spare"})
    slot.board.refresh_from_db()
    elsewhere.board.refresh_from_db()
    assert (slot.board.revision, elsewhere.board.revision) == (before + 1, other)


def test_an_empty_cafe_is_told_what_to_add_in_order(cafe, client):
    answer = client.get(at("equipment"))
    assert [address for _, address in answer.context["missing"]] == [
        at("coffees"),
        *(at(f"{key}_new") for key in ("brewer", "paper", "kettle", "grinder", "server")),
        reverse("calibration:instruments"),
    ]
    make.coffee(cafe.company)
    make.brewer(cafe.company)
    missing = client.get(at("equipment")).context["missing"]
    assert next(address for _, address in missing) == at("paper_new")


@pytest.mark.parametrize("amount", [1, 6])
def test_the_page_asks_as_often_however_much_there_is(amount, cafe, head, client, django_assert_num_queries):
    for _ in range(amount):
        make.live_slot(cafe, by=head)
        make.server(cafe)
    # session, person, places; six kinds, the café, the live slots, what happened, instruments, points; what is missing
    with django_assert_num_queries(15):
        page(client, at("equipment"))


def test_the_database_holds_to_one_name_a_cafe(cafe):
    make.kettle(cafe, name="Station one")
    with pytest.raises(IntegrityError):
        make.kettle(cafe, name="Station one")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"shape": "cone", "wall_angle_deg": "60.0", "body": "glass"}, ["cone, 60°", "glass"]),
        ({"shape": "wedge"}, ["wedge", "–"]),
        ({"shape": "flat", "diameter_mm": "82.5"}, ["flat bed, 82.5 mm", "–"]),
    ],
)
def test_the_list_tells_the_size_that_a_shape_has(fields, said):
    columns = next(kind for kind in KINDS if kind.key == "brewer").columns
    brewer = make.brewer(make.company(), **fields)
    brewer.refresh_from_db()
    assert [column.text(brewer) for column in columns[:2]] == said


def test_the_sizes_reckoned_with_where_none_is_known_are_told(client):
    html = page(client, at("brewer_new"))
    assert "we reckon with 60°" in html
    assert "we reckon with 75 mm" in html
    assert "A wedge is reckoned as a cone" in html


def test_the_record_tells_what_was_put_right(cafe, head, client):
    brewer = make.brewer(cafe.company, name="Cone", shape="cone", wall_angle_deg=60)
    client.post(
        at("brewer", brewer.pk), {"name": "Cone", "shape": "cone", "wall_angle_deg": "70", "body": "metal"}
    )
    change = Change.objects.get(row=f"recipes.brewer {brewer.pk}")
    assert change.before == {"angle between its walls": "60"}
    assert change.after == {"angle between its walls": "70", "made of": "metal"}


def test_a_brewer_of_the_company_is_one_for_all_its_cafes(cafe, client):
    make.brewer(cafe.company, name="Cone")
    next_door = make.signed_in(make.person(Role.HEAD, make.cafe(cafe.company)))
    next_door.post(at("brewer", Brewer.objects.get().pk), TYPED["brewer"] | {"name": "Small cone"})
    assert "Small cone" in page(client, at("equipment"))
