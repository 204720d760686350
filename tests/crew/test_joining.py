"""Links that open once: joining as somebody new, with an account, and choosing a new password."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import joining, roles
from brewbar.crew.models import Change, Membership, OneTimeLink, Role, User
from brewbar.refusal import Refusal
from tests import factories as make

NEW = {
    "name": "Bea Nova",
    "username": " Bea.Nova ",
    "password": "nine cups of tea",
    "password_again": "nine cups of tea",
}


@pytest.fixture
def cafe(db):
    return make.cafe(name="Harbour")


def join(key: str, client: Client | None = None, to: str = "join", **fields):
    return (client or Client()).post(reverse(f"crew:{to}", args=[key]), fields)


def with_password(user: User, password: str = "long enough once") -> User:
    user.set_password(password)
    user.save()
    return user


def test_somebody_new_joins_is_signed_in_and_led_to_a_pin(cafe):
    head = make.person(Role.HEAD, cafe)
    link, key = make.link(cafe, by=head, name="the new one", in_training=True)
    assert key not in str(OneTimeLink.objects.values())
    client = Client()
    page = client.get(reverse("crew:join", args=[key]))
    assert "Join Harbour as barista" in page.content.decode()
    assert "no-store" in page["Cache-Control"]
    answer = join(key, client, **NEW)
    assert answer["Location"] == reverse("crew:my_pin")
    assert "You have joined Harbour as barista" in client.get(answer["Location"]).content.decode()
    bea = User.objects.get(username="bea.nova")
    membership = bea.memberships.get()
    assert (membership.cafe, membership.role, membership.in_training) == (cafe, Role.BARISTA, True)
    link.refresh_from_db()
    assert (link.used_by, link.used_at is not None) == (bea, True)
    noted = Change.objects.filter(about=Change.About.CREW).order_by("pk")
    assert [(one.what, one.by_name) for one in noted] == [("invited", head.name), ("joined", "Bea Nova")]
    assert noted[1].after == {"role": "barista", "café": "Harbour", "in training": "yes"}


def test_an_owner_joins_the_company_and_sees_its_cafes(cafe):
    _link, key = make.link(cafe, Role.OWNER)
    client = Client()
    assert join(key, client, **NEW)["Location"] == "/"
    assert client.get("/crew/").wsgi_request.member.role == Role.OWNER


@pytest.mark.parametrize(
    ("change", "beside"),
    [
        ({"name": "\N{ZERO WIDTH SPACE}"}, "name"),
        ({"name": "Bea \N{HOT BEVERAGE}"}, "name"),
        ({"name": "x" * 61}, "name"),
        ({"username": "bea nova"}, "username"),
        ({"username": "TAKEN"}, "username"),
        ({"password": "short", "password_again": "short"}, "password"),
        ({"password": "bea.nova1", "password_again": "bea.nova1"}, "password"),
        ({"password_again": "something else"}, "password_again"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field_and_the_rest_stays(cafe, change, beside):
    User.objects.create_user("taken", "Somebody")
    link, key = make.link(cafe)
    answer = join(key, **NEW | change)
    assert answer.status_code == 422
    form = answer.context["form"]
    assert set(form.errors) == {beside}
    page = answer.content.decode()
    if "username" not in change:
        assert NEW["username"].strip() in page
    assert NEW["password"] not in page
    link.refresh_from_db()
    assert link.used_at is None
    assert not Membership.objects.filter(user__username__startswith="bea").exists()


def test_a_password_is_never_printed_so_it_may_have_any_character(cafe):
    _link, key = make.link(cafe)
    words = "пароль из чашек \N{HOT BEVERAGE}"
    assert join(key, **NEW | {"password": words, "password_again": words}).status_code == 302


@pytest.mark.parametrize("ends", ["used", "withdrawn", "expired", "unknown"])
@pytest.mark.parametrize("kind", ["join", "password"])
def test_a_link_that_does_not_open_says_one_and_the_same(cafe, ends, kind):
    now = timezone.now()
    made = now - joining.LASTS if ends == "expired" else now
    somebody = make.person(Role.BARISTA, cafe)
    if kind == "join":
        link, key = make.link(cafe, now=made, name="Secret Person")
    else:
        link, key = joining.offer_new_password(somebody.memberships.get(), None, made)
    if ends == "used":
        OneTimeLink.objects.filter(pk=link.pk).update(used_at=now, used_by=somebody)
    elif ends == "withdrawn":
        assert joining.withdraw(link, None, now)
        assert not joining.withdraw(link, None, now)
    elif ends == "unknown":
        key = "unknown"
    before = User.objects.values_list("pk", "password")
    for client in (Client(), make.signed_in(somebody)):
        for method in (client.get, client.post):
            answer = method(reverse("crew:join", args=[key]), NEW)
            assert answer.status_code == 410
            page = answer.content.decode()
            assert "Ask whoever gave it to you for a new one" in page
            assert "Secret Person" not in page
    assert set(before) == set(User.objects.values_list("pk", "password"))


def test_a_link_lasts_72_hours_to_the_second(cafe):
    made = timezone.now()
    _link, key = make.link(cafe, now=made)
    assert joining.opened(key, made + timedelta(hours=72, seconds=-1))
    with pytest.raises(joining.Gone):
        joining.opened(key, made + timedelta(hours=72))


def test_somebody_signed_in_accepts_with_one_button(cafe):
    there = make.cafe(cafe.company)
    user = make.person(Role.BARISTA, there)
    _link, key = make.link(cafe, Role.HEAD)
    client = make.signed_in(user)
    page = client.get(reverse("crew:join", args=[key])).content.decode()
    assert "Accept" in page
    assert "password" not in page.split("<main")[1]
    assert join(key, client)["Location"] == reverse("crew:my_pin")
    member = client.get("/crew/").wsgi_request.member
    assert (member.cafe, member.role) == (cafe, Role.HEAD)
    assert user.memberships.filter(ended_at=None).count() == 2


def test_an_account_signs_in_and_joins_in_one_step_even_without_any_role_left(cafe):
    user = with_password(make.person(Role.BARISTA, cafe))
    user.memberships.update(ended_at=timezone.now())
    refused = Client().post("/sign-in/", {"username": user.username, "password": "long enough once"})
    assert refused.status_code == 422
    assert "invite you with a link" in refused.content.decode()
    _link, key = make.link(cafe)
    typed = {"username": user.username.upper(), "password": "long enough once"}
    wrong = join(key, to="join_known", **typed | {"password": "not that one"})
    assert wrong.status_code == 422
    assert user.username.upper() in wrong.content.decode()
    client = Client()
    assert join(key, client, to="join_known", **typed)["Location"] == reverse("crew:my_pin")
    assert client.get("/board/").wsgi_request.member.user == user


@pytest.mark.parametrize("role", [Role.BARISTA, Role.OWNER])
def test_whoever_is_here_already_is_told_so_and_the_link_stays_open(cafe, role):
    user = with_password(make.person(role, cafe))
    link, key = make.link(cafe, role)
    client = make.signed_in(user)
    for answer in (client.get(reverse("crew:join", args=[key])), join(key, client)):
        assert answer.status_code == 200
        assert "already" in answer.content.decode()
    typed = {"username": user.username, "password": "long enough once"}
    assert "already" in join(key, to="join_known", **typed).content.decode()
    link.refresh_from_db()
    assert link.used_at is None
    assert user.memberships.count() == 1


def test_a_pin_accepts_nothing(cafe):
    tablet, key_of_tablet = make.tablet(make.station(cafe))
    user = make.person(Role.BARISTA, cafe)
    client = make.signed_in_by_pin(tablet, key_of_tablet, user)
    link, key = make.link(cafe, Role.OWNER)
    for method in (client.get, client.post):
        assert "own phone" in method(reverse("crew:join", args=[key])).content.decode()
    link.refresh_from_db()
    assert link.used_at is None


def test_a_new_password_by_link_ends_every_session_and_signs_in(cafe):
    head = make.person(Role.HEAD, cafe)
    user = with_password(make.person(Role.BARISTA, cafe))
    tablet, key_of_tablet = make.tablet(make.station(cafe))
    old, by_pin = make.signed_in(user), make.signed_in_by_pin(tablet, key_of_tablet, user)
    _link, key = joining.offer_new_password(user.memberships.get(), head, timezone.now())
    address = reverse("crew:join", args=[key])
    client = make.signed_in(head)
    page = client.get(address).content.decode()
    assert user.username in page
    easy = client.post(address, {"new_password1": "short", "new_password2": "short"})
    assert easy.status_code == 422
    chosen = {"new_password1": "another long one", "new_password2": "another long one"}
    assert client.post(address, chosen)["Location"] == "/"
    assert client.get("/board/").wsgi_request.member.user == user
    assert old.get("/password/").status_code == 302
    assert by_pin.get("/my-results/").status_code == 302
    user.refresh_from_db()
    assert user.check_password("another long one")
    assert client.post(address, chosen).status_code == 410
    assert Change.objects.latest("pk").what == "new password by link"


def test_a_newer_link_for_a_password_replaces_the_older_and_a_further_role_ends_it(cafe):
    owner = make.person(Role.OWNER, company=cafe.company)
    user, now = make.person(Role.BARISTA, cafe), timezone.now()
    membership = user.memberships.get()
    _first, old = joining.offer_new_password(membership, owner, now)
    _second, new = joining.offer_new_password(membership, owner, now)
    with pytest.raises(joining.Gone):
        joining.opened(old, now)
    assert joining.opened(new, now)
    there = make.cafe(cafe.company)
    roles.add(user, company=cafe.company, cafe=there, role=Role.HEAD, by=owner, now=now)
    with pytest.raises(joining.Gone):
        joining.renew_password(new, "another long one", now)


# --- on the console


def printed(capsys) -> str:
    said = capsys.readouterr().out
    return said.split("/join/")[1].strip().strip("/")


def test_the_console_makes_a_new_owner(cafe, capsys, settings):
    settings.BASE_URL = "https://bar.invalid"
    call_command("new_owner_link")
    said = capsys.readouterr().out
    assert "https://bar.invalid/join/" in said
    assert f"an owner of {cafe.company}" in said
    key = said.split("/join/")[1].strip().strip("/")
    join(key, **NEW)
    assert User.objects.get(username="bea.nova").memberships.get().role == Role.OWNER
    assert Change.objects.filter(what="invited").get().by_name == "the server's console"


def test_the_console_renews_an_owners_password(cafe, capsys):
    owner = make.person(Role.OWNER, company=cafe.company)
    call_command("new_owner_link", username=f" {owner.username.upper()}")
    joining.renew_password(printed(capsys), "another long one", timezone.now())
    owner.refresh_from_db()
    assert owner.check_password("another long one")


@pytest.mark.parametrize("is_set", [True, False])
def test_a_link_that_opens_on_this_machine_alone_says_so(cafe, capsys, settings, is_set):
    settings.DEPLOYMENT = replace(settings.DEPLOYMENT, is_configured=is_set)
    call_command("new_owner_link")
    assert ("BREWBAR_URL is not set" in capsys.readouterr().err) is not is_set


def test_the_console_asks_kindly_which(db, cafe):
    other = make.cafe()
    owner = make.person(Role.OWNER, company=cafe.company)
    barista = make.person(Role.BARISTA, cafe)
    for given, says in (
        ({}, "Which company"),
        ({"company": "Nowhere"}, "no company called Nowhere"),
        ({"username": "nobody"}, owner.username),
        ({"username": barista.username}, "No owner signs in as"),
        ({"username": owner.username, "company": other.company.name}, "No owner"),
    ):
        with pytest.raises(Refusal, match=says):
            call_command("new_owner_link", **given)
    Membership.objects.create(user=owner, company=other.company, role=Role.OWNER)
    with pytest.raises(Refusal, match="several companies"):
        call_command("new_owner_link", username=owner.username)
    assert not OneTimeLink.objects.exists()
    call_command("new_owner_link", username=owner.username, company=other.company.name.upper())


def test_the_console_without_a_company_says_how_one_is_opened(db):
    with pytest.raises(Refusal, match="no company yet"):
        call_command("new_owner_link")
