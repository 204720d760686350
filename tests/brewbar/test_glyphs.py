"""What the card's font can draw, beside what another reader of the same font draws."""

from __future__ import annotations

import sys
import unicodedata

import pytest
from PIL import ImageFont

from brewbar.glyphs import FONT_DIR, WEIGHTS, as_drawn, unprintable


@pytest.mark.parametrize("weight", WEIGHTS)
def test_the_same_letters_are_missing_as_when_they_are_drawn(weight):
    file = FONT_DIR / f"SourceSansPro-{weight}.otf"
    font = ImageFont.truetype(file, 40, layout_engine=ImageFont.Layout.BASIC)
    box = bytes(font.getmask("\uffff"))
    for letter in map(chr, range(0x21, 0x3000)):
        # Composed, spacing or steering characters are set as others, so one alone says nothing of the font.
        if as_drawn(letter) != letter or unicodedata.category(letter) in ("Cn", "Mn", "Mc", "Me"):
            continue
        assert (bytes(font.getmask(letter)) == box) is bool(unprintable(letter)), hex(ord(letter))


@pytest.mark.parametrize(
    "text",
    [
        "Crème brûlée, 93 °C ± 1",
        "Βουνό",
        "Ёлка",
        "Ấm trà",
        "1:16.7 – “so” → ½ × 2 ≥ 1",
        "e\u0301te\u0301",
        "",
    ],
)
def test_what_the_font_has_is_printable(text):
    assert unprintable(text) == ""


@pytest.mark.parametrize(
    ("text", "lacking"),
    [
        ("茶 or coffee, 茶", "茶"),
        ("☕ and 🫖", "☕🫖"),
        ("קפה", "קפה"),
        ("bell\a", "\a"),
    ],
)
def test_what_it_lacks_is_named_once_and_in_order(text, lacking):
    assert unprintable(text) == lacking


def test_line_breaks_and_steering_marks_are_not_held_against_a_note():
    assert unprintable("one\r\ntwo\tthree\u200b\u200e\u00adfour") == ""
    assert as_drawn(" one\r\ntwo\u200b ") == "one two"


def test_beyond_the_first_plane_is_lacking():
    assert unprintable(chr(sys.maxunicode - 2)) == chr(sys.maxunicode - 2)
