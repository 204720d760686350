"""`backup` and `restore` as somebody runs them, on a data folder of their own."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.db import connection

from brewbar import bootstrap
from brewbar.keeping import archive, jobs
from brewbar.refusal import Refusal
from tests import factories as make
from tests.running import free_port, running

NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def fresh(tmp_path_factory) -> Path:
    """A data folder as `serve` would begin it, with a key."""
    folder = tmp_path_factory.mktemp("keeping") / "data"
    run(folder, "migrate")
    (folder / "secret-key").write_text("k" * 64)
    (folder / "secret-key").chmod(0o600)
    return folder


@pytest.fixture
def data(fresh, tmp_path) -> Path:
    folder = tmp_path / "data"
    folder.mkdir()
    for name in ("brewbar.sqlite3", "secret-key"):
        (folder / name).write_bytes((fresh / name).read_bytes())
        (folder / name).chmod(0o600)
    put(folder, "Kept")
    return folder


def environment(data: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    return kept | {"BREWBAR_DATA": str(data)}


def run(data: Path, *words: str, succeeds: bool = True) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=bootstrap.ROOT,
        env=environment(data),
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode == 0) is succeeds, done.stdout + done.stderr
    return done.stdout + done.stderr


def put(data: Path, name: str) -> None:
    with closing(sqlite3.connect(data / "brewbar.sqlite3")) as there:
        there.execute(
            "INSERT INTO crew_company (name, people_shown_to_owners, is_invented, decimal_mark, "
            "temperature_unit, date_order) VALUES (?, 'unnamed', 0, '.', 'C', 'dmy')",
            (name,),
        )
        there.commit()


def companies(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as there:
        return [name for (name,) in there.execute("SELECT name FROM crew_company ORDER BY name")]


def the_backup(folder: Path) -> Path:
    [only] = folder.glob("brewbar-*.zip")
    return only


@pytest.fixture
def folder(tmp_path) -> Path:
    (tmp_path / "backups").mkdir()
    return tmp_path / "backups"


def test_what_was_backed_up_comes_back_and_what_was_there_is_kept(data, folder):
    said = run(data, "backup", str(folder))
    assert "Restored into a scratch database and counted." in said
    put(data, "Later")
    refused = run(data, "restore", str(the_backup(folder)), succeeds=False)
    assert "--overwrite" in refused
    assert companies(data / "brewbar.sqlite3") == ["Kept", "Later"]

    run(data, "restore", str(the_backup(folder)), "--overwrite")
    assert companies(data / "brewbar.sqlite3") == ["Kept"]
    [before] = data.glob("brewbar-before-*.sqlite3")
    assert companies(before) == ["Kept", "Later"]
    run(data, "check")


def test_a_new_machine_gets_all_of_it(data, folder, tmp_path):
    run(data, "backup", str(folder))
    elsewhere = tmp_path / "elsewhere"
    run(elsewhere, "restore", str(the_backup(folder)))
    assert companies(elsewhere / "brewbar.sqlite3") == ["Kept"]
    assert (elsewhere / "secret-key").read_text() == "k" * 64
    assert (elsewhere / "secret-key").stat().st_mode & 0o077 == 0


def test_a_check_alone_changes_nothing(data, folder):
    run(data, "backup", str(folder))
    put(data, "Later")
    assert "Nothing was changed" in run(data, "restore", "--check", str(the_backup(folder)))
    assert companies(data / "brewbar.sqlite3") == ["Kept", "Later"]


def test_a_damaged_backup_is_refused_before_anything_is_touched(data, folder):
    run(data, "backup", str(folder))
    backup = the_backup(folder)
    content = bytearray(backup.read_bytes())
    content[len(content) // 2] ^= 0xFF
    backup.write_bytes(content)
    assert "damaged" in run(data, "restore", "--overwrite", str(backup), succeeds=False)
    assert companies(data / "brewbar.sqlite3") == ["Kept"]


def test_a_damaged_database_is_replaced_when_told_and_kept(data, folder):
    run(data, "backup", str(folder))
    (data / "brewbar.sqlite3").write_bytes(b"?" * 8192)
    assert "too damaged" in run(data, "restore", str(the_backup(folder)), succeeds=False)
    run(data, "restore", "--overwrite", str(the_backup(folder)))
    assert companies(data / "brewbar.sqlite3") == ["Kept"]
    [before] = data.glob("brewbar-before-*.sqlite3")
    assert before.read_bytes() == b"?" * 8192


def test_while_it_is_served_it_can_be_backed_up_but_not_restored(data, folder):
    port = free_port()
    environment_here = environment(data) | {"BREWBAR_URL": f"http://127.0.0.1:{port}"}
    with running(["serve"], port, environment_here) as server:
        run(data, "backup", str(folder))
        said = run(data, "restore", "--overwrite", str(the_backup(folder)), succeeds=False)
        assert "stop it, then restore again" in said
        assert "Traceback" not in said
        assert server.ask("/sign-in/").status == 200
    assert not list(data.glob("brewbar-before-*"))
    run(data, "restore", "--overwrite", str(the_backup(folder)))


def test_a_backup_of_an_older_version_is_brought_up_to_this_one(data, folder):
    run(data, "migrate", "calibration", "0001")
    put_back = "SELECT count(*) FROM django_migrations WHERE app = 'calibration'"
    run(data, "backup", str(folder))
    run(data, "migrate")
    with closing(sqlite3.connect(data / "brewbar.sqlite3")) as there:
        all_of_them = there.execute(put_back).fetchone()
    said = run(data, "restore", "--overwrite", str(the_backup(folder)))
    assert "brought up to this one" in said
    with closing(sqlite3.connect(data / "brewbar.sqlite3")) as there:
        assert there.execute(put_back).fetchone() == all_of_them
    run(data, "migrate", "--check")


def test_killed_half_way_there_is_no_half_file_under_a_backups_name(data, folder):
    backup = subprocess.Popen(
        [sys.executable, "manage.py", "backup", str(folder)], cwd=bootstrap.ROOT, env=environment(data)
    )
    deadline = time.monotonic() + 60
    while not any(folder.iterdir()) and backup.poll() is None and time.monotonic() < deadline:
        time.sleep(0.001)
    backup.send_signal(signal.SIGKILL)
    assert backup.wait() == -signal.SIGKILL
    [left] = folder.iterdir()
    assert left.name.startswith(archive.BEING_MADE)
    os.utime(left, (0, 0))
    run(data, "backup", str(folder))
    assert [path.name for path in folder.iterdir()] == [the_backup(folder).name]


# --- in the process itself, on whichever engine


@pytest.mark.django_db(transaction=True)
def test_it_is_made_checked_and_rotated(folder):
    make.company()
    first = jobs.back_up(folder, NOW)
    assert first.manifest.rows["crew_company"] == 1
    assert first.manifest.engine == connection.vendor
    again = jobs.back_up(folder, NOW.replace(day=2), keep=1)
    assert again.removed == (first.path,)
    assert [path.name for path in folder.iterdir()] == [again.path.name]


@pytest.mark.django_db(transaction=True)
def test_a_backup_that_cannot_be_restored_is_not_kept_and_removes_no_other(folder, monkeypatch):
    good = jobs.back_up(folder, NOW)
    counted = jobs._engine().try_out

    class Wrong(type(jobs._engine())):
        def try_out(self, source):
            return counted(source) | {"crew_company": 99}

    wrong = Wrong(connection.settings_dict if connection.vendor == "postgresql" else jobs._engine().path)
    monkeypatch.setattr(wrong, "copy", jobs._engine().copy)
    monkeypatch.setattr(jobs, "_engine", lambda: wrong)
    with pytest.raises(Refusal, match="crew_company differ"):
        jobs.back_up(folder, NOW.replace(day=2), keep=1)
    assert list(folder.iterdir()) == [good.path]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"engine": "another"}, "DATABASE_URL"),
        ({"migrations": ["recipes.9999_to_come"]}, "update brewbar first"),
        ({"format": 99}, "update it first"),
    ],
)
def test_a_backup_that_does_not_fit_here_is_refused(folder, monkeypatch, change, says):
    real = archive.pack

    def pack(target, members, manifest):
        real(target, members, archive.Manifest(**manifest.__dict__ | change))

    monkeypatch.setattr(archive, "pack", pack)
    made = jobs.back_up(folder, NOW, check=False)
    with pytest.raises(Refusal, match=says):
        jobs.verify(made.path)


@pytest.mark.django_db(transaction=True)
def test_where_it_cannot_be_written_it_says_so(tmp_path):
    with pytest.raises(Refusal, match="no folder"):
        jobs.back_up(tmp_path / "nowhere" / "b.zip", NOW)
    with pytest.raises(Refusal, match="make it first"):
        jobs.back_up(tmp_path / "nowhere", NOW, keep=3)
    (tmp_path / "b.zip").write_text("x")
    with pytest.raises(Refusal, match="never overwrites"):
        jobs.back_up(tmp_path / "b.zip", NOW)
