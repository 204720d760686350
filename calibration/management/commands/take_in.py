"""Takes an export in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser

from calibration.exporting.taking_in import take_in


class Command(BaseCommand):
    help = "Take everything of a company, as `export` wrote it, into a brewbar that has no company yet."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("path", type=Path, metavar="FILE", help="the zip that `export` wrote")

    def handle(self, *args: Any, path: Path, **options: Any) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        taken = take_in(path.expanduser())
        made = f"made {taken.manifest.made_at} by brewbar {taken.manifest.brewbar}"
        self.stdout.write(f"{taken.company} is here: {taken.rows:,} rows, {made}. Nothing was changed.")
        self.stdout.write(
            "Passwords, PINs and the keys of links, tablets and programs are in no export. Take back the links, "
            "tablets and keys that still stand, and make new ones."
        )
        if taken.owners:
            self.stdout.write("With such a link an owner chooses a new password, and lets the others in:")
            for username in taken.owners:
                self.stdout.write(f"  python3 manage.py new_owner_link --for {username}")
        else:
            self.stdout.write("Nobody owns it: python3 manage.py new_owner_link makes somebody an owner.")
