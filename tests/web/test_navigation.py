import pytest
from django.urls import reverse

from brewbar.crew.access import STATION
from brewbar.crew.models import Role
from brewbar.web.navigation import IN_THE_BAR, WAYS, ways
from tests import factories as make


def current(role: str, path: str) -> dict[str, str]:
    return {str(way.label): way.current for way in ways(role, path) if way.current}


def test_every_role_has_its_ways():
    assert WAYS.keys() == {*Role.values, STATION}


@pytest.mark.parametrize(
    ("role", "path", "marked"),
    [
        ("head", "/board/", {"Board": "page"}),
        ("head", "/board/plan/", {"Board": "true"}),
        ("head", "/cards/7/", {"Board": "true"}),
        ("head", "/versions/7/edit/", {"Recipes": "true"}),
        ("head", "/instruments/", {"Equipment": "true"}),
        ("barista", "/c/KT7M/", {"Enter a code": "true"}),
        ("head", "/check/plan/", {"Check": "true"}),
        ("barista", "/my-results/", {"My results": "page"}),
        ("owner", "/password/", {}),
    ],
)
def test_the_room_one_is_in_is_marked(role, path, marked):
    assert current(role, path) == marked


@pytest.mark.parametrize("role", list(Role))
def test_nobody_is_shown_a_way_that_is_closed_to_them(db, role):
    client = make.signed_in(make.person(role))
    for way in WAYS[role]:
        assert client.get(reverse(way.address)).status_code == 200


@pytest.mark.parametrize("role", list(Role))
def test_a_phone_has_no_more_than_four_places_under_the_thumb(db, role):
    page = make.signed_in(make.person(role)).get(reverse("recipes:board")).content.decode()
    bar = page[page.index('class="site-nav"') : page.index("</nav>")]
    places = (
        bar.count("\n      <li><a") if "nav-more" not in bar else bar.split("nav-rest")[0].count("<li><a") + 1
    )
    assert 3 <= places <= IN_THE_BAR


@pytest.mark.parametrize(
    ("role", "ways"),
    [
        (
            Role.BARISTA,
            {"/board/", "/check/", "/c/", "/my-results/", "/recipes/", "/coffees/", "/equipment/"},
        ),
        (
            Role.HEAD,
            {
                *("/board/", "/check/", "/today/", "/charts/", "/recipes/", "/coffees/", "/equipment/"),
                *("/crew/", "/record/"),
            },
        ),
        (
            Role.OWNER,
            {
                "/board/",
                "/charts/",
                "/recipes/",
                "/coffees/",
                "/equipment/",
                "/crew/",
                "/company/",
                "/record/",
            },
        ),
    ],
)
def test_each_role_is_shown_its_own_ways(db, role, ways):
    page = make.signed_in(make.person(role)).get("/board/").content.decode()
    everything = {
        "/board/",
        "/check/",
        "/c/",
        "/my-results/",
        "/today/",
        "/charts/",
        "/recipes/",
        "/coffees/",
        "/equipment/",
        "/crew/",
        "/company/",
        "/record/",
    }
    navigation = page[page.index("<nav") : page.index("</nav>")]
    assert {way for way in everything if f'href="{way}"' in navigation} == ways
    assert 'aria-current="page"' in navigation


def test_the_place_switcher_is_there_only_with_several_places(db):
    cafe = make.cafe()
    user = make.person(cafe=cafe)
    client = make.signed_in(user)
    assert 'name="place"' not in client.get("/board/").content.decode()
    user.memberships.create(company=cafe.company, cafe=make.cafe(cafe.company), role=Role.HEAD)
    assert 'name="place"' in client.get("/board/").content.decode()


@pytest.mark.parametrize("invented", [True, False])
def test_invented_data_are_marked_on_every_page(db, invented):
    user = make.person()
    company = make.member(user).company
    company.is_invented = invented
    company.save()
    page = make.signed_in(user).get("/board/").content.decode()
    assert ("Invented example data" in page) is invented
