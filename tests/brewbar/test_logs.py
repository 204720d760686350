"""How a line of the log is written, and what never gets into one."""

from __future__ import annotations

import json
import logging
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from brewbar import logs


def record(message: str, *words: Any, error: BaseException | None = None, **more: Any) -> logging.LogRecord:
    trace = (type(error), error, error.__traceback__) if error else None
    made = logging.LogRecord("brewbar.test", logging.INFO, __file__, 1, message, words, trace)
    vars(made).update(more)
    return made


def as_json(made: logging.LogRecord) -> dict[str, Any]:
    line = logs.JsonLines().format(made)
    assert line.isascii()
    assert "\n" not in line
    found: dict[str, Any] = json.loads(line)
    return found


def raised(said: str) -> Exception:
    try:
        raise ValueError(said)
    except ValueError as error:
        return error


def test_a_line_says_when_what_and_where_from() -> None:
    line = as_json(record("%d drops", 3, figures={"status": 200, "user": None}))
    assert line.pop("time").endswith("+00:00")
    assert line == {
        "level": "INFO", "logger": "brewbar.test", "message": "3 drops", "status": 200, "user": None,
    }  # fmt: skip


def test_within_a_request_it_says_which() -> None:
    with logs.of_request("0a1b2c3d", "GET", "/board/") as asked:
        line = as_json(record("x"))
        assert "INFO brewbar.test: 0a1b2c3d x" in logs.Plain().format(record("x"))
    assert asked == "GET /board/"
    assert (line["request"], line["method"], line["path"]) == ("0a1b2c3d", "GET", "/board/")
    assert "request" not in as_json(record("x"))


def test_a_failure_has_its_traceback_and_a_refusal_none() -> None:
    assert "ValueError: broken" in as_json(record("x", error=raised("broken")))["exception"]
    assert "ValueError: broken" in logs.Plain().format(record("x", error=raised("broken"), status_code=500))
    assert "exception" not in as_json(record("x", error=raised("broken"), status_code=400))


def test_nothing_foreign_makes_a_line_of_its_own() -> None:
    plain = logs.Plain().format(
        record("Invalid: %s", "a\n2026-01-01 INFO forged: all is well\r\x1b[2J\u202e")
    )
    assert [line[:4] for line in plain.split("\n")[1:]] == ["    "]
    assert not {"\r", "\x1b", "\u202e"} & set(plain)
    with logs.of_request("0a1b2c3d", "GET", "/a\nb/"):
        assert as_json(record("x"))["path"] == "/a%0Ab/"


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("Forbidden (CSRF cookie not set.): /join/tHe-key_1/", "Forbidden (CSRF cookie not set.): /join/.../"),
        ("/join/tHe-key_1/known/", "/join/.../known/"),
        ("from https://bar.example/join/tHe-key_1/ does", "from https://bar.example/join/.../ does"),
        ("came from https://bar.example/board/?code=tHe-key_1", "came from https://bar.example/board/?..."),
        ("DETAIL:  Failing row contains (1, argon2$tHe-key_1,\n\ntHe-key_1).", "DETAIL: ..."),
    ],
)  # fmt: skip
def test_what_opens_a_door_is_cut_out(said: str, shown: str) -> None:
    assert logs.masked(said) == shown
    assert "tHe-key_1" not in as_json(record("x", error=raised(said)))["exception"]


def keyed(patterns: list[Any], space: str = "") -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from keyed(pattern.url_patterns, f"{pattern.namespace}:" if pattern.namespace else space)
        elif isinstance(pattern, URLPattern) and "key" in pattern.pattern.converters:
            yield f"{space}{pattern.name}"


def test_every_address_with_a_key_in_it_is_masked() -> None:
    names = list(keyed(get_resolver().url_patterns))
    assert names
    for name in names:
        assert "tHe-key_1" not in logs.masked(reverse(name, args=["tHe-key_1"])), name


def test_references_are_short_and_differ() -> None:
    made = {logs.new_reference() for _ in range(100)}
    assert len(made) == 100
    assert {len(one) for one in made} == {8}


def test_the_form_follows_the_choice() -> None:
    for kind in ("json", "plain"):
        chosen = logs.settings_for(kind)
        assert chosen["handlers"]["console"]["formatter"] == kind
    assert sys.stderr is not None
