"""What an owner sets for company and cafés, and everybody for themselves."""

import pytest
from django.test import Client
from django.urls import reverse

from brewbar.crew.models import Cafe, Change, Naming, Role, User
from tests import factories as make

STYLE = {"decimal_mark": ",", "temperature_unit": "F", "date_order": "iso"}
COMPANY = STYLE | {"name": "Invented & Daughters", "people_shown_to_owners": "initials"}
CAFE = {"name": "Mill", "time_zone": "Europe/Lisbon", "altitude_m": "120", "day_turns_at": "3"}


@pytest.fixture
def cafe(db) -> Cafe:
    return make.cafe(name="Harbour", time_zone="Europe/Lisbon", altitude_m=10)


@pytest.fixture
def owner(cafe) -> Client:
    return make.signed_in(make.person(Role.OWNER, company=cafe.company))


def about_settings(cafe) -> list[Change]:
    return list(Change.objects.filter(company=cafe.company, about=Change.About.SETTING).order_by("pk"))


def test_the_company_is_set_and_the_change_stands_in_the_record(owner, cafe):
    assert owner.post(reverse("crew:company"), COMPANY).status_code == 302
    company = cafe.company
    company.refresh_from_db()
    assert (company.name, company.decimal_mark) == ("Invented & Daughters", ",")
    assert company.people_shown_to_owners == Naming.INITIALS
    (change,) = about_settings(cafe)
    assert change.after["people in an owner's reports"] == "initials"
    assert change.before["people in an owner's reports"] == "unnamed"
    # Saved once more as it is, nothing changed.
    owner.post(reverse("crew:company"), COMPANY)
    assert len(about_settings(cafe)) == 1


def test_the_crew_reads_how_owners_see_them(owner, cafe):
    owner.post(reverse("crew:company"), COMPANY)
    page = make.signed_in(make.person(cafe=cafe)).get(reverse("crew:account")).content.decode()
    assert "the setting is: initials" in page
    # From when, and what it was before.
    assert "Days before: unnamed." in page
    assert "on: initials." in page
    assert "This was changed once" in page
    assert "on: initials." in owner.get(reverse("crew:company")).content.decode()


def test_after_how_long_a_name_goes_is_set_and_may_be_left_empty(owner, cafe):
    for typed, kept in (("12", 12), ("", None)):
        assert (
            owner.post(reverse("crew:company"), COMPANY | {"forget_after_months": typed}).status_code == 302
        )
        cafe.company.refresh_from_db()
        assert cafe.company.forget_after_months == kept


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": ""}, "required"),
        ({"name": "Taken"}, "Another company here has this name"),
        ({"name": "x" * 81}, "At most 80 characters"),
        ({"people_shown_to_owners": "photographs"}, "valid choice"),
        ({"date_order": "ymd"}, "valid choice"),
        ({"forget_after_months": "a year"}, "A whole number of months"),
        ({"forget_after_months": "0"}, "At least 1 month"),
        ({"forget_after_months": "121"}, "At most 120 months"),
    ],
)
def test_a_refused_setting_keeps_what_was_typed_and_changes_nothing(owner, cafe, change, says):
    make.company(name="Taken")
    answer = owner.post(reverse("crew:company"), COMPANY | change)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert says in page
    assert (COMPANY | change)["name"].replace("&", "&amp;") in page
    assert about_settings(cafe) == []


def test_a_cafe_is_added_with_a_station_and_is_the_owners_at_once(owner, cafe):
    answer = owner.post(reverse("crew:cafe_new"), CAFE)
    assert answer["Location"] == reverse("crew:people")
    new = Cafe.objects.get(name="Mill")
    assert (new.company, new.altitude_m, new.day_turns_at) == (cafe.company, 120, 3)
    assert new.stations.count() == 1
    assert owner.get(reverse("crew:cafe", args=[new.pk])).status_code == 200
    assert about_settings(cafe)[-1].cafe == new


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": "harbour"}, "There is a café harbour already"),
        ({"time_zone": ""}, "required"),
        ({"altitude_m": "1.5"}, "A whole number of metres"),
        ({"day_turns_at": "12"}, "valid choice"),
    ],
)
def test_a_refused_cafe_is_not_added(owner, cafe, change, says):
    answer = owner.post(reverse("crew:cafe_new"), CAFE | change)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert Cafe.objects.filter(company=cafe.company).count() == 1


@pytest.mark.parametrize(
    ("change", "means"),
    [
        ({"time_zone": "Asia/Tokyo"}, "by the new clock"),
        ({"altitude_m": "1500"}, "boiling point there"),
        ({"day_turns_at": "2"}, "turns at the new hour"),
    ],
)
def test_what_a_change_means_is_said_before_it_is_made(owner, cafe, change, means):
    path = reverse("crew:cafe", args=[cafe.pk])
    as_it_is = {"name": "Harbour", "time_zone": "Europe/Lisbon", "altitude_m": "10", "day_turns_at": "4"}
    asked = owner.post(path, as_it_is | change)
    assert asked.status_code == 200
    assert means in asked.content.decode()
    assert about_settings(cafe) == []
    assert owner.post(path, as_it_is | change | {"understood": "1"}).status_code == 302
    (noted,) = about_settings(cafe)
    assert len(noted.after) == 1
    # A name alone means nothing to what is saved.
    cafe.refresh_from_db()
    as_it_is |= change
    assert owner.post(path, as_it_is | {"name": "Quay"}).status_code == 302


def test_a_cafe_keeps_a_time_zone_that_the_list_has_no_place_for(owner, cafe):
    Cafe.objects.update(time_zone="Etc/GMT+3")
    page = owner.get(reverse("crew:cafe", args=[cafe.pk])).content.decode()
    assert '<option value="Etc/GMT+3" selected>' in page


@pytest.mark.parametrize("form", ["crew:company", "crew:cafe"])
def test_another_companys_row_cannot_be_slipped_in(owner, cafe, form):
    """Neither form has a field that says which company or café it is: what is posted as one is not read."""
    foreign = make.cafe()
    slipped = {"company": foreign.company.pk, "pk": foreign.pk, "id": foreign.pk, "understood": "1"}
    path = reverse(form, args=[cafe.pk] if form == "crew:cafe" else [])
    assert owner.post(path, COMPANY | CAFE | slipped).status_code == 302
    untouched = Cafe.objects.select_related("company").get(pk=foreign.pk)
    assert (untouched.name, untouched.company.name) == (foreign.name, foreign.company.name)


def test_everybody_sets_their_own_style_or_leaves_the_companys(cafe):
    user = make.person(cafe=cafe)
    client = make.signed_in(user)
    mine = {"name": "Bo Newname", "email": "bo@cafe.example"} | STYLE
    assert client.post(reverse("crew:account"), mine).status_code == 302
    user.refresh_from_db()
    assert (user.name, user.email, user.decimal_mark, user.date_order) == (
        "Bo Newname", "bo@cafe.example", ",", "iso",
    )  # fmt: skip
    noted = Change.objects.get(company=cafe.company)
    assert (noted.what, noted.cafe, noted.by) == ("renamed", cafe, user)
    assert "cafe.example" not in noted.words
    client.post(reverse("crew:account"), mine | dict.fromkeys(STYLE, ""))
    user.refresh_from_db()
    assert (user.decimal_mark, user.temperature_unit, user.date_order) == ("", "", "")
    assert Change.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": "\u200f"}, "required"),
        ({"name": "Bo \N{TEAPOT}"}, "cannot print"),
        ({"email": "nowhere"}, "valid email"),
        ({"decimal_mark": ";"}, "valid choice"),
    ],
)
def test_a_refused_account_changes_nothing(cafe, change, says):
    user = make.person(cafe=cafe)
    answer = make.signed_in(user).post(reverse("crew:account"), {"name": "Bo", "email": ""} | change)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert says in page
    # The head of the page goes on naming the person as they are.
    assert f'place-person">{user.name}<' in page
    assert User.objects.get(pk=user.pk).name == user.name


def test_a_changed_password_is_noted_wherever_the_person_works(cafe):
    user = make.person(cafe=cafe)
    other = make.cafe()
    user.memberships.create(company=other.company, cafe=other, role=Role.HEAD)
    user.set_password("four plain words here")
    user.save()
    client = make.signed_in(user)
    wanted = {"new_password1": "a longer new one", "new_password2": "a longer new one"}
    client.post(reverse("crew:password"), wanted | {"old_password": "four plain words here"})
    assert client.get(reverse("crew:account")).status_code == 200
    noted = {(change.company, change.cafe, change.what) for change in Change.objects.all()}
    assert noted == {(cafe.company, cafe, "password changed"), (other.company, other, "password changed")}
