"""The dictionary as README.md shows it: a folded list for each kind of row."""

from __future__ import annotations

import html
import re

from calibration.exporting.meanings import NEVER, about, dictionary
from calibration.exporting.tables import Table, tables

BEGIN = "<!-- dictionary: written by python3 manage.py export --readme -->"
END = "<!-- end of the dictionary -->"


def renewed(text: str) -> str:
    """``text`` of the README with the dictionary of today in the place of the one it has."""
    before, _begin, rest = text.partition(BEGIN)
    _old, end, after = rest.partition(END)
    if not end:
        raise ValueError(f"README.md has no place for the dictionary: {BEGIN} … {END}")
    folded = "\n\n".join(_folded(table) for table in tables())
    return f"{before}{BEGIN}\n\n{folded}\n\n{END}{after}"


def _folded(table: Table) -> str:
    summary = f"<summary><code>{table.file}</code> {html.escape(about(table), quote=False)}</summary>"
    columns = "\n".join(
        f"- `{column}` ({_kind(kind, unit, empty)}): {_plain(meaning)}"
        for _table, column, kind, unit, meaning, empty in dictionary([table])[1:]
    )
    return f"<details>{summary}\n\n{columns}\n\n</details>"


def _kind(kind: str, unit: str, empty: str) -> str:
    return ", ".join([kind, *([unit] if unit else []), *([] if empty == NEVER else ["or empty"])])


def _plain(text: str) -> str:
    """As text, whatever Markdown would make of it."""
    return re.sub(r"([\\*_`\[\]])", r"\\\1", html.escape(text, quote=False))
