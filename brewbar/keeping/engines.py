"""What backing up asks of a database, whichever engine it is."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from brewbar.keeping.postgresql import PostgreSQL
from brewbar.keeping.sqlite import SQLite

Rows = dict[str, int]


class Engine(Protocol):
    """One database, named by Django's settings for it."""

    name: str

    def copy(self, target: Path) -> Rows:
        """One consistent state of the database into ``target``, and how many rows each table has in it."""

    def try_out(self, source: Path) -> Rows:
        """Load a copy into a scratch database and count it there. Raises Refusal if it is not sound."""

    def rows(self) -> Rows | None:
        """How many rows each table has now: empty where there is no database yet, None where it is damaged."""

    def replace(self, source: Path, stamp: str) -> str:
        """Put the copy in the place of the database, and say where the old one is kept ("" if none was)."""


def engine_of(settings: Mapping[str, Any]) -> Engine:
    """For one of Django's DATABASES."""
    return SQLite(Path(settings["NAME"])) if "sqlite3" in settings["ENGINE"] else PostgreSQL(settings)
