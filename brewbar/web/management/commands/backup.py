"""Writes everything an installation keeps into one file, while it runs."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from brewbar.keeping import jobs


class Command(BaseCommand):
    help = "Back up database and secret key into one file, and check that it can be restored."
    # Whatever does not fit together here is no reason to be without a backup.
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "path", type=Path, help="a folder, where the file is named by its time; or a file"
        )
        parser.add_argument(
            "--keep", type=_at_least_one, metavar="N", help="remove all but the newest N of the folder"
        )
        parser.add_argument(
            "--no-check", action="store_true", help="do not load it into a scratch database afterwards"
        )

    def handle(self, *args: Any, path: Path, keep: int | None, no_check: bool, **options: Any) -> None:
        made = jobs.back_up(path.expanduser(), timezone.now(), keep, check=not no_check)
        self.stdout.write(f"{made.path}: {made.manifest.total} rows in {len(made.manifest.rows)} tables.")
        self.stdout.write(
            "Restored into a scratch database and counted." if made.is_checked else "Not checked."
        )
        for old in made.removed:
            self.stdout.write(f"Removed {old.name}.")


def _at_least_one(text: str) -> int:
    if not text.isdecimal() or not int(text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of backups to keep, such as 14")
    return int(text)
