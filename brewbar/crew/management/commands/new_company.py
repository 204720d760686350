"""Opens a company from the console, where a script does it or it is not the first; see `first_start` for the page."""

from __future__ import annotations

from getpass import getpass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from brewbar.crew.founding import open_company


class Command(BaseCommand):
    help = "Open a company with its first café and its owner. What is not given is asked for."

    def add_arguments(self, parser: CommandParser) -> None:
        for option, text in (
            ("company", "the company's name"),
            ("cafe", "the first café's name"),
            ("time-zone", "such as Europe/Lisbon"),
            ("altitude", "of the café in metres: it sets the boiling point"),
            ("username", "what the owner signs in with"),
            ("name", "the owner's name"),
        ):
            parser.add_argument(f"--{option}", help=text)

    def handle(self, *args: Any, **given: Any) -> None:
        def asked(key: str, question: str) -> str:
            return given[key] or input(f"{question}: ")

        try:
            cafe = open_company(
                company=asked("company", "Company"),
                cafe=asked("cafe", "First café"),
                time_zone=asked("time_zone", "Time zone (such as Europe/Lisbon)"),
                altitude_m=int(asked("altitude", "Altitude in metres")),
                username=asked("username", "Sign-in name of the owner"),
                name=asked("name", "Name of the owner"),
                password=getpass("Password of the owner: "),
            )
        except ValidationError as refused:
            raise CommandError(" ".join(refused.messages)) from refused
        except ValueError as refused:
            raise CommandError("The altitude is a whole number of metres, such as 120.") from refused
        self.stdout.write(
            f"{cafe.company} is open, with {cafe}. Add the crew: python manage.py new_person --help"
        )
