"""Everything a company owns, as one file."""

from __future__ import annotations

import csv
import os
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.bootstrap import ROOT
from brewbar.crew import record
from brewbar.crew.models import Change, Company
from brewbar.crew.which_company import which_company
from brewbar.refusal import Refusal
from calibration.exporting import markdown, meanings, writing
from calibration.exporting.tables import tables


class Command(BaseCommand):
    help = (
        "Write everything that a company has in brewbar into one zip of tables, which an empty brewbar takes in again "
        "with `take_in`. It holds names and results: keep it where only those can read it who may. That it was written "
        "stands in the record, and everybody of the company can see it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--company", metavar="NAME", help="the company, where there are several")
        parser.add_argument("--to", type=Path, metavar="FILE", help="the zip to write; none may be there yet")
        parser.add_argument(
            "--without-people",
            action="store_true",
            help="only what the bar works with: recipes, coffees, boards, equipment; for reading, not for take_in",
        )
        parser.add_argument(
            "--dictionary", action="store_true", help="only print what every column of the tables is, as CSV"
        )
        parser.add_argument(
            "--readme",
            action="store_true",
            help="only write that into README.md, for whoever changes the models",
        )

    def handle(self, *args: Any, **given: Any) -> None:
        if given["readme"]:
            path = ROOT / "README.md"
            path.write_text(markdown.renewed(path.read_text(encoding="utf-8")), encoding="utf-8")
            return
        if given["dictionary"]:
            csv.writer(self.stdout, lineterminator="\n").writerows(
                [meanings.HEAD, *meanings.dictionary(tables())]
            )
            return
        if given["to"] is None:
            raise Refusal("Where to? Say --to with the name of a file, such as --to company.zip.")
        path = given["to"].expanduser()
        company = which_company(given["company"])
        whole = not given["without_people"]
        rows = _write(company, path, whole)
        holds = (
            "It holds names and results: keep it safe." if whole else "It holds neither people nor results."
        )
        self.stdout.write(f"{path}: {rows:,} rows of {company}. {holds}")


def _write(company: Company, path: Path, whole: bool) -> int:
    """Into a file beside it first, so that what stands there is whole."""
    if path.exists():
        raise Refusal(f"{path} is there already: name another file.")
    try:
        # A new one for its owner alone, whatever stands there by any name.
        descriptor, made = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    except OSError as error:
        raise Refusal(
            f"--to is {path}, which cannot be written ({error.strerror}): name another, or make its folder first."
        ) from error
    partly = Path(made)
    try:
        with os.fdopen(descriptor, "w+b") as file:
            numbers = writing.write(company, file, timezone.now(), whole)
            file.flush()
            os.fsync(file.fileno())
        if whole:
            _note(company)
        partly.replace(path)
    except OSError as error:
        raise Refusal(f"{path} could not be written ({error.strerror}).") from error
    finally:
        partly.unlink(missing_ok=True)
    return sum(number for name, number in numbers.items() if name.endswith(".csv"))


@transaction.atomic
def _note(company: Company) -> None:
    """For everybody whom it concerns to read."""
    what = _("exported everything of")
    record.note(company=company, about=Change.About.EXPORT, what=what, subject=company, by=None)
