"""Four cards to an A4 page: whole, inside their cells, in order, every code readable, marks outside the cards."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from itertools import combinations

import pypdf
import pytest
import zxingcpp
from PIL import Image

from recipes.cards import SHEET, CardContent, card_pdf, drawn
from tests.recipes.card_type import Line, lines_of
from tests.recipes.test_cards_on_paper import BEYOND, CARDS, NOW, SMALLEST_PT, USUAL

MM = 72 / 25.4
WIDE, HIGH, MARGIN = 98 * MM, 139 * MM, 3.5 * MM
PAGE = (210 * MM, 297 * MM)
UNPRINTABLE = 4.3 * MM
"""What laser printers leave blank along each edge: a sixth of an inch (common practice, no source)."""
PPI = 200


def numbered(count: int, card: CardContent = USUAL) -> list[CardContent]:
    return [
        replace(card, recipe=f"Recipe {n}", code=f"K7MX{n}", url=f"https://bar.example/c/K7MX{n}/3/")
        for n in range(count)
    ]


def cell_of(place: int) -> tuple[float, float, float, float]:
    """Left, right, lower and upper edge of a place of the sheet, in points from its lower left corner."""
    left = (PAGE[0] - 2 * WIDE) / 2 + place % 2 * WIDE
    upper = PAGE[1] - (PAGE[1] - 2 * HIGH) / 2 - place // 2 * HIGH
    return left, left + WIDE, upper - HIGH, upper


@cache
def sheet_of(name: str) -> bytes:
    return card_pdf([replace(CARDS[name], code=f"K7MX{n}") for n in range(4)], SHEET, NOW)


def lines_in(pdf: bytes, place: int) -> list[Line]:
    left, right, low, high = cell_of(place)
    inside = (left + MARGIN, right - MARGIN, low + MARGIN, high - MARGIN)
    return [
        line
        for line in lines_of(pdf)
        if line.left >= inside[0] - 0.2
        and line.right <= inside[1] + 0.2
        and line.baseline >= inside[2] - 0.2
        and line.top <= inside[3] + 0.2
    ]


@pytest.mark.parametrize("name", CARDS)
def test_every_line_lies_in_one_card_and_none_on_another(name):
    pdf = sheet_of(name)
    placed = [lines_in(pdf, place) for place in range(4)]
    assert sum(map(len, placed)) == len(lines_of(pdf))
    assert len({len(lines) for lines in placed}) == 1, "the same card fills every place alike"
    # A card beyond what anyone writes has a little less room here than on A6.
    smallest = SMALLEST_PT["a6"] * (0.78 if name in BEYOND else 1)
    for one, other in combinations(placed[0], 2):
        kerned = 0.05 * min(one.size, other.size)
        beside = one.right <= other.left + kerned or other.right <= one.left + kerned
        apart = one.top <= other.baseline + 0.1 or other.top <= one.baseline + 0.1
        assert beside or apart, (one, other)
    assert min(line.size for line in placed[0]) >= smallest - 0.01


@pytest.mark.parametrize(("cards", "pages"), [(1, 1), (4, 1), (5, 2), (9, 3)])
def test_so_many_pages_and_the_last_places_stay_blank(cards, pages):
    pdf = card_pdf(numbered(cards), SHEET, NOW)
    found = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert len(found) == pages
    assert all((round(page.mediabox.width), round(page.mediabox.height)) == (595, 842) for page in found)
    said = "".join(found[-1].extract_text().split())
    assert [f"Recipe{n}" in said for n in range(cards)] == [n // 4 == pages - 1 for n in range(cards)]


def pictures(cards: list[CardContent]) -> list[Image.Image]:
    drawing = drawn(cards, SHEET, NOW, "png", ppi=PPI)
    files = drawing if isinstance(drawing, list) else [drawing]
    return [Image.open(io.BytesIO(file)).convert("L") for file in files]


def test_every_code_on_the_sheet_can_be_scanned_and_stands_in_board_order():
    cards = [*numbered(5), replace(CARDS["full"], url="https://bar.example/c/K7MX5/112/")]
    for number, picture in enumerate(pictures(cards)):
        found = {code.text: code.position.top_left for code in zxingcpp.read_barcodes(picture)}
        there = cards[4 * number : 4 * number + 4]
        assert set(found) == {card.url for card in there}
        for place, card in enumerate(there):
            x, y = found[card.url].x / picture.width, found[card.url].y / picture.height
            assert (x > 0.5, y > 0.5) == (place % 2 == 1, place // 2 == 1)


def test_the_marks_are_thin_grey_and_outside_the_cards_where_printers_print():
    (picture,) = pictures(numbered(4))
    scale = PPI / 72
    left, _right, _low, high = cell_of(0)
    top = PAGE[1] - high
    frame = [round(edge * scale) for edge in (left, top, left + 2 * WIDE, top + 2 * HIGH)]
    outside = picture.copy()
    outside.paste(255, (frame[0] - 2, frame[1] - 2, frame[2] + 2, frame[3] + 2))
    ink = outside.point(lambda level: 255 if level < 235 else 0)
    x0, y0, x1, y1 = ink.getbbox()
    # One pixel for the rounding of the drawing.
    assert min(x0, y0, picture.width - x1, picture.height - y1) >= UNPRINTABLE * scale - 1
    # The ends of three cuts across and three down.
    runs = [_runs(ink.crop((0, y, ink.width, y + 1))) for y in (y0 + 4, y1 - 5)]
    runs += [_runs(ink.crop((x, 0, x + 1, ink.height))) for x in (x0 + 4, x1 - 5)]
    assert [len(found) for found in runs] == [3, 3, 3, 3]
    assert max(length for found in runs for length in found) <= 3
    assert outside.getextrema()[0] > 60, "grey, so that nobody takes it for the card's own"


def _runs(strip: Image.Image) -> list[int]:
    """The lengths of the runs of ink in a strip one pixel wide."""
    inked = "".join("1" if level else " " for level in strip.tobytes())
    return [len(run) for run in inked.split()]
