"""The report as files: a CSV of each table, and all of them in one zip with what the report says.

The same report gives the same bytes.
"""

from __future__ import annotations

import io
import json
import os
import secrets
import zipfile
from dataclasses import asdict
from pathlib import Path

from django.core.serializers.json import DjangoJSONEncoder
from django.utils.text import slugify

from calibration.report_print import moment_of
from calibration.reporting.result import Report, Table
from calibration.tables import csv_text

SAYS = "report.json"
EARLIEST = (1980, 1, 1, 0, 0, 0)
"""No file in a zip can be older, by the format's own dates."""


def called(report: Report) -> str:
    """What a file of the report is called, without its ending."""
    asked = report.asked
    place = asked.cafes[0].name if len(asked.cafes) == 1 else asked.company.name
    return slugify(f"{place} {asked.first} {asked.last}") or "report"


def as_csv(table: Table) -> bytes:
    return csv_text(table.csv_head, table.numbers).encode()


def as_json(report: Report) -> bytes:
    """What it says and what it rests on, for machines; the numbers stand in the tables beside it."""
    asked = report.asked
    said = {
        "title": report.title,
        "company": asked.company.name,
        "cafes": [cafe.name for cafe in asked.cafes],
        "first": asked.first,
        "last": asked.last,
        "before": asked.before,
        "sentences": [asdict(sentence) for sentence in report.sentences],
        "next": report.next,
        "sections": [
            {
                "key": section.key,
                "title": section.title,
                "says": section.says,
                "notes": section.notes,
                "table": f"{section.table.key}.csv" if section.table else None,
            }
            for section in report.sections
        ],
        "notes": report.notes,
        "people_note": report.people_note,
        "cut": asdict(report.cut),
    }
    return (json.dumps(said, cls=DjangoJSONEncoder, ensure_ascii=False, indent=2) + "\n").encode()


def files_of(report: Report) -> dict[str, bytes]:
    return {SAYS: as_json(report)} | {f"{table.key}.csv": as_csv(table) for table in report.tables}


def as_zip(report: Report) -> bytes:
    packed = io.BytesIO()
    stamp = max(EARLIEST, moment_of(report).timetuple()[:6])
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files_of(report).items():
            archive.writestr(zipfile.ZipInfo(name, stamp), content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def write(path: Path, content: bytes) -> None:
    """Whole or not at all: whoever reads ``path`` meanwhile finds what was there before."""
    made = path.parent / f".{path.name}.{secrets.token_hex(4)}"
    try:
        with made.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        made.replace(path)
    finally:
        made.unlink(missing_ok=True)
