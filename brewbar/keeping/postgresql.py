"""PostgreSQL: pg_dump, in the snapshot in which the rows were counted."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from brewbar.refusal import Refusal

LIBPQ = {
    "host": "PGHOST",
    "port": "PGPORT",
    "user": "PGUSER",
    "password": "PGPASSWORD",
    "passfile": "PGPASSFILE",
    "service": "PGSERVICE",
    "sslmode": "PGSSLMODE",
    "sslrootcert": "PGSSLROOTCERT",
    "sslcert": "PGSSLCERT",
    "sslkey": "PGSSLKEY",
}
"""What leads to a server, as a keyword of a connection and as the variable its programs read (libpq)."""
MAINTENANCE = "postgres"
NEVER_ASK = "--no-password"
LONGEST_NAME = 63
IN_USE = "The database is in use, so it was left as it is: stop `serve`, then restore again."


class PostgreSQL:
    name = "postgresql"

    def __init__(self, settings: Mapping[str, Any]) -> None:
        self.database = str(settings["NAME"])
        # DATABASE_URL may carry any of these behind its question mark.
        options = settings.get("OPTIONS", {})
        given = {keyword: settings.get(keyword.upper()) or options.get(keyword) for keyword in LIBPQ}
        self.where = {keyword: value for keyword, value in given.items() if value}

    def copy(self, target: Path) -> dict[str, int]:
        with self.connected(self.database) as connection:
            self._refuse_older_programs(connection.info.server_version // 10_000)
            connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            snapshot = connection.execute("SELECT pg_export_snapshot()").fetchone()[0]
            rows = _counted(connection)
            self._run(
                *("pg_dump", NEVER_ASK, "--format=custom", "--no-owner", "--no-privileges"),
                *(f"--snapshot={snapshot}", f"--file={target}", f"--dbname={self.database}"),
            )
            connection.execute("ROLLBACK")
        return rows

    def try_out(self, source: Path) -> dict[str, int]:
        scratch = self._beside(f"_check_{os.getpid()}")
        self.create(scratch)
        try:
            self._load(source, scratch)
            with self.connected(scratch) as connection:
                return _counted(connection)
        finally:
            self._drop(scratch)

    def rows(self) -> dict[str, int] | None:
        with self.connected(self.database) as connection:
            return _counted(connection)

    def replace(self, source: Path, stamp: str) -> str:
        new, old = self._beside(f"_new_{os.getpid()}"), self._beside(f"_before_{stamp}")
        self.create(new)
        try:
            self._load(source, new)
            self._swap(new, old)
        except BaseException:
            self._drop(new)
            raise
        return f"the database {old}"

    def _swap(self, new: str, old: str) -> None:
        from psycopg import errors

        here = _quoted(self.database)
        with self.connected(MAINTENANCE) as connection:
            try:
                # Two renames are one transaction: there is no moment without a database.
                with connection.transaction():
                    connection.execute(f"ALTER DATABASE {here} RENAME TO {_quoted(old)}")
                    connection.execute(f"ALTER DATABASE {_quoted(new)} RENAME TO {here}")
            except errors.ObjectInUse as error:
                raise Refusal(IN_USE) from error

    def create(self, name: str) -> None:
        from psycopg import errors

        with self.connected(MAINTENANCE) as connection:
            try:
                connection.execute(f"CREATE DATABASE {_quoted(name)} TEMPLATE template0 ENCODING 'UTF8'")
            except errors.InsufficientPrivilege as error:
                raise Refusal(
                    f"{self.where.get('user', 'This user')} may not create a database, which checking and "
                    "restoring need: allow it with `ALTER ROLE … CREATEDB`, or back up with --no-check."
                ) from error

    def _drop(self, name: str) -> None:
        with self.connected(MAINTENANCE) as connection:
            connection.execute(f"DROP DATABASE IF EXISTS {_quoted(name)}")

    def _beside(self, ending: str) -> str:
        """The server cuts longer names off, and two could become one."""
        room = LONGEST_NAME - len(ending)
        return self.database.encode()[:room].decode(errors="ignore") + ending

    def _load(self, source: Path, name: str) -> None:
        self._run("pg_restore", NEVER_ASK, "--exit-on-error", "--no-owner", f"--dbname={name}", str(source))

    @contextmanager
    def connected(self, name: str) -> Iterator[Any]:
        import psycopg

        try:
            connection = psycopg.connect(dbname=name, autocommit=True, **self.where)
        except psycopg.OperationalError as error:
            said = (str(error).splitlines() or [""])[-1].strip()
            raise Refusal(f"The database {name} does not answer ({said}).") from error
        with connection:
            yield connection

    def _refuse_older_programs(self, server: int) -> None:
        said = self._run("pg_dump", "--version")
        found = re.search(r"\d+", said)
        if found and int(found[0]) < server:
            raise Refusal(
                f"pg_dump on the PATH is of version {found[0]}, and the server of {server}: install the client "
                f"programs of PostgreSQL {server}, and put their folder first on the PATH."
            )

    def _run(self, program: str, *words: str) -> str:
        # By the environment, since arguments can be read by others on the machine, and one is a password.
        named = {LIBPQ[keyword]: str(value) for keyword, value in self.where.items()}
        done = subprocess.run(
            [_found(program), *words],
            env={**os.environ, **named},
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            last = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
            raise Refusal(f"{program} did not succeed: {last}")
        return done.stdout


def _found(program: str) -> str:
    if found := shutil.which(program):
        return found
    raise Refusal(
        f"{program} is not on the PATH: install the client programs of PostgreSQL, as new as its server."
    )


def _counted(connection: Any) -> dict[str, int]:
    tables = connection.execute(
        "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename"
    ).fetchall()
    return {
        name: connection.execute(f"SELECT count(*) FROM {_quoted(name)}").fetchone()[0] for (name,) in tables
    }


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
