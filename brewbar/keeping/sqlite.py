"""SQLite: its online backup copies one state of the database while others write."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from brewbar.keeping import disk
from brewbar.refusal import Refusal

BUSY_S = 20
NOT_COUNTED = frozenset({"sqlite_sequence"})
LOGS = ("-wal", "-shm", "-journal")
"""What may stand beside a database and belongs to it alone."""


class SQLite:
    name = "sqlite"

    def __init__(self, path: Path) -> None:
        self.path = path

    def copy(self, target: Path) -> dict[str, int]:
        if not self.path.is_file():
            raise Refusal(f"There is no database at {self.path}, so there is nothing to back up.")
        try:
            with _open(self.path) as source, _open(target) as copy:
                # All pages in one step: in WAL mode others read and write on meanwhile.
                source.backup(copy, pages=-1)
                copy.execute("PRAGMA journal_mode=DELETE")
        except sqlite3.DatabaseError as error:
            raise Refusal(f"The database at {self.path} cannot be copied ({error}).") from error
        return self.try_out(target)

    def try_out(self, source: Path) -> dict[str, int]:
        try:
            with _open(source) as copy:
                if copy.execute("PRAGMA integrity_check").fetchone() != ("ok",):
                    raise Refusal("The copy of the database is damaged (integrity_check).")
                if copy.execute("PRAGMA foreign_key_check").fetchone():
                    raise Refusal("The copy of the database has rows that refer to nothing.")
                return _counted(copy)
        except sqlite3.DatabaseError as error:
            raise Refusal(f"The copy of the database cannot be read ({error}).") from error

    def rows(self) -> dict[str, int] | None:
        if not self.path.is_file():
            return {}
        try:
            with _open(self.path) as there:
                return _counted(there)
        except sqlite3.OperationalError as error:
            raise Refusal(f"The database at {self.path} does not answer ({error}).") from error
        except sqlite3.DatabaseError:
            return None

    def replace(self, source: Path, stamp: str) -> str:
        ready = self.path.with_name(f"{self.path.name}.new")
        try:
            shutil.copyfile(source, ready)
            ready.chmod(0o600)
            disk.flush(ready)
            return self._swap(ready, stamp)
        except OSError as error:
            raise Refusal(f"{self.path} cannot be replaced ({error.strerror}).") from error
        finally:
            ready.unlink(missing_ok=True)
            disk.flush(self.path.parent)

    def _swap(self, ready: Path, stamp: str) -> str:
        if not self.path.is_file():
            ready.replace(self.path)
            return ""
        old = self.path.with_name(f"{self.path.stem}-before-{stamp}{self.path.suffix}")
        try:
            with _open(self.path) as there:
                # Leaving WAL needs every other connection gone, and writes all of its log into the file.
                if there.execute("PRAGMA journal_mode=DELETE").fetchone()[0] != "delete":
                    raise sqlite3.OperationalError("in use")
                there.execute("BEGIN EXCLUSIVE")
                os.link(self.path, old)
                ready.replace(self.path)
        except sqlite3.OperationalError as error:
            raise Refusal(
                "The database is in use, so it was left as it is: stop `serve`, then restore again."
            ) from error
        except sqlite3.DatabaseError:
            # Too damaged to be opened. A log left beside would be read into the new database.
            for ending in LOGS:
                log = self.path.with_name(self.path.name + ending)
                if log.exists():
                    log.replace(old.with_name(old.name + ending))
            os.link(self.path, old)
            ready.replace(self.path)
        return str(old)


@contextmanager
def _open(path: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)) as connection:
        yield connection


def _counted(connection: sqlite3.Connection) -> dict[str, int]:
    tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
    return {
        name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]
        for (name,) in tables.fetchall()
        if name not in NOT_COUNTED
    }
