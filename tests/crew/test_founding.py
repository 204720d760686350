import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command

from brewbar.crew.models import Company, Role, User
from tests import factories as make

ANSWERS = {
    "company": "Invented & Sons",
    "cafe": "Harbour",
    "time_zone": "Europe/Lisbon",
    "altitude": "12",
    "username": "Ada",
    "name": "Ada Example",
}


@pytest.fixture
def typed(monkeypatch):
    def password(text: str) -> None:
        for command in ("new_company", "new_person"):
            monkeypatch.setattr(f"brewbar.crew.management.commands.{command}.getpass", lambda prompt: text)

    return password


def test_a_company_opens_with_a_cafe_and_an_owner_who_can_sign_in(db, typed):
    typed("quite long enough")
    call_command("new_company", **ANSWERS)
    owner = User.objects.get(username="ada")
    assert [(p.role, p.cafe.name) for p in make.places_of(owner)] == [(Role.OWNER, "Harbour")]
    assert owner.check_password("quite long enough")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"time_zone": "Moon/Sea"}, "Moon/Sea"),
        ({"altitude": "low"}, "whole number"),
        ({"username": ""}, "blank"),
    ],
)
def test_a_wrong_answer_opens_nothing(db, typed, monkeypatch, change, says):
    monkeypatch.setattr("builtins.input", lambda prompt: "")
    typed("quite long enough")
    with pytest.raises(CommandError, match=says):
        call_command("new_company", **ANSWERS | change)
    assert not Company.objects.exists()


def test_an_easy_password_is_refused(db, typed):
    typed("password")
    with pytest.raises(CommandError, match="too short"):
        call_command("new_company", **ANSWERS)
    assert not Company.objects.exists()


def test_a_person_joins_a_cafe(db, typed):
    typed("quite long enough")
    cafe = make.cafe()
    names = {"company": cafe.company.name, "cafe": cafe.name, "role": Role.BARISTA}
    call_command("new_person", **names, username="bo", name="Bo Example")
    assert make.member(User.objects.get(username="bo")).cafe == cafe
    with pytest.raises(CommandError, match="already exists"):
        call_command("new_person", **names, username="bo", name="Bo Example")
    with pytest.raises(CommandError, match=cafe.name):
        call_command("new_person", **names | {"cafe": "Nowhere"}, username="cy", name="Cy Example")


def test_a_refused_person_leaves_nothing_behind(db):
    from brewbar.crew.founding import add_person

    with pytest.raises(ValidationError):
        add_person(cafe=make.cafe(), role=Role.HEAD, username="di", name="Di", password="di")
    assert not User.objects.filter(username="di").exists()
