"""Cells of a CSV file, safe to open in a spreadsheet."""

from __future__ import annotations

from typing import Any

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def neutral(cell: Any) -> Any:
    """``cell`` as a spreadsheet takes it for text, never for a formula; a number stays a number.

    OWASP, CSV Injection: cells that begin with = + - @, tab or line break get an apostrophe before them.
    """
    if isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return f"'{cell}"
    return cell
