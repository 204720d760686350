"""Headers of every answer, and the pages for when something does not go."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse

from brewbar.web import answers, views
from brewbar.web.middleware import AnswerHeaders
from tests import factories as make

POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "connect-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}


def test_every_page_carries_the_policy(db, client):
    header = client.get("/sign-in/")["Content-Security-Policy"]
    said = dict(part.strip().split(" ", 1) for part in header.split(";") if part.strip())
    assert {name: said[name] for name in POLICY} == POLICY
    assert "unsafe" not in header


def test_pages_of_the_signed_in_are_kept_from_others(db):
    page = make.signed_in(make.person()).get("/my-results/")
    assert page["Cache-Control"] == "private, no-cache"
    assert "HX-Request" in page["Vary"]
    assert "Cookie" in page["Vary"]
    assert page["X-Frame-Options"] == "DENY"
    assert page["X-Content-Type-Options"] == "nosniff"
    assert page["Referrer-Policy"] == "same-origin"
    assert "camera=()" in page["Permissions-Policy"]


def test_a_redirect_in_a_fragment_moves_the_whole_page(db):
    answer = Client().get("/my-results/", headers={"HX-Request": "true"})
    assert answer["HX-Redirect"].startswith("/sign-in/")
    assert "Location" not in answer


def answered(response: HttpResponse, **headers: str) -> HttpResponse:
    return AnswerHeaders(lambda request: response)(RequestFactory().get("/", headers=headers))


def test_a_redirect_keeps_its_cookies_when_it_becomes_one_of_htmx():
    to_board = HttpResponse(status=302, headers={"Location": "/board/"})
    to_board.set_cookie("kept", "1")
    answer = answered(to_board, **{"HX-Request": "true"})
    assert (answer.status_code, answer["HX-Redirect"]) == (204, "/board/")
    assert "Location" not in answer
    assert "kept" in answer.cookies


def test_a_redirect_without_htmx_stays_one():
    answer = answered(HttpResponse(status=302, headers={"Location": "/board/"}))
    assert (answer.status_code, answer["Location"]) == (302, "/board/")
    assert "HX-Redirect" not in answer


def test_a_view_may_say_otherwise_about_keeping():
    answer = answered(HttpResponse(headers={"Cache-Control": "max-age=60"}))
    assert answer["Cache-Control"] == "max-age=60"


def test_home_leads_to_the_board_or_to_signing_in(db, client):
    assert client.get("/")["Location"] == reverse("crew:sign_in")
    assert make.signed_in(make.person()).get("/")["Location"] == reverse("recipes:board")


def test_refused_pages_say_whose_they_are(db):
    page = make.signed_in(make.person()).get("/today/")
    assert page.status_code == 403
    assert "head barista" in page.content.decode()


def test_a_refusal_with_a_sentence_of_its_own():
    request = RequestFactory().get("/")
    request.resolver_match = None
    page = views.forbidden(request, PermissionDenied("Ten minutes are over."))
    assert page.status_code == 403
    assert b"Ten minutes are over." in page.content


def test_what_is_not_there_is_said_in_our_own_look(db):
    page = make.signed_in(make.person()).get("/nowhere/")
    assert page.status_code == 404
    assert b"brewbar" in page.content


def test_a_form_that_is_too_old_is_refused_kindly(db):
    client = Client(enforce_csrf_checks=True)
    page = client.post("/sign-in/", {"username": "a", "password": "b"})
    assert page.status_code == 403
    assert b"brewbar" in page.content


def test_throttled_sign_in_says_when_to_try_again(db, client):
    for _ in range(7):
        page = client.post("/sign-in/", {"username": "nobody", "password": "guess"})
    assert page.status_code == 429
    assert int(page["Retry-After"]) == 15 * 60
    assert "15 minutes" in page.content.decode()


def test_a_conflict_says_what_and_where_to_go(db):
    request = RequestFactory().get("/")
    request.member, request.places = None, []
    page = answers.conflict(request, "It was changed by Ada.", "/recipes/")
    assert page.status_code == 409
    assert b"It was changed by Ada." in page.content
    assert b'href="/recipes/"' in page.content


def test_the_page_for_a_broken_server_needs_no_database():
    page = views.server_error(RequestFactory().get("/"))
    assert page.status_code == 500
    assert b"brewbar" in page.content
