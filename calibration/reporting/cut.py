"""Which data a report rests on, and a digest by which two reports are known to hold the same numbers."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from typing import Any

from django.db.models import Count, Max, Q

from brewbar import __version__
from calibration.models import Reading
from calibration.reporting.ground import Ground
from calibration.reporting.result import Cut, Report, Table


def counts(ground: Ground) -> Cut:
    """What was saved in the span, before the digest is known. One query."""
    asked = ground.asked
    rows = Reading.objects.filter(
        company=asked.company,
        cafe__in=[cafe.pk for cafe in asked.cafes],
        business_day__range=(asked.first, asked.last),
    )
    corrected = Reading.objects.filter(corrects__gt=0).values("corrects")
    found = rows.aggregate(
        readings=Count("pk"),
        voided=Count("pk", filter=Q(voided_at__isnull=False)),
        corrected=Count("pk", filter=Q(pk__in=corrected)),
        rebrewed=Count("pk", filter=Q(attempt=Reading.Attempt.REBREW)),
        last_entered=Max("entered_at"),
    )
    inside = ground.everybody.between(asked.first, asked.last)
    return Cut(counted=inside.brews, version=__version__, digest="", **found)


def sealed(report: Report) -> Report:
    return replace(report, cut=replace(report.cut, digest=digest_of(report)))


def _rows(table: Table) -> list[list[Any]]:
    """People without what they are called: letters follow a secret of each installation."""
    rows = [list(row) for row in table.numbers]
    if table.key != "people":
        return rows
    who = table.csv_head.index("person")
    return sorted((row[:who] + row[who + 1 :] for row in rows), key=repr)


def digest_of(report: Report) -> str:
    """SHA-256 of the numbers of all tables and of what the sentences conclude, in JSON that is written one way alone.

    Words are left out, which follow the reader's language and style; each of their numbers stands in a table.
    """
    cut = report.cut
    said: dict[str, Any] = {
        "span": [report.asked.first.isoformat(), report.asked.last.isoformat()],
        "cafes": [cafe.name for cafe in report.asked.cafes],
        "cut": [cut.readings, cut.counted, cut.voided, cut.corrected, cut.rebrewed],
        "last_entered": cut.last_entered.isoformat() if cut.last_entered else None,
        "sentences": [[sentence.key, sentence.sure.value] for sentence in report.sentences],
        "tables": {table.key: [list(table.csv_head), *_rows(table)] for table in report.tables},
    }
    written = json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(written.encode()).hexdigest()
