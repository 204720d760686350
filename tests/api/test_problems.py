"""Whatever does not go is told as problem details.

Nottingham, Wilde, Dalal 2023, Problem Details for HTTP APIs, RFC 9457, doi:10.17487/RFC9457, sections 3.1 and 4.2.1.
JSON pointers: Bryan, Zyp, Nottingham 2013, RFC 6901, doi:10.17487/RFC6901, sections 3 and 5.
"""

import json
from http import HTTPStatus

import pytest
from django.test import Client

from brewbar.web.problems import pointed
from tests.api.bar import V1, pointers, send

MEMBERS = {"type": str, "title": str, "status": int, "detail": str, "instance": str}
"""RFC 9457, sections 3.1.1 to 3.1.5."""


def is_problem(answer, status: int, kind: str = "") -> dict:
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"  # section 3
    said = answer.json()
    assert {name: type(said[name]) for name in MEMBERS} == MEMBERS
    assert said["status"] == status
    if kind:
        assert said["type"].endswith(f"{V1}/schema/#{kind}")
    else:
        # Section 4.2.1: with about:blank the title should be the phrase of the status.
        assert (said["type"], said["title"]) == ("about:blank", HTTPStatus(status).phrase)
    assert said["instance"].endswith(answer["X-Request-ID"])
    return said


def test_nobody_gets_a_challenge(bar):
    is_problem(Client().get(f"{V1}/board/"), 401)
    assert Client().get(f"{V1}/board/")["WWW-Authenticate"] == 'Bearer realm="brewbar"'


def test_a_row_that_is_not_there_and_an_address_that_is_not(bar):
    program = bar.program()
    is_problem(program.get(f"{V1}/recipes/987654321/"), 404)
    is_problem(program.get(f"{V1}/nowhere/"), 404)
    # Not led on to the address with the slash, where it would be another request.
    is_problem(send(program, "/readings", bar.body()), 404)


def test_a_method_that_is_not_there_says_which_are(bar):
    answer = bar.program().delete(f"{V1}/readings/")
    is_problem(answer, 405)
    assert answer["Allow"] == "GET, POST, HEAD"


def test_what_cannot_be_answered_or_read(bar):
    program = bar.program()
    is_problem(program.get(f"{V1}/board/", headers={"Accept": "text/html"}), 406)
    form = program.post(f"{V1}/readings/", "a=b", content_type="application/x-www-form-urlencoded")
    is_problem(form, 415)
    twice = '{"weight_g": 220, "weight_g": 221}'
    for broken in ("{", "[1,", '{"drops": NaN}', b"\xff\xfe", "[" * 40_000, "9" * 5000, '{"a":' * 900, twice):
        is_problem(program.post(f"{V1}/readings/", broken, content_type="application/json"), 400)
    long = program.post(f"{V1}/readings/", b" " * 70_000, content_type="application/json")
    is_problem(long, 413)


@pytest.mark.parametrize("body", [[], 5, "text", None, True])
def test_a_body_that_is_no_object(bar, body):
    answer = bar.program().post(f"{V1}/readings/", json.dumps(body), content_type="application/json")
    is_problem(answer, 400, "wrong-shape")


def test_each_error_points_at_its_field(bar):
    body = bar.body(drops=["1.40", 1.4], weight_g="220", uuid="7", was_served=1) | {"colour/of": "red"}
    del body["brew_time_s"]
    said = is_problem(send(bar.program(), "/readings/", body), 400, "wrong-shape")
    assert {"/colour~1of"} == {one["pointer"] for one in said["errors"]}
    del body["colour/of"]
    answer = send(bar.program(), "/readings/", body)
    assert sorted(pointers(answer)) == ["/brew_time_s", "/drops/0", "/uuid", "/was_served", "/weight_g"]


@pytest.mark.parametrize("half", ["code", "kind", "uuid", "\ud800", "sure"])
def test_half_a_surrogate_pair_is_told_back_as_it_was_written(bar, half):
    """No text has one (Unicode 15.0, section 3.9, D91), but JSON can name one: RFC 8259, section 8.2."""
    value = {"uuid": "\ud800" * 36, "sure": ["\ud800"]}.get(half, "\ud800")
    answer = send(bar.program(), "/readings/", json.dumps(bar.body(**{half: value})))
    said = is_problem(answer, 400, "wrong-shape")
    [wrong] = said["errors"]
    assert wrong["pointer"] == {"\ud800": r"/\ud800", "sure": "/sure/0"}.get(half, f"/{half}")


def test_what_django_itself_refuses_is_a_problem_too(bar):
    program = bar.program()
    is_problem(program.get(f"{V1}/board/?" + "&".join(f"a{n}=1" for n in range(1001))), 400)
    is_problem(program.get(f"{V1}/board/", headers={"Host": "nobody.example"}), 400)
    page = program.get("/board/", headers={"Host": "nobody.example"})
    assert (page.status_code, page["Content-Type"]) == (400, "text/html; charset=utf-8")


def test_no_page_of_elsewhere_is_let_in(bar):
    """Fetch, WHATWG: without Access-Control-Allow-Origin no script of another origin reads an answer."""
    program, headers = bar.program(), {"Origin": "https://elsewhere.example"}
    asked = program.options(f"{V1}/readings/", headers={**headers, "Access-Control-Request-Method": "POST"})
    is_problem(asked, 405)
    for answer in (asked, program.get(f"{V1}/board/", headers=headers)):
        assert not [name for name in answer.headers if name.startswith("Access-Control")]
        assert answer["Cache-Control"] == "private, no-cache"


def test_the_detail_alone_says_what_is_wrong(bar):
    said = is_problem(bar.program().get(f"{V1}/recipes/?limit=0&colour=red"), 400, "wrong-shape")
    assert said["detail"] == "There is no such parameter."
    code = is_problem(send(bar.program(), "/readings/", bar.body(code="00000")), 422, "not-possible")
    assert code["detail"] == code["errors"][0]["detail"]


def test_pointers_are_those_of_the_rfc():
    """RFC 6901, section 5: the members "a/b" and "m~n" are reached by /a~1b and /m~0n."""
    errors = {
        "a/b": ["one"],
        "m~n": {"0": ["two"]},
        "foo": [{}, {"bar": ["three"]}],
        "non_field_errors": ["four"],
    }
    assert [(wrong.pointer, wrong.detail) for wrong in pointed(errors)] == [
        ("/a~1b", "one"),
        ("/m~0n/0", "two"),
        ("/foo/1/bar", "three"),
        ("", "four"),
    ]


def test_what_breaks_inside_is_a_problem_with_the_reference_of_the_log(bar, monkeypatch):
    monkeypatch.setattr("recipes.publishing.board_as_it_stands", lambda *_: 1 / 0)
    program = bar.program()
    program.raise_request_exception = False
    said = is_problem(program.get(f"{V1}/board/"), 500)
    assert "division" not in str(said)
