"""What is written down about requests, and that no password, PIN, key, cookie or token is."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable, Iterator
from io import StringIO
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from brewbar import logs
from brewbar.crew import joining, pins
from brewbar.crew.models import Membership, Role
from tests import factories as make

REFERENCE = re.compile(r"Reference:\s*<span[^>]*>([0-9a-f]{8})<")
Lines = Callable[[], list[dict[str, Any]]]


@pytest.fixture
def lines(monkeypatch: pytest.MonkeyPatch) -> Iterator[Lines]:
    """All that would have been written, from DEBUG up, in the order of writing."""
    written = StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(logs.JsonLines())
    root, ours = logging.getLogger(), logging.getLogger("brewbar")
    root.addHandler(handler)
    monkeypatch.setattr(ours, "level", logging.DEBUG)
    yield lambda: [json.loads(line) for line in written.getvalue().splitlines()]
    root.removeHandler(handler)


def test_a_request_is_one_line(db: None, lines: Lines) -> None:
    person = make.person()
    answer = make.signed_in(person).get("/my-results/?since=yesterday")
    (line,) = lines()
    assert line["logger"] == "brewbar.request"
    assert line["level"] == "INFO"
    assert line["request"] == answer["X-Request-ID"]
    assert (line["method"], line["path"], line["status"]) == ("GET", "/my-results/", 200)
    assert line["user"] == person.pk
    assert line["duration_ms"] >= 0
    assert "yesterday" not in json.dumps(line)


@pytest.mark.parametrize(("path", "status"), [("/nowhere/", 404), ("/today/", 403), ("/sign-out/", 405)])
def test_what_is_refused_is_one_line_too(path: str, status: int, db: None, lines: Lines) -> None:
    make.signed_in(make.person()).get(path)
    (line,) = lines()
    assert line["status"] == status


def test_the_reference_is_never_taken_from_outside(db: None, client: Client) -> None:
    sent = "deadbeef"
    answer = client.get("/sign-in/", headers={"X-Request-ID": sent})
    assert answer["X-Request-ID"] != sent
    assert re.fullmatch("[0-9a-f]{8}", answer["X-Request-ID"])


def test_what_pages_ask_by_themselves_is_whispered(db: None, lines: Lines) -> None:
    client = make.signed_in(make.person())
    client.get("/board/", headers={"X-Poll": "yes"})
    client.get("/health/live")
    client.get("/static/css/base.css").close()
    assert [(line["level"], line["status"]) for line in lines()] == [("DEBUG", 200)] * 3


def test_a_form_that_is_too_old_shows_its_reference(db: None, lines: Lines) -> None:
    page = Client(enforce_csrf_checks=True).post("/sign-in/", {"username": "a", "password": "b"})
    (reference,) = REFERENCE.findall(page.content.decode())
    assert {line["request"] for line in lines()} == {reference}


def test_a_refused_page_shows_its_reference(db: None, lines: Lines) -> None:
    page = make.signed_in(make.person()).get("/today/")
    assert REFERENCE.findall(page.content.decode()) == [lines()[-1]["request"]]


# --- failures


class Fails:
    """In the place of a view's job."""

    def __init__(self, error: Exception) -> None:
        self.error = error

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        raise self.error


@pytest.fixture
def shaken(db: None) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(make.person(Role.HEAD), backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_a_failure_is_found_by_the_reference_on_its_page(
    shaken: Client, lines: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("brewbar.crew.forms.SignInForm.is_valid", Fails(RuntimeError("the tray is full")))
    shaken.logout()
    page = shaken.post("/sign-in/", {"username": "ada", "password": SECRETS[0]})
    assert page.status_code == 500
    (reference,) = REFERENCE.findall(page.content.decode())
    failure = next(line for line in lines() if "exception" in line)
    assert failure["request"] == reference == page["X-Request-ID"]
    assert "RuntimeError: the tray is full" in failure["exception"]
    assert lines()[-1]["status"] == 500
    assert SECRETS[0] not in json.dumps(lines())


def test_the_page_is_drawn_with_the_database_gone(shaken: Client, lines: Lines) -> None:
    def refuse(*args: Any) -> None:
        raise OperationalError("gone")

    with connection.execute_wrapper(refuse):
        for path in ("/board/", "/sign-in/", "/nowhere/"):
            page = shaken.get(path)
            assert page.status_code == 500, path
            assert page["X-Request-ID"] in page.content.decode()
    assert any("OperationalError: gone" in line.get("exception", "") for line in lines())


def test_a_row_that_the_database_refuses_is_not_told(db: None, lines: Lines) -> None:
    person = make.person()
    membership = Membership.objects.get(user=person)
    membership.pin_hash, membership.role = SECRETS[0], "nobody"
    try:
        with transaction.atomic():
            membership.save()
    except IntegrityError:
        logging.getLogger("brewbar").exception("refused")
    (line,) = lines()
    assert "IntegrityError" in line["exception"]
    assert SECRETS[0] not in json.dumps(line)


# --- secrets

SECRETS = ["a-Wrong-pass-phrase-1", "a-right-pass-phrase-2", "84629175", "74629183"]
WRONG, RIGHT, PIN, WRONG_PIN = SECRETS


def test_no_secret_is_ever_written(db: None, lines: Lines) -> None:
    cafe = make.cafe()
    person = make.person(Role.BARISTA, cafe)
    person.set_password(RIGHT)
    person.save()
    secrets = list(SECRETS)
    for password in (WRONG, RIGHT):
        client = Client(enforce_csrf_checks=True)
        client.get("/sign-in/")
        token = client.cookies["csrftoken"].value
        typed = {"username": person.username, "password": password, "csrfmiddlewaretoken": token}
        client.post("/sign-in/", typed)
        # A password typed into the wrong field.
        client.post("/sign-in/", typed | {"username": password, "password": password})
        client.post("/sign-in/", typed | {"csrfmiddlewaretoken": "x" * 64})
        secrets += [token, *(cookie.value for cookie in client.cookies.values())]
    for _ in range(7):
        Client().post("/sign-in/", {"username": person.username, "password": WRONG})
    secrets += _at_the_tablet(cafe, person)
    _, key = joining.invite(company=cafe.company, cafe=cafe, role=Role.BARISTA, by=None, now=timezone.now())
    for path in (reverse("crew:join", args=[key]), reverse("crew:join_known", args=[key])):
        assert Client().get(path).status_code == 200
        Client(enforce_csrf_checks=True).post(path, {"password": WRONG})
        Client().get(f"/sign-in/?next={path}")
    statuses = {line["status"] for line in lines() if "status" in line}
    assert {200, 302, 403, 422, 429} <= statuses
    everything = json.dumps(lines())
    assert "/join/.../" in everything
    assert [secret for secret in [*secrets, key] if secret in everything] == []


def _at_the_tablet(cafe: Any, person: Any) -> list[str]:
    _, key = make.tablet(make.station(cafe))
    membership = Membership.objects.get(user=person)
    pins.set_pin(membership, PIN, person)
    client = make.at_tablet(key)
    for pin in (WRONG_PIN, PIN):
        client.post(reverse("crew:pin", args=[membership.pk]), {"pin": pin})
    return [key, membership.pin_hash, *(cookie.value for cookie in client.cookies.values())]
