"""The first start: opened by whoever has the code, once, and never again."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from brewbar.crew import first_start
from brewbar.crew.models import Change, Company, Role, Station, User
from tests import factories as make

ANSWERS = {
    "company": "Invented & Sons",
    "cafe": "Harbour",
    "time_zone": "America/Argentina/Ushuaia",
    "altitude_m": "-4",
    "decimal_mark": ",",
    "temperature_unit": "F",
    "date_order": "iso",
    "name": "Ada Example",
    "username": " Ada ",
    "password": "quite long enough",
    "password_again": "quite long enough",
}


@pytest.fixture(autouse=True)
def data(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def code(db) -> str:
    return first_start.new_code()


def send(client: Client, typed: str, **change: str):
    return client.post(reverse("crew:set_up"), ANSWERS | {"code": typed} | change)


def test_an_empty_database_leads_to_the_page_from_everywhere(db, client):
    for path in ("/", "/board/"):
        answer = client.get(path, follow=True)
        assert answer.redirect_chain[-1] == (reverse("crew:set_up"), 302)
        assert answer.status_code == 200


def test_the_code_opens_a_company_with_a_cafe_and_its_owner_signed_in(code, client):
    answer = send(client, code)
    assert answer["Location"] == reverse("crew:first_steps")
    owner = User.objects.get(username="ada")
    place = make.member(owner)
    assert (place.role, place.cafe.name, place.cafe.altitude_m) == (Role.OWNER, "Harbour", -4)
    assert place.cafe.time_zone == "America/Argentina/Ushuaia"
    company = place.company
    assert (company.decimal_mark, company.temperature_unit, company.date_order) == (",", "F", "iso")
    assert Station.objects.filter(cafe=place.cafe).exists()
    page = client.get(answer["Location"])
    assert page.status_code == 200
    assert reverse("crew:invite") in page.content.decode()
    change = Change.objects.get(company=company)
    assert (change.about, change.by) == (Change.About.SETTING, owner)


def test_once_there_is_a_company_the_page_is_gone_for_good(code, client, data):
    send(client, code)
    assert not (data / "set-up-code").exists()
    assert client.get(reverse("crew:set_up")).status_code == 404
    assert send(Client(), code, company="Another").status_code == 404
    # Not even a code that was made by mistake brings it back.
    assert send(Client(), first_start.new_code(), company="Another").status_code == 404
    assert Company.objects.count() == 1


def test_a_start_prints_a_new_code_and_the_old_one_ends(code, client):
    new = first_start.new_code()
    assert new != code
    assert send(client, code).status_code == 422
    assert send(client, new.lower().replace("-", " ")).status_code == 302


def test_without_a_code_nobody_gets_in(db, client):
    assert send(client, "").status_code == 422
    assert send(client, "AAAA-AAAA-AAAA").status_code == 422
    assert not Company.objects.exists()


def test_only_the_hash_is_kept_and_for_its_owner_alone(code, data):
    kept = data / "set-up-code"
    assert kept.stat().st_mode & 0o777 == 0o600
    assert code not in kept.read_text()
    assert code.replace("-", "") not in kept.read_text()
    assert [path.name for path in data.iterdir()] == ["set-up-code"]


def test_a_code_has_sixty_bits():
    # Common practice, no source: no throttling is needed where guessing at a thousand a second takes ages.
    assert len(first_start.LETTERS) ** (first_start.GROUPS * first_start.GROUP) == 2**60
    assert len(set(first_start.LETTERS)) == 32


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"code": "WRONG"}, "not the code"),
        ({"time_zone": "Moon/Sea"}, "no time zone we know"),
        ({"time_zone": ""}, "required"),
        ({"altitude_m": "low"}, "A whole number of metres"),
        ({"altitude_m": "9000"}, "At most 5000 m"),
        ({"altitude_m": "-1000"}, "At least -430 m"),
        ({"company": "\u200b \u202e"}, "required"),
        ({"cafe": "Harbour \N{HOT BEVERAGE}"}, "cannot print"),
        ({"cafe": "x" * 10_000}, "At most 60 characters"),
        ({"name": "שלום"}, "cannot print"),
        ({"username": "ada example"}, "without spaces"),
        ({"decimal_mark": "!"}, "valid choice"),
        ({"password": "short", "password_again": "short"}, "too short"),
        ({"password_again": "quite long but other"}, "differ"),
    ],
)
def test_what_is_wrong_is_said_beside_it_and_the_rest_stays(code, client, change, says):
    answer = send(client, code, **change)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    for name in ANSWERS.keys() - change.keys() - {"password", "password_again"}:
        assert ANSWERS[name].replace("&", "&amp;") in page, name
    assert "quite long" not in page
    assert not Company.objects.exists()
    assert send(client, code).status_code == 302


def test_whoever_comes_second_is_told_and_opens_nothing(code, client, monkeypatch):
    """The other opened the company after this form was found to be in order."""
    details = {name: value for name, value in ANSWERS.items() if name != "password_again"}
    details |= {"altitude_m": 3}
    opened = []

    def first(code, **company):
        if not opened:
            opened.append(original(code, **details))
        return original(code, **company)

    original = first_start.open_with
    monkeypatch.setattr(first_start, "open_with", first)
    answer = send(client, code, company="Another", username="bo")
    assert answer["Location"] == reverse("crew:sign_in")
    assert [company.name for company in Company.objects.all()] == ["Invented & Sons"]
    assert not User.objects.filter(username="bo").exists()


@pytest.mark.django_db(transaction=True)
def test_of_two_at_once_one_gets_through():
    code = first_start.new_code()

    def open_it(number: int) -> int:
        try:
            return send(Client(), code, company=f"Company {number}", username=f"owner{number}").status_code
        finally:
            connection.close()

    with ThreadPoolExecutor(3) as pool:
        statuses = sorted(pool.map(open_it, range(3)))
    assert Company.objects.count() == User.objects.count() == 1
    assert statuses.count(302) >= 1
    assert set(statuses) <= {302, 404, 422}


def test_a_refusal_by_the_database_leaves_the_code_good(code, monkeypatch):
    def refuse(**company):
        raise first_start.IntegrityError

    monkeypatch.setattr(first_start, "open_company", refuse)
    with pytest.raises(first_start.Closed):
        first_start.open_with(code)
    assert first_start.fits(code)
