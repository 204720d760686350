from __future__ import annotations

import json
import sys
from argparse import RawDescriptionHelpFormatter
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from textwrap import indent
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from calibration.studies.answer import Answer
from calibration.studies.options import FILES, KINDS, Kind
from calibration.studies.sheet import MOST_BYTES, Sheet, Unusable, read

BY_NAME = {kind.name: kind for kind in KINDS}


class Command(BaseCommand):
    help = "Statistics of a spreadsheet: who and what makes readings differ, charts, scores, gauges. Needs no database."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.formatter_class = RawDescriptionHelpFormatter
        kinds = parser.add_subparsers(dest="study", metavar="KIND", required=True, title="kinds of study")
        everything = []
        for kind in KINDS:
            of_kind = kinds.add_parser(
                kind.name,
                help=kind.does,
                description=kind.does,
                epilog="\n".join(_answers(kind)),
                formatter_class=RawDescriptionHelpFormatter,
            )
            if kind.reads_file:
                of_kind.add_argument(
                    "file", metavar="FILE.csv", help="the spreadsheet; - reads standard input"
                )
            kind.arguments(of_kind)
            of_kind.add_argument("--json", action="store_true", help="the same for a machine, unrounded")
            everything += [_without_frame(of_kind.format_help())]
        parser.epilog = "\n".join([*everything, FILES])

    def handle(self, *args: Any, **given: Any) -> None:
        kind = BY_NAME[given["study"]]
        name = given.get("file", "")
        try:
            sheet = read(_bytes_of(name)) if kind.reads_file else None
            answer = _study(kind, sheet, given)
        except OSError as error:
            raise CommandError(f"{name} cannot be read: {error.strerror}.", returncode=2) from error
        except ValueError as error:
            faults = error.faults if isinstance(error, Unusable) else (str(error),)
            what = f"{name} does not serve for this study." if name else "This cannot be reckoned."
            raise CommandError(
                "\n".join([what, *(f"  {fault}" for fault in faults)]), returncode=2
            ) from error
        if not given["json"]:
            self.stdout.write(answer.text)
            return
        self.stdout.write(json.dumps(answer.for_machines, allow_nan=False))
        if "notes" not in answer.keys:
            for note in answer.notes:
                self.stderr.write(note)


def _study(kind: Kind, sheet: Sheet | None, given: dict[str, Any]) -> Answer:
    # only the kind that is asked for loads what it needs
    answer: Answer = import_module(f"calibration.studies.{kind.name}").study(sheet, given)
    return answer


def _answers(kind: Kind) -> Iterator[str]:
    yield "With --json:"
    yield indent(kind.keys, "  ")
    if kind.reads_file:
        yield FILES


def _without_frame(help_: str) -> str:
    """A kind's help, without what is said of all files at its end."""
    return help_.removesuffix(FILES).rstrip() + "\n\n" + 78 * "-" + "\n"


def _bytes_of(name: str) -> bytes:
    """No more than it takes to see that a file is too large."""
    if name == "-":
        return sys.stdin.buffer.read(MOST_BYTES + 1)
    with Path(name).open("rb") as file:
        return file.read(MOST_BYTES + 1)
