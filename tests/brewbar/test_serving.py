"""`serve`, started for real in a process of its own, asked over HTTP, and stopped."""

import os
import re
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path

import pytest

from brewbar import bootstrap, testing


@dataclass(frozen=True)
class Server:
    port: int
    data: Path
    environment: Mapping[str, str]
    said: str

    def get(self, path: str, method: str = "GET", **headers: str) -> tuple[HTTPResponse, bytes]:
        with closing(HTTPConnection("127.0.0.1", self.port, timeout=30)) as connection:
            connection.request(method, path, headers={k.replace("_", "-"): v for k, v in headers.items()})
            answer = connection.getresponse()
            return answer, answer.read()


def serve(environment: Mapping[str, str], port: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-u", "manage.py", "serve", "--port", str(port)],
        cwd=bootstrap.ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def refused(environment: Mapping[str, str], port: int = 8000) -> str:
    process = serve(environment, port)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 1
    assert "Traceback" not in said
    return said


def environment_for(data: Path, url: str) -> dict[str, str]:
    return testing.test_environment(os.environ, data) | {"BREWBAR_URL": url, "BREWBAR_DATA": str(data)}


def wait_until_it_listens(process: subprocess.Popen[str], port: int) -> None:
    deadline = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < deadline:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.05)
    process.kill()
    pytest.fail("\n".join(process.communicate()))


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    data = tmp_path_factory.mktemp("serve") / "data"
    environment = environment_for(data, f"http://127.0.0.1:{port}")
    process = serve(environment, port)
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        if "is served at" in line:
            break
    wait_until_it_listens(process, port)
    yield Server(port, data, environment, said)
    process.terminate()
    _, logged = process.communicate(timeout=60)
    assert process.returncode == 0
    assert re.search(r"WARNING django\.security\.csrf: Forbidden", logged), logged


def test_what_it_says_at_its_first_start(server: Server) -> None:
    assert "A new database was made" in server.said
    assert "`python3 manage.py new_company`" in server.said
    assert f"served at http://127.0.0.1:{server.port} (" in server.said


def test_it_is_well(server: Server) -> None:
    answer, body = server.get("/health/")
    assert answer.status == 200
    assert b"ok" in body


def test_pages_carry_a_strict_policy(server: Server) -> None:
    answer, _ = server.get("/sign-in/")
    policy = answer.headers["Content-Security-Policy"]
    assert answer.status == 200
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["X-Frame-Options"] == "DENY"


def test_static_files_are_compressed_and_kept_by_the_browser(server: Server) -> None:
    _, page = server.get("/sign-in/")
    sheets = re.findall(r'href="(/static/[^"]+\.css)"', page.decode())
    assert sheets
    for sheet in sheets:
        answer, _ = server.get(sheet, Accept_Encoding="gzip, br")
        assert answer.status == 200
        assert re.search(r"\.[0-9a-f]{12}\.css$", sheet)
        assert answer.headers["Content-Encoding"] == "gzip"
        assert "immutable" in answer.headers["Cache-Control"]
        assert int(answer.headers["Cache-Control"].partition("max-age=")[2].split(",")[0]) >= 365 * 24 * 3600


def test_another_host_name_is_refused(server: Server) -> None:
    assert server.get("/health/", Host="evil.example")[0].status == 400


def test_a_form_from_elsewhere_is_refused_and_logged(server: Server) -> None:
    assert server.get("/sign-in/", method="POST")[0].status == 403  # the fixture reads the log at its end


def test_an_error_page_tells_nothing_of_the_inside(server: Server) -> None:
    answer, body = server.get("/no-such-page/")
    assert answer.status == 404
    assert b"urlpatterns" not in body.lower()
    assert b"DEBUG" not in body


def test_the_key_is_kept_for_its_owner(server: Server) -> None:
    assert (server.data / "secret-key").stat().st_mode & 0o777 == 0o600


def test_a_second_one_on_the_same_port_is_refused(server: Server) -> None:
    assert f"Port {server.port} is in use" in refused(server.environment, server.port)


def test_a_database_that_is_behind_is_refused(server: Server, tmp_path: Path) -> None:
    old = tmp_path / "data"
    old.mkdir()
    source = sqlite3.connect(server.data / "brewbar.sqlite3")
    copy = sqlite3.connect(old / "brewbar.sqlite3")
    with closing(source), closing(copy):
        source.backup(copy)
        copy.execute("DELETE FROM django_migrations WHERE app = 'calibration'")
        copy.commit()
    said = refused(environment_for(old, "http://127.0.0.1:8000"))
    assert "`python3 manage.py migrate`" in said


def test_without_an_address_it_is_refused(tmp_path: Path) -> None:
    assert refused(environment_for(tmp_path, "")).startswith("BREWBAR_URL is not set")


def test_the_demo_s_switch_does_not_open_the_real_thing(tmp_path: Path) -> None:
    environment = environment_for(tmp_path, "http://127.0.0.1:8000") | {"BREWBAR_DEMO": "1"}
    assert "with BREWBAR_DEMO unset" in refused(environment)


def test_a_database_that_does_not_answer_is_told(tmp_path: Path) -> None:
    nobody = f"postgresql://me:hidden@/brewbar?host={tmp_path}"
    said = refused(environment_for(tmp_path, "http://127.0.0.1:8000") | {"DATABASE_URL": nobody})
    assert "The database does not answer" in said
    assert "hidden" not in said
