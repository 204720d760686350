"""Type read back from a card: from the PDF's own drawing commands, with the widths that its fonts state.

ISO 32000-1 has the commands and the widths under "Text"; so a line's place does not rest on the card's own
arithmetic.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import Any

import pypdf
from pypdf.generic import ByteStringObject, TextStringObject

CAPITAL = 0.66  # cap height of the card's font, in ems: OS/2 table of its files, 660 units of 1000


@dataclass(frozen=True)
class Line:
    """A piece of type: its left and right end and its baseline from the lower left corner, and its size, in points."""

    left: float
    right: float
    baseline: float
    size: float

    @property
    def top(self) -> float:
        return self.baseline + CAPITAL * self.size


def lines_of(pdf: bytes) -> list[Line]:
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    fonts = {name: Font.of(font.get_object()) for name, font in page["/Resources"]["/Font"].items()}
    lines: list[Line] = []
    pen: dict[str, Any] = {}

    def visit(operator: bytes, operands: Any, cm: list[float], tm: list[float]) -> None:
        if operator == b"Tf":
            pen.update(font=fonts[operands[0]], size=float(operands[1]))
        elif operator == b"Tm":
            pen.update(x=float(operands[4]))
        elif operator in (b"Tj", b"TJ"):
            written = pen["font"].width(operands[0] if operator == b"TJ" else operands) * pen["size"]
            left, right = (cm[4] + x * abs(cm[0]) for x in (pen["x"], pen["x"] + written))
            lines.append(Line(left, right, cm[5], pen["size"] * abs(cm[3])))

    page.extract_text(visitor_operand_before=visit)
    return lines


@dataclass(frozen=True)
class Font:
    widths: dict[int, float]
    spaces: frozenset[int]

    @classmethod
    def of(cls, font: Any) -> Font:
        table = [entry.get_object() for entry in font["/DescendantFonts"][0].get_object()["/W"]]
        widths: dict[int, float] = {}
        while table:
            first, second, *table = table
            if isinstance(second, list):
                widths |= {first + index: float(width) for index, width in enumerate(second)}
            else:
                width, *table = table
                widths |= {glyph: float(width) for glyph in range(first, second + 1)}
        letters = font["/ToUnicode"].get_data().decode("latin-1")
        return cls(widths, frozenset(int(glyph, 16) for glyph in re.findall(r"<(\w{4})>\s*<0020>", letters)))

    def width(self, pieces: Any) -> float:
        """In ems, of strings of two-byte glyph numbers and shifts to the left, without a space at the end."""
        width, ending = 0.0, 0.0
        for piece in pieces:
            if not isinstance(piece, ByteStringObject | TextStringObject):
                width -= float(piece)
                continue
            raw = piece.original_bytes
            for glyph in (int.from_bytes(raw[at : at + 2]) for at in range(0, len(raw), 2)):
                width += self.widths[glyph]
                ending = self.widths[glyph] if glyph in self.spaces else 0.0
        return (width - ending) / 1000
