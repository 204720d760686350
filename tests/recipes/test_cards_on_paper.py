"""The card as it lies on the bar: type large enough, nothing over anything else, whatever a café has typed."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from itertools import combinations

import pypdf
import pytest
import zxingcpp
from PIL import Image

from recipes.brewing.plan import After, Pattern, Pour, PourPlan
from recipes.cards import SIZES, CardContent, Size, card_pdf, card_svg, drawn, unprintable
from tests.recipes.card_type import lines_of

NOW = datetime(2026, 3, 2, 7, 15, tzinfo=UTC)
SMALLEST_PT = {"a6": 6.5, "a5": 8, "a4": 10}
MARGIN_PT = {"a6": 5 * 72 / 25.4, "a5": 7 * 72 / 25.4, "a4": 11 * 72 / 25.4}


def words(length: int, start: str = "Überlanger Ярлык Ελλάδα and, ") -> str:
    return (start * 20)[:length]


FOUR = PourPlan(
    dose_g=15,
    water_g=250,
    water_temperature_C=93,
    at_the_boil=False,
    pours=(
        Pour(0, 45, Pattern.CIRCLE, 5, 60, after=After.SWIRL),
        Pour(40, 150, Pattern.CIRCLE, 6, 90),
        Pour(85, 200, Pattern.CENTRE, 4, 60),
        Pour(125, 250, Pattern.BROKEN_STREAM, 4, 60, note="Spoon just above the water."),
    ),
    tds_target=1.4,
    tds_tolerance=0.1,
    ey_target=20.5,
    ey_tolerance=1.5,
    brew_time_s=170,
    brew_time_tolerance_s=15,
)
EIGHT = replace(
    FOUR,
    at_the_boil=True,
    bypass_g=30,
    ice_g=80,
    pours=tuple(
        Pour(20 * n, 37.5 * (n + 1), pattern, 5.5, 100, after=After.STIR if n % 2 else After.SWIRL)
        for n, pattern in enumerate([*Pattern, Pattern.CIRCLE])
    ),
)
USUAL = CardContent(
    recipe="Morning window",
    version=3,
    plan=FOUR,
    code="K7MX3",
    url="https://bar.example/c/K7MX3/3/",
    code_page="bar.example/c/",
    coffee="Ladder and Lark",
    roasted_on=date(2026, 2, 20),
    batch="LAL 36",
    brewer="Ribbed cone",
    paper="Thin paper",
    kettle="The Heron",
    grinder="The Quern",
    grind_setting="6.5",
    intended_cup="Lemon first, then honey",
    station="Window bar",
    cafe="Netloft Quay",
    published_at=datetime(2026, 3, 1, 17, 5, tzinfo=UTC),
    published_by="Kofi Example",
    printed_on=date(2026, 3, 2),
    invented=True,
)
LONG = replace(USUAL, recipe=words(60), plan=EIGHT, note=words(300), version=12)
# As long as each field of a recipe, a coffee, a café and a person may be.
FULL = replace(
    LONG,
    plan=replace(
        EIGHT, pours=tuple(replace(pour, note=words(80), temperature_C=92.5) for pour in EIGHT.pours)
    ),
    url="https://a-rather-long-name.of-a-cafe.example.org:8443/c/K7MX3/112/",
    code_page="a-rather-long-name.of-a-cafe.example.org:8443/c/",
    coffee=words(60),
    coffee_detail=f"{words(60)}, {words(40)}",
    batch=words(30),
    brewer=words(40),
    paper=words(40),
    kettle=words(40),
    grinder=words(40),
    grind_setting="M" * 12,
    reference_grind=words(60),
    grind_here=words(80),
    own_targets=("tds_target", "ey_target", "brew_time_s"),
    intended_cup=words(200),
    station=words(40),
    cafe=words(60),
    published_by=words(60),
)
UNBROKEN = replace(LONG, recipe="W" * 60, note="w" * 300, coffee="Ж" * 60, grinder="Ω" * 40, station="M" * 40)
ODD_TIMES = replace(
    USUAL,
    plan=replace(
        FOUR,
        pours=tuple(
            Pour(start, to, Pattern.CENTRE, 9, 40) for start, to in ((0, 60), (7, 62), (8, 90), (9, 250))
        ),
    ),
)
BARE = CardContent(
    recipe="",
    version=None,
    plan=PourPlan(None, None, None, False, (Pour(None, None, Pattern.CIRCLE, None, None),) * 2),
    code="9XTKC",
    url="http://192.168.0.9:8000/c/9XTKC/1/",
)
EMPTY = replace(BARE, plan=PourPlan(None, None, None, False, ()))
CARDS = {
    "usual": USUAL,
    "long": LONG,
    "full": FULL,
    "unbroken": UNBROKEN,
    "odd times": ODD_TIMES,
    "bare": BARE,
    "empty": EMPTY,
}
BEYOND = ("full", "unbroken")
"""More than anyone writes: the whole card may be set smaller, by a fifth at most, rather than lose a word."""
every_card = pytest.mark.parametrize("name", CARDS)
every_size = pytest.mark.parametrize("size", SIZES)


@cache
def pdf_of(name: str, size: Size) -> bytes:
    return card_pdf(CARDS[name], size, NOW)


def said_by(pdf: bytes) -> str:
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return "".join(page.extract_text().replace("\u200b", "").split())


@every_size
@every_card
def test_no_type_leaves_the_margins_or_is_too_small(name, size):
    pdf = pdf_of(name, size)
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    margin, wide, high = MARGIN_PT[size] - 0.2, float(page.mediabox.width), float(page.mediabox.height)
    lines = lines_of(pdf)
    assert len(lines) > 20
    smallest = SMALLEST_PT[size] * (0.8 if name in BEYOND else 1)
    for line in lines:
        assert line.left >= margin, line
        assert line.right <= wide - margin, line
        assert line.baseline >= margin, line
        assert line.top <= high - margin, line
        assert line.size >= smallest - 0.01, line


@every_size
@every_card
def test_no_type_lies_on_other_type(name, size):
    for one, other in combinations(lines_of(pdf_of(name, size)), 2):
        kerned = 0.05 * min(one.size, other.size)
        beside = one.right <= other.left + kerned or other.right <= one.left + kerned
        apart = one.top <= other.baseline + 0.1 or other.top <= one.baseline + 0.1
        assert beside or apart, (one, other)


@every_size
@every_card
def test_every_word_typed_is_on_the_card(name, size):
    card = CARDS[name]
    said = said_by(pdf_of(name, size))
    for text in (
        *(card.recipe, card.coffee, card.coffee_detail, card.batch, card.brewer, card.paper, card.kettle),
        *(
            card.grinder,
            card.grind_setting,
            card.reference_grind,
            card.grind_here,
            card.intended_cup,
            card.note,
            card.station,
        ),
        *(card.cafe, card.published_by, card.code_page, card.code, *(pour.note for pour in card.plan.pours)),
    ):
        assert "".join(text.split()) in said, text


def test_the_weights_to_pour_to_dominate():
    sizes = {size: sorted(line.size for line in lines_of(pdf_of("usual", size))) for size in SIZES}
    largest = {size: found[-1] for size, found in sizes.items()}
    assert largest["a6"] >= 14
    assert largest["a6"] < largest["a5"] < largest["a4"]
    for found in sizes.values():
        assert found[-4:] == [pytest.approx(found[-1])] * 4, "the four weights are set alike"
        assert found[-5] < 0.9 * found[-1], "nothing else is as large"


@every_size
def test_a_larger_sheet_has_room_for_more(size):
    assert ("spiralfromthecentre" in said_by(pdf_of("usual", size))) is (size != "a6")


def test_everything_printed_has_a_glyph():
    for name in CARDS:
        (page,) = pypdf.PdfReader(io.BytesIO(pdf_of(name, "a5"))).pages
        assert unprintable(page.extract_text()) == "", name


@every_card
def test_the_card_is_black_on_white(name):
    svg = card_svg(CARDS[name], "a6", NOW).decode()
    assert set(re.findall(r'(?:fill|stroke)="(#\w+)"', svg)) <= {"#000000", "#ffffff"}


@every_size
def test_the_qr_code_has_its_quiet_zone_and_is_hard_to_spoil(size):
    # ISO/IEC 18004: a quiet zone of four modules; level M restores about 15 % (both from memory).
    picture = Image.open(io.BytesIO(drawn(FULL, size, NOW, "png", ppi=300))).convert("L")
    (found,) = zxingcpp.read_barcodes(picture)
    assert found.text == FULL.url
    assert found.ec_level in ("M", "Q", "H")
    corners = (found.position.top_left, found.position.bottom_right)
    (left, top), (right, bottom) = ((corner.x, corner.y) for corner in corners)
    version = next(
        v for v in range(1, 41) if _black_run(picture, left, top) * (17 + 4 * v) / 7 >= right - left - 2
    )
    module = (right - left) / (17 + 4 * version)
    zone = int(4 * module) - 1
    around = picture.crop((left - zone, top - zone, right + zone, bottom + zone))
    ink = around.point(lambda level: 255 if level < 128 else 0).getbbox()
    assert min(ink[0], ink[1], around.width - ink[2], around.height - ink[3]) >= zone - 2


def _black_run(picture: Image.Image, left: int, top: int) -> int:
    """The width in pixels of the finder pattern's upper bar: seven modules."""
    row = top + 2
    return next(x for x in range(left + 2, picture.width) if picture.getpixel((x, row)) > 128) - left


def test_a_flow_that_is_open_still_has_its_place_in_time():
    steps = replace(FOUR, pours=tuple(replace(pour, flow_g_s=None) for pour in FOUR.pours))
    said = said_by(card_pdf(replace(USUAL, plan=steps), "a6", NOW))
    assert said.count("2:05") == 2, "in the table and under the timeline"
