"""Everything a company owns, as one file."""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from brewbar.crew.models import Company
from brewbar.refusal import Refusal
from calibration.exporting import handing_over, meanings, writing
from calibration.exporting.tables import tables


class Command(BaseCommand):
    help = (
        "Write everything that a company has in brewbar into one zip of tables, which an empty brewbar takes in again "
        "with `take_in`. It holds names and results: keep it where only those can read it who may."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--company", metavar="NAME", help="the company, where there are several")
        parser.add_argument("--to", type=Path, metavar="FILE", help="the zip to write; none may be there yet")
        parser.add_argument(
            "--dictionary", action="store_true", help="only print what every column of the tables is, as CSV"
        )

    def handle(self, *args: Any, **given: Any) -> None:
        if given["dictionary"]:
            csv.writer(self.stdout, lineterminator="\n").writerows(
                [meanings.HEAD, *meanings.dictionary(tables())]
            )
            return
        if given["to"] is None:
            raise Refusal("Where to? Say --to with the name of a file, such as --to company.zip.")
        path = given["to"].expanduser()
        company = _company(given["company"])
        rows = _write(company, path)
        self.stdout.write(f"{path}: {rows:,} rows of {company}. It holds names and results: keep it safe.")


def _write(company: Company, path: Path) -> int:
    """Into a file beside it first, so that what stands there is whole."""
    if path.exists():
        raise Refusal(f"{path} is there already: name another file.")
    partly = path.with_name(f"{path.name}.being-made")
    try:
        descriptor = os.open(partly, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
    except OSError as error:
        raise Refusal(
            f"--to is {path}, which cannot be written ({error.strerror}): name another, or make its folder first."
        ) from error
    try:
        with os.fdopen(descriptor, "w+b") as file:
            numbers = writing.write(company, file, timezone.now())
            file.flush()
            os.fsync(file.fileno())
        handing_over.note(company, by=None)
        partly.replace(path)
    except OSError as error:
        raise Refusal(f"{path} could not be written ({error.strerror}).") from error
    finally:
        partly.unlink(missing_ok=True)
    return sum(number for name, number in numbers.items() if name.endswith(".csv"))


def _company(name: str | None) -> Company:
    companies = list(Company.objects.order_by("name"))
    if not companies:
        raise Refusal("There is no company yet: python3 manage.py serve opens the first one.")
    wanted = [one for one in companies if name is None or one.name.casefold() == name.strip().casefold()]
    if len(wanted) == 1:
        return wanted[0]
    known = ", ".join(one.name for one in companies)
    if name is None:
        raise Refusal(f"Which company? Say --company with one of: {known}.")
    raise Refusal(f"There is no company called {name}. Known: {known}.")
