"""Copies of a database that is being written to, on whichever engine the tests run on."""

from __future__ import annotations

import os
import sqlite3
import stat
import subprocess
import sys
import threading
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, transaction

from brewbar.keeping.engines import engine_of
from brewbar.keeping.sqlite import SQLite
from brewbar.refusal import Refusal
from tests import factories as make

pytestmark = pytest.mark.django_db(transaction=True)


@contextmanager
def somebody_writing():
    """Companies, each with its café in one transaction, until the block ends."""
    stop, trouble = threading.Event(), []

    def write() -> None:
        try:
            while not stop.is_set():
                with transaction.atomic():
                    make.cafe(make.company())
        except Exception as error:
            trouble.append(error)
        finally:
            connection.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        yield
    finally:
        stop.set()
        writer.join()
    assert not trouble


def test_a_copy_made_while_others_write_is_one_state_of_it(tmp_path):
    make.cafe(make.company())
    engine = engine_of(connection.settings_dict)
    copies = []
    with somebody_writing():
        for number in range(3):
            before = engine.rows()["crew_company"]
            rows = engine.copy(tmp_path / f"copy{number}")
            assert before <= rows["crew_company"] <= engine.rows()["crew_company"]
            copies.append((tmp_path / f"copy{number}", rows))
    for path, rows in copies:
        # A company and its café were committed together: neither is there without the other.
        assert rows["crew_company"] == rows["crew_cafe"] > 0
        assert engine.try_out(path) == rows


def test_a_scratch_database_leaves_nothing_behind(tmp_path):
    make.company()
    engine = engine_of(connection.settings_dict)
    before = engine.rows()
    engine.copy(tmp_path / "copy")
    engine.try_out(tmp_path / "copy")
    assert engine.rows() == before
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT datname FROM pg_database WHERE datname LIKE '%#_check#_%' ESCAPE '#'")
            assert cursor.fetchall() == []


def test_what_is_no_copy_is_refused(tmp_path):
    wrong = tmp_path / "wrong"
    wrong.write_bytes(b"nothing of the kind" * 500)
    with pytest.raises(Refusal):
        engine_of(connection.settings_dict).try_out(wrong)


def database(path: Path, *names: str) -> SQLite:
    with closing(sqlite3.connect(path)) as made:
        made.execute("PRAGMA journal_mode=WAL")
        made.execute("CREATE TABLE t (name TEXT)")
        made.executemany("INSERT INTO t VALUES (?)", [(name,) for name in names])
        made.commit()
    return SQLite(path)


def names_in(path: Path) -> list[Any]:
    with closing(sqlite3.connect(path)) as there:
        return [name for (name,) in there.execute("SELECT name FROM t")]


def test_sqlite_the_old_file_is_kept_beside_the_new(tmp_path):
    engine = database(tmp_path / "brewbar.sqlite3", "old")
    copy = tmp_path / "copy"
    database(copy, "new")
    kept = engine.replace(copy, "20260301T0930Z")
    assert names_in(tmp_path / "brewbar.sqlite3") == ["new"]
    assert names_in(Path(kept)) == ["old"]


def test_sqlite_a_database_in_use_is_left_as_it_is(tmp_path, monkeypatch):
    monkeypatch.setattr("brewbar.keeping.sqlite.BUSY_S", 0.1)
    engine = database(tmp_path / "brewbar.sqlite3", "old")
    database(tmp_path / "copy", "new")
    with closing(sqlite3.connect(engine.path)) as somebody:
        somebody.execute("SELECT * FROM t").fetchall()
        with pytest.raises(Refusal, match="stop `serve`"):
            engine.replace(tmp_path / "copy", "20260301T0930Z")
    assert names_in(engine.path) == ["old"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["brewbar.sqlite3", "copy"]


def test_sqlite_a_damaged_database_is_kept_too_and_its_log_not_read_into_the_new(tmp_path):
    path, content = tmp_path / "brewbar.sqlite3", b"no database at all" * 500
    path.write_bytes(content)
    path.with_name("brewbar.sqlite3-wal").write_bytes(b"the last minutes")
    assert SQLite(path).rows() is None
    database(tmp_path / "copy", "new")
    kept = Path(SQLite(path).replace(tmp_path / "copy", "20260301T0930Z"))
    assert names_in(path) == ["new"]
    assert kept.read_bytes() == content
    assert not path.with_name("brewbar.sqlite3-wal").exists()


def test_sqlite_the_log_of_the_old_is_in_the_old_and_not_read_into_the_new(tmp_path):
    engine = database(tmp_path / "brewbar.sqlite3", "old")
    script = (
        "import os, sqlite3; c = sqlite3.connect('brewbar.sqlite3'); "
        "c.execute(\"INSERT INTO t VALUES ('last')\"); c.commit(); os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", script], cwd=tmp_path, check=True)
    assert engine.path.with_name("brewbar.sqlite3-wal").stat().st_size > 0
    database(tmp_path / "copy", "new")
    kept = engine.replace(tmp_path / "copy", "20260301T0930Z")
    assert names_in(engine.path) == ["new"]
    assert names_in(Path(kept)) == ["old", "last"]


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="renames databases of PostgreSQL")
def test_postgresql_the_old_database_is_kept_under_another_name(tmp_path):
    make.company(name="Old")
    here = dict(connection.settings_dict)
    engine = engine_of(here)
    engine.copy(tmp_path / "copy")
    elsewhere = engine_of({**here, "NAME": f"{here['NAME']}_keeping"})
    try:
        elsewhere.create(elsewhere.database)
        kept = elsewhere.replace(tmp_path / "copy", "t")
        assert elsewhere.rows()["crew_company"] == 1
        assert kept == f"the database {elsewhere.database}_before_t"
        with elsewhere.connected(elsewhere.database), pytest.raises(Refusal, match="stop `serve`"):
            elsewhere.replace(tmp_path / "copy", "u")
        assert elsewhere.rows()["crew_company"] == 1
    finally:
        with connection.cursor() as cursor:
            for name in (elsewhere.database, f"{elsewhere.database}_before_t"):
                cursor.execute(f'DROP DATABASE IF EXISTS "{name}"')


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="the programs of PostgreSQL")
@pytest.mark.parametrize(
    ("said", "expected"), [(None, "not on the PATH"), ("pg_dump (PostgreSQL) 9.6.1", "is of version 9")]
)
def test_postgresql_programs_that_are_missing_or_too_old_are_told(tmp_path, monkeypatch, said, expected):
    if said:
        program = tmp_path / "pg_dump"
        program.write_text(f"#!/bin/sh\necho '{said}'\n")
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", str(tmp_path) + os.pathsep + "/nowhere")
    with pytest.raises(Refusal, match=expected):
        engine_of(connection.settings_dict).copy(tmp_path / "copy")


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="names are cut off by PostgreSQL")
def test_postgresql_a_long_name_never_becomes_that_of_the_database_itself():
    engine = engine_of({**connection.settings_dict, "NAME": "é" * 31})
    assert len(engine._beside("_check_1").encode()) <= 63
    assert engine._beside("_check_1").endswith("é_check_1")
