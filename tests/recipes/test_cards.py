"""The station card is drawn, and read back: its words from the PDF, its QR code from the picture."""

from __future__ import annotations

import dataclasses
import io
import re
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pypdf
import pytest
import zxingcpp
from PIL import Image

from recipes.brewing.plan import After, Pattern, Pour, PourPlan
from recipes.cards import SIZES, CardContent, card_pdf, card_svg, drawn, unprintable

NOW = datetime(2026, 3, 2, 7, 15, tzinfo=UTC)
ICONS = Path(__file__).parents[2] / "static" / "icons" / "patterns"
# ISO 216 trimmed sizes in mm; a point is 1/72 inch.
SHEETS_MM = {"a6": (105, 148), "a5": (148, 210), "a4": (210, 297)}
MARGIN_MM = {"a6": 5, "a5": 7, "a4": 11}

USUAL = PourPlan(
    dose_g=15,
    water_g=250,
    water_temperature_C=93,
    at_the_boil=False,
    pours=(
        Pour(0, 45, Pattern.CIRCLE, 5, 60, after=After.SWIRL),
        Pour(40, 150, Pattern.CIRCLE, 6, 90),
        Pour(85, 200, Pattern.CENTRE, 4, 60),
        Pour(125, 250, Pattern.OFF_CENTRE, 4, 60, note="gently now"),
    ),
    tds_target=1.40,
    tds_tolerance=0.10,
    ey_target=20.5,
    ey_tolerance=1.5,
    brew_time_s=170,
    brew_time_tolerance_s=15,
)
CARD = CardContent(
    recipe="Morning window",
    version=3,
    plan=USUAL,
    code="K7MX3",
    url="https://bar.example/c/K7MX3/3/",
    code_page="bar.example/c/",
    coffee="Ladder and Lark",
    coffee_detail="Kenya, washed",
    roasted_on=date(2026, 2, 20),
    batch="LAL 36",
    brewer="Ribbed cone",
    paper="Thin paper",
    kettle="The Heron",
    grinder="The Quern",
    grind_setting="6.5",
    reference_grind="like sea salt",
    intended_cup="Lemon first, then honey",
    note="Stop early rather than late.",
    station="Window bar",
    cafe="Netloft Quay",
    published_at=datetime(2026, 3, 1, 17, 5, tzinfo=UTC),
    published_by="Kofi Example",
    zone=ZoneInfo("Europe/Lisbon"),
    printed_on=date(2026, 3, 2),
    invented=True,
)
SPARSE = CardContent(
    recipe="Bare",
    version=1,
    plan=PourPlan(20, 300, None, True, (Pour(0, 300, Pattern.CENTRE, None, None),)),
    code="9XTKC",
    url="http://192.168.0.9:8000/c/9XTKC/1/",
)
WORST = dataclasses.replace(
    CARD,
    recipe="Seventy-two hour slow fermented mountain lot, gentle hands " + "w",
    plan=dataclasses.replace(
        USUAL,
        bypass_g=120,
        ice_g=80,
        pours=tuple(
            Pour(
                20 * n,
                30 * (n + 1),
                pattern,
                5,
                60,
                after=After.STIR if n % 2 else After.SWIRL,
                note="slow, low, even",
            )
            for n, pattern in enumerate([*Pattern, Pattern.CIRCLE])
        ),
    ),
    note="Keep the bed level and the stream thin, and wait for the bed to show before the next pour begins. "
    * 3,
    intended_cup="Blackcurrant and lime at first, then cocoa, tea and a long, dry, clean finish without any paper",
)


def text_of(content: CardContent, size: str = "a6") -> str:
    """The words of the PDF on one line, without the marks that only let a line break."""
    (page,) = pypdf.PdfReader(io.BytesIO(card_pdf(content, size, NOW))).pages
    return " ".join(page.extract_text().replace("\u200b", "").split())


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("content", [CARD, SPARSE, WORST], ids=["usual", "sparse", "worst"])
def test_one_page_of_the_right_sheet(content, size):
    (page,) = pypdf.PdfReader(io.BytesIO(card_pdf(content, size, NOW))).pages
    width, height = SHEETS_MM[size]
    assert float(page.mediabox.width) == pytest.approx(width * 72 / 25.4, abs=0.5)
    assert float(page.mediabox.height) == pytest.approx(height * 72 / 25.4, abs=0.5)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("content", [CARD, SPARSE, WORST], ids=["usual", "sparse", "worst"])
def test_nothing_is_printed_outside_the_margins(content, size):
    (page,) = pypdf.PdfReader(io.BytesIO(drawn(content, size, NOW, "pdf"))).pages
    assert page.extract_text()
    picture = Image.open(io.BytesIO(drawn(content, size, NOW, "png", ppi=144))).convert("L")
    ink = picture.point(lambda level: 255 if level < 200 else 0).getbbox()
    edge = MARGIN_MM[size] * 144 / 25.4 - 4  # half of the heaviest rule, and its blur
    assert ink[0] >= edge
    assert ink[1] >= edge
    assert ink[2] <= picture.width - edge
    assert ink[3] <= picture.height - edge


@pytest.mark.parametrize("size", SIZES)
def test_everything_is_said(size):
    said = squeezed(text_of(CARD, size))
    for word in (
        *("Morning window", "version 3", "Ladder and Lark", "Kenya, washed", "20 Feb 2026", "LAL 36"),
        *("Ribbed cone", "Thin paper", "The Heron", "The Quern", "6.5", "like sea salt", "today"),
        *("Window bar", "Netloft Quay", "Kofi Example", "1 Mar 2026, 17:05", "Invented example", "K7MX3"),
        *(
            "purge the grinder",
            "tare",
            "1:16.7",
            "93",
            "0:00",
            "0:40",
            "1:25",
            "2:05",
            "45",
            "150",
            "200",
            "250",
        ),
        *("+45", "+105", "+50", "circle", "centre", "off-centre", "swirl", "gently now"),
        *("1.40", "± 0.10", "20.5", "2:50", "Lemon first, then honey", "Stop early rather than late."),
        *("Near-boiling water, steam and hot glass burn at once", "safety rules", "bar.example/c/"),
    ):
        assert squeezed(word) in said, word


@pytest.mark.parametrize("size", SIZES)
def test_the_worst_card_loses_nothing(size):
    said = squeezed(text_of(WORST, size))
    assert squeezed(WORST.recipe) in said
    assert squeezed(WORST.note) in said
    assert squeezed(WORST.intended_cup) in said
    for n, pour in enumerate(WORST.plan.pours):
        assert f"{30 * (n + 1)}" in said
        assert squeezed(pour.pattern.replace("broken-stream", "broken stream")) in said
    assert said.count(squeezed("slow, low, even")) == 8
    assert "120" in said
    assert "80" in said


def test_what_is_missing_is_seen_to_be_missing():
    said = text_of(SPARSE)
    assert "–" in said
    assert "Not published" in said
    assert "boil" in said
    assert "None" not in said


@pytest.mark.parametrize("rinse", [True, False])
def test_the_paper_is_rinsed_only_if_the_recipe_says_so(rinse):
    assert ("rinse and preheat" in text_of(dataclasses.replace(CARD, rinse_paper=rinse))) is rinse


@pytest.mark.parametrize("name", ["Καφές της αυλής", "Утренний фильтр", "Ørsted ĳs Příšerně žluťoučký", "Ấm"])
def test_other_alphabets_are_printed(name):
    assert unprintable(name) == ""
    assert squeezed(name) in squeezed(text_of(dataclasses.replace(CARD, recipe=name)))


def test_what_the_font_lacks_is_found():
    assert unprintable("Filter ☕ 咖啡 café") == "☕咖啡"


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("content", [CARD, SPARSE, WORST], ids=["usual", "sparse", "worst"])
def test_the_printed_code_is_read_by_a_camera(content, size):
    picture = Image.open(io.BytesIO(drawn(content, size, NOW, "png", ppi=200))).convert("L")
    (found,) = zxingcpp.read_barcodes(picture)
    assert found.text == content.url


@pytest.mark.parametrize(
    "text", ['"#{x}', "#set page(width: 1cm)", "$x^2$ *bold* _it_", "\\u{41}", "@label <tag>"]
)
def test_what_is_typed_is_text_and_never_program(text):
    content = dataclasses.replace(CARD, recipe=text, note=text, grind_setting=text[:12])
    (page,) = pypdf.PdfReader(io.BytesIO(card_pdf(content, "a6", NOW))).pages
    assert float(page.mediabox.width) == pytest.approx(105 * 72 / 25.4, abs=0.5)
    assert squeezed(page.extract_text().replace("\u200b", "")).count(squeezed(text)) >= 2


def test_the_same_card_is_the_same_file():
    assert card_pdf(CARD, "a5", NOW) == card_pdf(CARD, "a5", NOW)
    assert card_svg(CARD, "a6", NOW) == card_svg(CARD, "a6", NOW)
    assert card_svg(CARD, "a6", NOW) != card_svg(dataclasses.replace(CARD, grind_setting="7"), "a6", NOW)


def test_several_cards_are_a_page_each():
    pages = pypdf.PdfReader(io.BytesIO(card_pdf([CARD, SPARSE, WORST], "a6", NOW))).pages
    assert [
        ("K7MX3" in squeezed(p.extract_text()), "9XTKC" in squeezed(p.extract_text())) for p in pages
    ] == [
        (True, False),
        (False, True),
        (True, False),
    ]


@pytest.mark.parametrize(("size", "contents"), [("a7", CARD), ("a6", [])])
def test_what_cannot_be_drawn_is_refused(size, contents):
    with pytest.raises(ValueError, match="card"):
        card_pdf(contents, size, NOW)


def test_every_pattern_has_a_drawing_of_its_own():
    drawings = {(ICONS / f"{shape.value}.svg").read_text() for shape in [*Pattern, After.STIR, After.SWIRL]}
    assert len(drawings) == len(Pattern) + 2
