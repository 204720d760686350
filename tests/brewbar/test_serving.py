"""`serve`, started for real in a process of its own, asked over HTTP, and stopped."""

import json
import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from brewbar import testing
from tests.running import Running, free_port, refused, running

A_YEAR_S = 365 * 24 * 3600


def environment_for(data: Path, url: str) -> dict[str, str]:
    return testing.test_environment(os.environ, data) | {"BREWBAR_URL": url, "BREWBAR_DATA": str(data)}


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("serve") / "data"


@pytest.fixture(scope="module")
def server(data: Path) -> Iterator[Running]:
    port = free_port()
    with running(["serve"], port, environment_for(data, f"http://127.0.0.1:{port}")) as server:
        yield server


def test_what_it_says_at_its_first_start(server: Running, data: Path) -> None:
    assert "A new database was made" in server.said
    assert f"Open it at  http://127.0.0.1:{server.port}/set-up/\n" in server.said
    code = re.search(r"with this code:  (\w{4}-\w{4}-\w{4})\n", server.said)
    assert code
    kept = data / "set-up-code"
    assert code[1] not in kept.read_text()
    assert kept.stat().st_mode & 0o777 == 0o600
    assert f"served at http://127.0.0.1:{server.port} (" in server.said


def test_it_is_well(server: Running) -> None:
    answer = server.ask("/health/ready")
    assert answer.status == 200
    assert "ok" in answer.body


def test_pages_carry_a_strict_policy(server: Running) -> None:
    answer = server.ask("/set-up/")
    policy = answer.headers["Content-Security-Policy"]
    assert answer.status == 200
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["X-Frame-Options"] == "DENY"


def test_static_files_are_compressed_and_kept_by_the_browser(server: Running) -> None:
    sheets = re.findall(r'href="(/static/[^"]+\.css)"', server.ask("/set-up/").body)
    assert sheets
    for sheet in sheets:
        answer = server.ask(sheet, Accept_Encoding="gzip, br")
        assert answer.status == 200
        assert re.search(r"\.[0-9a-f]{12}\.css$", sheet)
        assert answer.headers["Content-Encoding"] == "gzip"
        assert "immutable" in answer.headers["Cache-Control"]
        assert int(re.findall(r"max-age=(\d+)", answer.headers["Cache-Control"])[0]) >= A_YEAR_S


def test_another_host_name_is_refused(server: Running) -> None:
    assert server.ask("/health/ready", Host="elsewhere.example").status == 400


def test_an_error_page_tells_nothing_of_the_inside(server: Running) -> None:
    answer = server.ask("/no-such-page/")
    assert answer.status == 404
    assert "urlpatterns" not in answer.body.lower()
    assert "DEBUG" not in answer.body


def test_the_key_is_kept_for_its_owner(server: Running, data: Path) -> None:
    assert (data / "secret-key").stat().st_mode & 0o777 == 0o600


def test_a_second_one_on_the_same_port_is_refused(server: Running, data: Path) -> None:
    environment = environment_for(data, f"http://127.0.0.1:{server.port}")
    assert f"Port {server.port} is in use" in refused(["serve", "--port", str(server.port)], environment)


def test_a_database_that_is_behind_is_refused(server: Running, data: Path, tmp_path: Path) -> None:
    port, old = free_port(), tmp_path / "data"
    old.mkdir()
    source = sqlite3.connect(data / "brewbar.sqlite3")
    copy = sqlite3.connect(old / "brewbar.sqlite3")
    with closing(source), closing(copy):
        source.backup(copy)
        copy.execute("DELETE FROM django_migrations WHERE app = 'calibration'")
        copy.commit()
    said = refused(["serve", "--port", str(port)], environment_for(old, f"http://127.0.0.1:{port}"))
    assert "`python3 manage.py migrate`" in said


def test_the_next_start_collects_nothing_anew_and_logs_who_was_refused(server: Running, data: Path) -> None:
    port = free_port()
    with running(["serve"], port, environment_for(data, f"http://127.0.0.1:{port}")) as again:
        assert again.ask("/sign-in/", method="POST").status == 403
    assert "Static files" not in again.said
    assert "new database" not in again.said
    refusal, line = [json.loads(line) for line in again.logged.splitlines()]
    assert (refusal["logger"], refusal["level"]) == ("django.security.csrf", "WARNING")
    assert line["status"] == 403
    assert line["request"] == refusal["request"]


@pytest.mark.parametrize(
    ("environment", "said"),
    [
        ({"BREWBAR_URL": ""}, "BREWBAR_URL is not set"),
        ({"BREWBAR_PROXY": "maybe"}, "BREWBAR_PROXY is 'maybe'; allowed are 1 (yes) and 0 (no)."),
        ({"BREWBAR_DEMO": "1"}, "with BREWBAR_DEMO unset"),
        ({"DATABASE_URL": "postgresql://me:hidden@/b?host=/nowhere"}, "The database does not answer"),
    ],
)
def test_it_is_refused_in_words(environment: dict[str, str], said: str, tmp_path: Path) -> None:
    port = free_port()
    given = environment_for(tmp_path, f"http://127.0.0.1:{port}") | environment
    answer = refused(["serve", "--port", str(port)], given)
    assert said in answer
    assert "hidden" not in answer
