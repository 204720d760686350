from django.test import Client
from django.urls import reverse

from brewbar.crew.models import Role, User
from tests import factories as make

PASSWORD = "four plain words here"


def with_password(user: User) -> User:
    user.set_password(PASSWORD)
    user.save()
    return user


def sign_in(client: Client, username: str, password: str = PASSWORD, **more: str):
    return client.post(reverse("crew:sign_in"), {"username": username, "password": password, **more})


def test_passwords_are_kept_with_argon2(db):
    assert with_password(make.person()).password.startswith("argon2$")


def test_signing_in_leads_to_where_the_person_was_going(db, client):
    user = with_password(make.person())
    asked = client.get(reverse("crew:password"))
    assert asked.status_code == 302
    assert asked["Location"] == "/sign-in/?next=%2Fpassword%2F"
    assert sign_in(client, user.username, next="/password/")["Location"] == "/password/"


def test_signing_in_never_leads_to_another_site(db, client):
    user = with_password(make.person())
    for wanted in ("https://elsewhere.invalid/", "//elsewhere.invalid", "javascript:alert(1)"):
        assert sign_in(client, user.username, next=wanted)["Location"] == "/"
        client.logout()


def test_capitals_in_the_name_are_forgiven(db, client):
    user = with_password(make.person())
    assert sign_in(client, f" {user.username.upper()} ").status_code == 302


def test_a_wrong_password_keeps_the_name_and_says_why(db, client):
    user = with_password(make.person())
    answer = sign_in(client, user.username, "something else")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert user.username in page
    assert "fit together" in page
    assert "something else" not in page


def test_guessing_is_throttled_for_the_person_not_for_the_shop(db, client):
    guessed, colleague = with_password(make.person()), with_password(make.person())
    statuses = [sign_in(client, guessed.username, f"guess {n}").status_code for n in range(8)]
    assert statuses[0] == 422
    assert statuses[-1] == 429
    assert sign_in(client, guessed.username).status_code == 429
    assert sign_in(client, guessed.username.upper()).status_code == 429
    assert sign_in(client, colleague.username).status_code == 302


def test_throttling_keeps_no_password(db, client):
    from axes.models import AccessAttempt

    sign_in(client, "nobody", "my real password")
    assert AccessAttempt.objects.count() == 1
    assert "my real password" not in str(AccessAttempt.objects.values())


def test_an_ended_membership_ends_the_session(db):
    user = make.person()
    client = make.signed_in(user)
    assert client.get(reverse("crew:password")).status_code == 200
    user.memberships.update(ended_at="2026-01-01T00:00Z")
    assert client.get(reverse("crew:password")).status_code == 302
    assert "_auth_user_id" not in client.session


def test_a_person_switches_between_cafes_and_has_each_cafes_role(db):
    here = make.cafe()
    there = make.cafe(here.company)
    user = make.person(Role.BARISTA, here)
    user.memberships.create(company=here.company, cafe=there, role=Role.HEAD)
    client = make.signed_in(user)
    places = {place.cafe: place for place in make.places_of(user)}
    assert client.get("/password/").wsgi_request.member.cafe == here
    client.post(reverse("crew:switch_place"), {"place": places[there].key})
    member = client.get("/password/").wsgi_request.member
    assert (member.cafe, member.role) == (there, Role.HEAD)


def test_a_place_of_somebody_else_is_no_place(db):
    here, foreign = make.person(), make.person()
    client = make.signed_in(here)
    client.post(reverse("crew:switch_place"), {"place": make.member(foreign).key})
    assert client.get("/password/").wsgi_request.member.cafe == make.member(here).cafe


def test_an_owner_reaches_every_cafe_of_the_company_and_no_other(db):
    first = make.cafe()
    second = make.cafe(first.company)
    make.cafe()
    owner = make.person(Role.OWNER, company=first.company)
    assert [place.cafe for place in make.places_of(owner)] == sorted([first, second], key=lambda c: c.name)


def test_changing_the_password_asks_for_the_old_one(db):
    user = with_password(make.person())
    client = make.signed_in(user)
    wanted = {"new_password1": "a longer new one", "new_password2": "a longer new one"}
    assert client.post("/password/", wanted | {"old_password": "wrong"}).status_code == 422
    assert client.post("/password/", wanted | {"old_password": PASSWORD}).status_code == 302
    assert client.get("/password/").status_code == 200
    user.refresh_from_db()
    assert user.check_password("a longer new one")
