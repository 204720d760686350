"""Adds a person to a café."""

from __future__ import annotations

from getpass import getpass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from brewbar.crew.founding import add_person
from brewbar.crew.models import Cafe, Role


class Command(BaseCommand):
    help = "Add a person to a café; the password is asked for."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--company", required=True, help="the company's name")
        parser.add_argument("--cafe", required=True, help="the café's name")
        parser.add_argument("--role", required=True, choices=Role.values)
        parser.add_argument("--username", required=True, help="what the person signs in with")
        parser.add_argument("--name", required=True, help="the person's name")

    def handle(self, *args: Any, **given: Any) -> None:
        cafe = Cafe.objects.filter(company__name=given["company"], name=given["cafe"]).first()
        if cafe is None:
            known = ", ".join(f"{c.company} / {c}" for c in Cafe.objects.select_related("company")) or "none"
            raise CommandError(f"There is no café {given['cafe']} of {given['company']}. Known: {known}.")
        try:
            membership = add_person(
                cafe=cafe,
                role=Role(given["role"]),
                username=given["username"],
                name=given["name"],
                password=getpass(f"Password for {given['name']}: "),
            )
        except ValidationError as refused:
            raise CommandError(" ".join(refused.messages)) from refused
        self.stdout.write(f"Added: {membership}.")
