"""Sets words as pages with typst. Pure: no Django.

Every word and figure goes to typst as data (`sys_inputs`), never into its source, so nothing that somebody typed can
become part of the drawing's program.
"""

from __future__ import annotations

import json
import re
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

import typst

from brewbar.glyphs import FONT_DIR, as_drawn

ROOT = Path(__file__).resolve().parent.parent
ZERO_WIDTH_SPACE = "\N{ZERO WIDTH SPACE}"
_LONG_WORD = re.compile(r"\S{24,}")


def typeset(
    drawing: Path,
    job: dict[str, Any],
    now: datetime,
    file_format: Literal["pdf", "svg", "png"] = "pdf",
    *,
    ppi: float | None = None,
    standard: Literal["ua-1"] | None = None,
) -> bytes:
    """The drawing of a job as a file. The same job at the same `now` gives the same bytes.

    ppi: the sharpness of a png; standard: what a pdf keeps to, or typst refuses it.
    """
    if now.tzinfo is None:
        raise ValueError("The time of printing needs a time zone.")
    return typst.compile(
        drawing,
        root=ROOT,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        format=file_format,
        ppi=ppi,
        sys_inputs={"job": json.dumps(job)},
        pdf_standards=standard,
        timestamp=int(now.timestamp()),
    )


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONT_DIR)])


def settable(value: Any) -> Any:
    """Every text in it as it is set, with places to break a word that is too long for a narrow column."""
    match value:
        case str():
            return _LONG_WORD.sub(lambda word: _breakable(word[0]), as_drawn(value))
        case list() | tuple():
            return [settable(item) for item in value]
        case dict():
            return {key: settable(item) for key, item in value.items()}
    return value


def _breakable(word: str) -> str:
    pieces = re.split(r"(?<=[-./:_])", word)
    return ZERO_WIDTH_SPACE.join(
        ZERO_WIDTH_SPACE.join(piece) if _LONG_WORD.match(piece) else piece for piece in pieces
    )
