"""All that is held about a person as one file to take away: a sheet of each kind, and what its columns mean.

It is written to a temporary file row by row, so that it takes no more memory for twenty thousand readings than for one.
"""

from __future__ import annotations

import csv
import io
import tempfile
from datetime import datetime
from typing import IO
from zipfile import ZIP_DEFLATED, ZipFile

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates
from brewbar.crew import held
from brewbar.crew.held import Kind
from brewbar.crew.models import User
from brewbar.web.cells import neutral

README = "README.txt"


def written(user: User, now: datetime) -> IO[bytes]:
    """The file, open at its beginning; it is gone once it is closed."""
    target = tempfile.TemporaryFile()  # noqa: SIM115 - whoever sends it closes it
    numbers = {}
    with ZipFile(target, "w", ZIP_DEFLATED) as archive:
        for kind in held.kinds():
            numbers[kind.key] = _sheet(archive, kind, user)
        archive.writestr(README, _readme(user, now, numbers))
    target.seek(0)
    return target


def _sheet(archive: ZipFile, kind: Kind, user: User) -> int:
    """Write the file of one kind and say how many rows it has. The mark at its start is for spreadsheets."""
    number = 0
    with archive.open(kind.file, "w") as raw, io.TextIOWrapper(raw, "utf-8-sig", newline="") as text:
        sheet = csv.writer(text)
        sheet.writerow(kind.head)
        for cells in held.cells_of(kind, user):
            sheet.writerow([neutral(cell) for cell in cells])
            number += 1
    return number


def _readme(user: User, now: datetime, numbers: dict[str, int]) -> str:
    lines = [
        _("What brewbar holds about %(name)s, on %(day)s")
        % {"name": user.name, "day": dates.day(now.date(), year=True)},
        "",
        _(
            "Each file is a table in UTF-8, its columns parted by commas. Moments are in UTC, numbers with a point."
        ),
        _(
            'Where it says "you", that is you; "somebody else" is anybody else, unless you read their name here anyway.'
        ),
        _("A cell that would begin like a formula has an apostrophe before it."),
        besides(),
    ]
    for kind in held.kinds():
        number = numbers[kind.key]
        lines += ["", "", f"{kind.file}: {kind.title}", "=" * 40]
        lines += [
            ngettext("%(n)d row.", "%(n)d rows.", number) % {"n": number},
            str(kind.purpose),
            str(kind.keeps),
            "",
        ]
        lines += [f"  {held.heading(way)}: {said}" for way, said in kind.columns.items()]
        left_out = {name.replace("_", " "): str(why) for name, why in kind.left_out.items()}
        if kind.rest:
            left_out[_("everything else")] = str(kind.rest)
        lines += ["", _("  Not in it:")] + [f"  {name}: {why}" for name, why in left_out.items()]
    return "\r\n".join(lines) + "\r\n"


def besides() -> str:
    """What is held and is in none of the tables."""
    return _(
        "Besides these tables there are: a session for each device that you are signed in on, for thirty days; the "
        "server's log, in which you are a number; what colleagues typed as free text, which may name you; and backups, "
        "in which all of this stays as it was until they are deleted."
    )
