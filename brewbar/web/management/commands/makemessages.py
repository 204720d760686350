"""`python manage.py makemessages`: every word into every catalogue of brewbar/locale. Needs GNU gettext."""

from __future__ import annotations

from typing import Any

from django.core.management import CommandParser
from django.core.management.commands import makemessages


class Command(makemessages.Command):
    """Django's own, told where there are no words; without line numbers, which would differ with every change."""

    msgmerge_options = [*makemessages.Command.msgmerge_options, "--no-fuzzy-matching"]

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.set_defaults(
            ignore_patterns=[".venv", "data", "tests", "node_modules"],
            no_location=True,
            no_obsolete=True,
            no_wrap=True,
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["locale"]:
            options["all"] = True
        super().handle(*args, **options)
