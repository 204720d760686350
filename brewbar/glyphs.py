"""Which characters the card's font can draw. Pure: no Django.

A character that the font lacks prints as an empty box, without a word of warning, so forms refuse it beside the
field. The reader knows format 4 of a font's `cmap` table (OpenType 1.9.1, "cmap — Character to Glyph Index
Mapping Table"), which lists the characters up to U+FFFF: all that this font has letters for.
"""

import struct
import unicodedata
from functools import cache
from pathlib import Path

import font_source_sans_pro

FONT_DIR = Path(font_source_sans_pro.__file__).parent / "files"
FONT_FAMILY = "Source Sans Pro"
WEIGHTS = ("Regular", "Semibold", "Bold", "Black")
"""Of the family, what the card is set in."""


def as_drawn(text: str) -> str:
    """The text as it is set: composed letters, single spaces, and no characters that only steer a line."""
    visible = "".join(letter for letter in text if unicodedata.category(letter) != "Cf")
    return " ".join(unicodedata.normalize("NFC", visible).split())


def unprintable(text: str) -> str:
    """The characters of `text` that the card cannot draw, each once, in the order they appear."""
    return "".join(dict.fromkeys(letter for letter in as_drawn(text) if ord(letter) not in _drawable()))


@cache
def _drawable() -> frozenset[int]:
    return frozenset.intersection(
        *(_characters(FONT_DIR / f"SourceSansPro-{weight}.otf") for weight in WEIGHTS)
    )


def _characters(font: Path) -> frozenset[int]:
    data = font.read_bytes()
    cmap = _table(data, b"cmap")
    (count,) = struct.unpack_from(">H", cmap, 2)
    for platform, encoding, offset in struct.iter_unpack(">HHI", cmap[4 : 4 + 8 * count]):
        if (platform, encoding) == (3, 1):
            return _format_4(cmap[offset:])
    raise ValueError(f"{font.name} has no Unicode character map.")


def _table(data: bytes, tag: bytes) -> bytes:
    (count,) = struct.unpack_from(">H", data, 4)
    for name, _, start, length in struct.iter_unpack(">4sIII", data[12 : 12 + 16 * count]):
        if name == tag:
            return data[start : start + length]
    raise ValueError(f"The font has no table {tag!r}.")


def _format_4(table: bytes) -> frozenset[int]:
    version, _, _, doubled = struct.unpack_from(">4H", table)
    if version != 4:
        raise ValueError(f"The font's character map has format {version}, not 4.")
    count = doubled // 2
    lasts = struct.unpack_from(f">{count}H", table, 14)
    firsts = struct.unpack_from(f">{count}H", table, 16 + 2 * count)
    deltas = struct.unpack_from(f">{count}H", table, 16 + 4 * count)
    offsets_at = 16 + 6 * count
    offsets = struct.unpack_from(f">{count}H", table, offsets_at)
    found = set()
    for segment, (first, last, delta, offset) in enumerate(zip(firsts, lasts, deltas, offsets, strict=True)):
        for character in range(first, last + 1):
            glyph = character
            if offset:
                # The offset counts from its own place in the table, as the format has it.
                at = offsets_at + 2 * segment + offset + 2 * (character - first)
                (glyph,) = struct.unpack_from(">H", table, at)
                if glyph == 0:
                    continue
            if (glyph + delta) % 0x10000:
                found.add(character)
    return frozenset(found)
