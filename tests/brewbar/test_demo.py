"""`demo`, started for real in a copy of the tree, so that nobody's own demo is touched; and when it builds anew."""

import os
import re
import shutil
import sqlite3
import sys
from contextlib import closing
from datetime import date
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import urlencode

import pytest

from brewbar import bootstrap, testing
from brewbar.refusal import Refusal
from calibration.management.commands import demo
from tests.running import Running, free_port, running

TODAY = date(2026, 3, 14)


@pytest.fixture
def copied_tree(tmp_path: Path) -> Path:
    root = tmp_path / "tree"
    for name in ("brewbar", "recipes", "calibration", "templates", "static"):
        shutil.copytree(bootstrap.ROOT / name, root / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("manage.py", "requirements.txt", "requirements-dev.txt"):
        shutil.copy(bootstrap.ROOT / name, root)
    (root / ".venv").symlink_to(sys.prefix)
    return root


def may_sign_in(server: Running, username: str, password: str) -> bool:
    page = server.ask("/sign-in/")
    cookie = SimpleCookie(page.headers["Set-Cookie"])["demo_csrftoken"].value
    token = re.findall(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.body)[0]
    answer = server.ask(
        "/sign-in/",
        method="POST",
        body=urlencode({"csrfmiddlewaretoken": token, "username": username, "password": password}),
        Cookie=f"demo_csrftoken={cookie}",
        Content_Type="application/x-www-form-urlencoded",
    )
    return answer.status == 302


def accounts(said: str) -> dict[str, str]:
    return dict(re.findall(r"(\w+)  +([a-z]+-[a-z]+-[a-z]+-\d\d)$", said, re.MULTILINE))


@pytest.mark.skipif(sys.platform == "win32", reason="needs a link to the .venv")
def test_it_keeps_to_its_own_data_and_is_made_anew_each_day(copied_tree: Path, tmp_path: Path) -> None:
    real = tmp_path / "real"
    environment = testing.test_environment(os.environ, tmp_path) | {
        "BREWBAR_DATA": str(real),
        "BREWBAR_URL": "https://brew.example.org",
        "DATABASE_URL": "postgresql://nobody@/nothing?host=/nowhere",
    }
    port = free_port()
    with running(["demo"], port, environment, copied_tree) as server:
        assert "Making the demo" in server.said
        assert f"Open http://127.0.0.1:{port} (" in server.said
        first = accounts(server.said)
        assert len(first) >= 10
        assert may_sign_in(server, *next(iter(first.items())))
    assert not real.exists()
    assert [path.name for path in (copied_tree / "data").iterdir()] == ["demo"]

    with closing(sqlite3.connect(copied_tree / "data" / "demo" / "brewbar.sqlite3")) as database:
        database.execute("UPDATE crew_company SET invented_on = '2020-02-29'")
        database.commit()
    with running(["demo"], port, environment, copied_tree) as server:
        assert "The demo was made on 29.02.2020" in server.said
        second = accounts(server.said)
        assert second.keys() == first.keys()
        assert not set(second.values()) & set(first.values())
        assert not may_sign_in(server, *next(iter(first.items())))


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What is done to the database, in order."""
    done: list[str] = []
    monkeypatch.setattr(demo, "throw_away_database", lambda: done.append("throw away"))
    monkeypatch.setattr(demo, "call_command", lambda name, **options: done.append(name))
    monkeypatch.setattr(demo.demo_data, "rebuild", lambda today: done.append(f"rebuild {today}"))
    return done


@pytest.mark.parametrize("built", [None, date(2026, 3, 13), date(2026, 3, 15)])
def test_it_is_built_when_it_does_not_end_today(
    built: date | None, done: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "built_on", lambda: built)
    demo.Command().prepare_scenario(TODAY)
    assert done == ["throw away", "migrate", "rebuild 2026-03-14"]


def test_nothing_is_built_twice_a_day(done: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "built_on", lambda: TODAY)
    demo.Command().prepare_scenario(TODAY)
    assert done == []


def test_only_the_demo_s_own_start_runs_it() -> None:
    with pytest.raises(Refusal, match=r"`python3 manage\.py demo`"):
        demo.Command().handle(host="127.0.0.1", port=free_port())


@pytest.mark.usefixtures("db")
def test_tables_without_a_demo_have_no_day() -> None:
    assert demo.built_on() is None


def test_the_table_lines_up() -> None:
    shown = demo.table(("Name", "Role"), [("Inês", "barista"), ("Bo", "owner")])
    assert shown.splitlines() == ["Name  Role", "────  ───────", "Inês  barista", "Bo    owner"]
