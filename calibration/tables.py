"""Results as CSV, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from django.http import HttpResponse

from brewbar.web.cells import neutral


def csv_text(head: Sequence[Any], rows: Iterable[Sequence[Any]]) -> str:
    """In UTF-8 it begins with a mark, which spreadsheets want in order to read accents."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow([str(cell) for cell in head])
    for row in rows:
        writer.writerow([neutral("" if cell is None else cell) for cell in row])
    return "\ufeff" + text.getvalue()


def csv_response(name: str, head: Sequence[Any], rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """A download ``name``.csv."""
    answer = HttpResponse(csv_text(head, rows), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return answer
