"""Brings a backup back."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from brewbar.keeping import archive, jobs
from brewbar.keeping.archive import Manifest


class Command(BaseCommand):
    help = "Verify a backup and put it in the place of the database. Stop `serve` first."
    requires_system_checks = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("path", type=Path, help="the file that `backup` wrote")
        parser.add_argument(
            "--overwrite", action="store_true", help="replace data that are there; they are kept beside"
        )
        parser.add_argument("--check", action="store_true", help="only verify; change nothing")

    def handle(self, *args: Any, path: Path, overwrite: bool, check: bool, **options: Any) -> None:
        path = path.expanduser()
        manifest = archive.read(path)
        self.stdout.write(
            f"{path}: made {manifest.made_at} by brewbar {manifest.version}, {manifest.total} rows."
        )
        if check:
            jobs.verify(path)
            self.stdout.write("It is sound: loaded into a scratch database and counted. Nothing was changed.")
            return
        self._compare(jobs.there_now(), manifest)
        restored = jobs.restore(path, timezone.now(), overwrite)
        self.stdout.write("Restored." + (f" What was here before: {restored.kept}" if restored.kept else ""))
        if restored.is_older:
            call_command("migrate", interactive=False, verbosity=0)
            self.stdout.write("It was of an older version, and was brought up to this one.")
        self.stdout.write(
            "Passwords, roles, links and tablets are again as they were then: look through crew and tablets for "
            "whoever has left since."
        )

    def _compare(self, here: Mapping[str, int] | None, manifest: Manifest) -> None:
        if here is None:
            self.stdout.write("Here now: a database that is too damaged to be read.")
        elif here:
            self.stdout.write(
                f"Here now: {sum(here.values())} rows. Where they differ, now and in the backup:"
            )
            for table in archive.differences(here, manifest.rows):
                self.stdout.write(f"  {table}: {here.get(table, 0)}, {manifest.rows.get(table, 0)}")
