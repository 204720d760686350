"""An invented café to look around in, on a database of its own that may be thrown away at any time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from brewbar import address, serving
from brewbar.refusal import Refusal
from calibration import demo_data


class Command(BaseCommand):
    help = "Serve an invented café with ten weeks of readings; real data are never touched."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        address.add_arguments(parser)

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        if not (settings.DEMO and settings.SERVING):
            raise Refusal("The demo is started by `python3 manage.py demo`.")
        address.refuse_unless_free(host, port)
        self.prepare_scenario(datetime.now().astimezone().date())
        accounts = demo_data.fresh_passwords()
        connection.close()
        if serving.collect_static():
            self.stdout.write("Static files collected.")
        rows = [(who.name, who.role, who.cafe, who.username, who.password) for who in accounts]
        self.stdout.write(
            "\nEverything here is invented. Sign in as one of these; the passwords are new today:\n"
        )
        self.stdout.write(table(("Name", "Role", "Café", "Username", "Password"), rows))
        self.stdout.write(f"\nOpen {settings.BASE_URL} (Ctrl-C stops it).")
        serving.listen(host, port)

    def prepare_scenario(self, today: date) -> None:
        built = built_on()
        if built == today:
            return
        self.stdout.write(
            f"The demo was made on {built:%d.%m.%Y}; it is made anew, so that it ends today."
            if built
            else "Making the demo: a company, its crew, and ten weeks of readings."
        )
        throw_away_database()
        call_command("migrate", interactive=False, verbosity=0)
        demo_data.rebuild(today)


def built_on() -> date | None:
    """The day the demo was made for; None where there is none, or one of another version of the tables."""
    try:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return None
        return demo_data.built_on()
    except DatabaseError:
        return None


def throw_away_database() -> None:
    connection.close()
    for ending in ("", "-wal", "-shm"):
        (settings.DATA_DIR / f"brewbar.sqlite3{ending}").unlink(missing_ok=True)


def table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    widths = [max(len(cell) for cell in column) for column in zip(heads, *rows, strict=True)]
    lines = [heads, tuple("─" * width for width in widths), *rows]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )
