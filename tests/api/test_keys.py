"""Keys are shown once, do no more than their maker and their scopes, and end at once.

Jones, Hardt 2012, The OAuth 2.0 Authorization Framework: Bearer Token Usage, RFC 6750, doi:10.17487/RFC6750, section 3.
"""

import re
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import joining, keys, roles
from brewbar.crew.api.authentication import PerKey, Refused
from brewbar.crew.models import Change, Key, Role, Scope
from tests import factories as make
from tests.api.bar import V1, send

KEY = re.compile(r">(bar_[\w-]{43})</textarea>")
FIELDS = {"name": "till", "scopes": ["recipes", "results"], "days": "30"}


def board(secret: str) -> int:
    return make.with_key(secret).get(f"{V1}/board/").status_code


def made(client: Client, **other) -> str:
    answer = client.post(reverse("crew:key_new"), FIELDS | other)
    assert answer.status_code == 200, answer
    return KEY.search(answer.content.decode())[1]


def test_a_key_is_shown_once_and_only_its_hash_is_kept(bar):
    client = make.signed_in(bar.barista)
    answer = client.post(reverse("crew:key_new"), FIELDS)
    secret = KEY.search(answer.content.decode())[1]
    assert "no-store" in answer["Cache-Control"]
    assert secret not in str(dict(client.session))
    row = Key.objects.get()
    assert (row.start, row.scopes) == (secret[:12], ["recipes", "results"])
    assert row.expires_at - row.made_at == timedelta(days=30)
    assert secret[12:] not in str(Key.objects.values())
    listed = client.get(reverse("crew:keys")).content.decode()
    assert row.start in listed
    assert secret not in listed
    noted = Change.objects.get(subject__startswith="till")
    assert secret not in noted.words
    assert noted.by == bar.barista
    assert board(secret) == 200


def test_a_form_that_is_not_filled_in_makes_no_key(bar):
    client = make.signed_in(bar.barista)
    for wrong in ({"name": ""}, {"scopes": []}, {"scopes": ["all"]}, {"days": "3650"}, {"days": ""}):
        assert client.post(reverse("crew:key_new"), FIELDS | wrong).status_code == 422
    assert not Key.objects.exists()


def test_owners_are_offered_no_key_for_entering_readings(bar):
    client = make.signed_in(bar.owner)
    assert "add readings" not in client.get(reverse("crew:key_new")).content.decode()
    assert client.post(reverse("crew:key_new"), FIELDS | {"scopes": ["readings"]}).status_code == 422
    key, _secret = keys.make(make.member(bar.owner), "x", Scope.values, 30, timezone.now())
    assert Scope.READINGS not in key.scopes


def test_a_revoked_key_opens_nothing_at_once(bar):
    client = make.signed_in(bar.barista)
    secret = made(client)
    key = Key.objects.get()
    page = reverse("crew:key_revoke", args=[key.pk])
    assert client.get(page).status_code == 200
    assert board(secret) == 200
    refused = client.post(page, {"why": "lost \u2615"})
    assert (refused.status_code, board(secret)) == (422, 200)
    assert client.post(page, {"why": "the tablet was lost"}).status_code == 302
    assert board(secret) == 401
    key.refresh_from_db()
    assert key.revoked_by == bar.barista
    assert Change.objects.get(what__contains="revoked").why == "the tablet was lost"
    assert not keys.revoke(key, bar.head, timezone.now())
    assert client.post(page).status_code == client.get(page).status_code == 302
    assert "Revoked" in client.get(reverse("crew:keys")).content.decode()


def test_who_sees_and_revokes_whose(bar):
    elsewhere = make.person(Role.BARISTA, make.cafe(bar.cafe.company))
    own = {who: make.access_key(who)[0].pk for who in (bar.barista, bar.head, bar.owner, elsewhere)}
    make.access_key(make.person())

    def seen(user):
        return set(Key.objects.for_member(make.member(user)).values_list("pk", flat=True))

    assert seen(bar.barista) == {own[bar.barista]}
    assert seen(bar.head) == {own[bar.barista], own[bar.head]}
    assert seen(bar.owner) == set(own.values())
    assert make.signed_in(bar.head).post(reverse("crew:key_revoke", args=[own[elsewhere]])).status_code == 404


def test_a_key_ends_with_its_time_its_membership_and_its_role(bar, monkeypatch):
    short = make.access_key(bar.barista, days=30, now=timezone.now() - timedelta(days=31))[1]
    assert board(short) == 401
    lasting = make.access_key(bar.barista)[1]
    assert board(lasting) == 200
    roles.change(
        bar.barista.memberships.get(), role=Role.HEAD, cafe=bar.cafe, in_training=False, by=bar.owner,
        now=timezone.now(),
    )  # fmt: skip
    assert board(lasting) == 401
    of_head = make.access_key(bar.head)[1]
    bar.head.is_active = False
    bar.head.save()
    assert board(of_head) == 401


@pytest.mark.parametrize("has_key", [True, False])
def test_a_new_password_tells_of_keys_that_still_open(bar, has_key):
    secret = make.access_key(bar.barista if has_key else bar.head)[1]
    _link, opens = joining.offer_new_password(bar.barista.memberships.get(), bar.head, timezone.now())
    chosen = {"new_password1": "another long one", "new_password2": "another long one"}
    page = Client().post(reverse("crew:join", args=[opens]), chosen, follow=True).content.decode()
    assert "Other devices are signed out." in page
    assert ("Your keys for other programs still open" in page) is has_key
    assert board(secret) == 200


def test_last_use_is_written_once_a_minute_at_most(bar, django_assert_num_queries):
    key, secret = make.access_key(bar.barista)
    board(secret)
    key.refresh_from_db()
    first = key.last_used_at
    assert timezone.now() - first < timedelta(minutes=1)
    board(secret)
    key.refresh_from_db()
    assert key.last_used_at == first
    Key.objects.update(last_used_at=first - timedelta(seconds=61))
    board(secret)
    key.refresh_from_db()
    assert key.last_used_at >= first


@pytest.mark.parametrize(
    "header",
    [
        "Bearer",
        "Bearer bar_nothing",
        "Bearer é",
        "Basic YTpi",
        "bar_nothing",
        "Bearer " + "x" * 5000,
    ],
)
def test_what_is_no_key_is_refused_with_a_challenge(bar, header):
    answer = Client(headers={"Authorization": header}).get(f"{V1}/board/")
    assert answer.status_code == 401
    # RFC 6750, section 3.1
    assert answer["WWW-Authenticate"] == 'Bearer realm="brewbar", error="invalid_token"'


def test_the_beginning_of_a_key_alone_opens_nothing(bar):
    key, secret = make.access_key(bar.barista)
    assert board(key.start) == board(secret[:-1]) == board(key.start + "A" * 35) == 401


def test_a_session_alone_opens_nothing_and_none_is_looked_up(bar):
    client = make.signed_in(bar.head)
    assert client.get(f"{V1}/board/").status_code == 401
    assert send(client, "/readings/", bar.body()).status_code == 401


def test_a_scope_that_the_key_lacks(bar):
    program = bar.program(Role.HEAD, "recipes")
    assert program.get(f"{V1}/board/").status_code == 200
    for answer in (program.get(f"{V1}/readings/"), send(program, "/readings/", bar.body())):
        assert answer.status_code == 403
        assert answer.json()["type"].endswith("#not-yours")


def test_too_many_requests_of_a_key_say_when_to_come_back(bar, monkeypatch):
    monkeypatch.setattr(PerKey, "THROTTLE_RATES", {"key": "2/min"})
    secret = make.access_key(bar.barista)[1]
    assert [board(secret) for _each in range(3)] == [200, 200, 429]
    answer = make.with_key(secret).get(f"{V1}/board/")
    assert answer["Content-Type"] == "application/problem+json"
    assert 0 < int(answer["Retry-After"]) <= 60
    assert board(make.access_key(bar.head)[1]) == 200


def test_what_a_key_may_not_do_counts_as_well(bar, monkeypatch):
    monkeypatch.setattr(PerKey, "THROTTLE_RATES", {"key": "2/min"})
    program = bar.program(Role.HEAD, "recipes")
    statuses = [program.get(f"{V1}/readings/").status_code for _each in range(3)]
    assert statuses == [403, 403, 429]


def test_an_address_that_shows_many_wrong_keys_waits_but_a_right_one_is_let_in(bar, monkeypatch):
    monkeypatch.setattr(Refused, "THROTTLE_RATES", {"refused": "2/hour"})
    cache.clear()
    secret = make.access_key(bar.barista)[1]
    assert [board("bar_wrong") for _each in range(3)] == [401, 401, 429]
    assert board(secret) == 200
    elsewhere = Client(REMOTE_ADDR="192.0.2.7", headers={"Authorization": "Bearer bar_wrong"})
    assert elsewhere.get(f"{V1}/board/").status_code == 401


def test_the_root_says_who_the_key_is_and_where_to_go(bar):
    said = bar.program(Role.HEAD, "recipes").get(f"{V1}/").json()
    assert (said["role"], said["person"], said["scopes"]) == ("head", bar.head.pk, ["recipes"])
    assert [cafe["id"] for cafe in said["cafes"]] == [bar.cafe.pk]
    assert said["addresses"]["board"] == f"http://testserver{V1}/board/"


def test_the_log_has_the_member_and_never_the_key(bar, caplog):
    secret = make.access_key(bar.barista)[1]
    caplog.set_level("INFO")
    board(secret)
    assert secret not in str([vars(record) for record in caplog.records])
    assert make.member(bar.barista).key in str([vars(record) for record in caplog.records])
