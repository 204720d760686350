"""Health, as whoever watches the server sees it: it tells the truth, in one word."""

from __future__ import annotations

import logging
import shutil
from collections.abc import Iterator
from typing import Any, NamedTuple

import pytest
from django.db import OperationalError, connection
from django.test import Client

from brewbar import health
from tests import factories as make

LIVE, READY = "/health/live", "/health/ready"


@pytest.fixture(autouse=True)
def nothing_seen_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "_migrated", set())


@pytest.fixture
def broken(db: None) -> Iterator[None]:
    """A database that refuses every statement, as if it were gone."""

    def refuse(execute: Any, sql: str, *rest: Any) -> None:
        raise OperationalError("could not connect to the host of a secret name")

    with connection.execute_wrapper(refuse):
        yield


def test_all_is_well(db: None, client: Client) -> None:
    for address in (LIVE, READY):
        answer = client.get(address)
        assert (answer.status_code, answer.json()) == (200, {"status": "ok"})
        assert "no-cache" in answer["Cache-Control"]


def test_live_answers_without_the_database_whoever_asks(db: None, django_assert_num_queries: Any) -> None:
    client = make.signed_in(make.person())
    client.cookies["tablet"] = "a key that would be looked up"
    with django_assert_num_queries(0):
        assert client.get(LIVE).status_code == 200


def test_a_database_that_is_gone_is_no_reason_to_restart(broken: None, client: Client) -> None:
    assert client.get(LIVE).status_code == 200


@pytest.mark.parametrize("seen_before", [False, True])
def test_a_database_that_is_gone(
    seen_before: bool,
    db: None,
    client: Client,
    request: pytest.FixtureRequest,
    caplog: pytest.LogCaptureFixture,
) -> None:
    if seen_before:
        assert client.get(READY).status_code == 200
    request.getfixturevalue("broken")
    answer = client.get(READY)
    assert (answer.status_code, answer.json()) == (503, {"status": "database"})
    assert "secret name" in caplog.text


def test_pending_migrations(db: None, client: Client) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'calibration'")
    answer = client.get(READY)
    assert (answer.status_code, answer.json()) == (503, {"status": "migrations"})


def test_that_they_are_done_is_asked_once(db: None, client: Client, django_assert_num_queries: Any) -> None:
    client.get(READY)
    with django_assert_num_queries(1):
        assert client.get(READY).status_code == 200


def test_a_folder_that_cannot_be_written_in(db: None, client: Client, settings: Any, tmp_path: Any) -> None:
    settings.DATA_DIR = tmp_path / "gone"
    answer = client.get(READY)
    assert (answer.status_code, answer.json()) == (503, {"status": "folder"})


class Usage(NamedTuple):
    free: int


@pytest.mark.parametrize(("free", "said"), [(99_999_999, "disk"), (100_000_000, "ok")])
def test_a_disk_that_is_nearly_full(
    free: int, said: str, db: None, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Usage(free))
    answer = client.get(READY)
    assert answer.json() == {"status": said}
    assert answer.status_code == (200 if said == "ok" else 503)


def test_only_what_is_wrong_is_logged(
    db: None, client: Client, settings: Any, tmp_path: Any, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        client.get(READY)
        assert caplog.text == ""
        settings.DATA_DIR = tmp_path / "gone"
        client.get(READY)
    assert [record.levelname for record in caplog.records] == ["WARNING", "ERROR"]
