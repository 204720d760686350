"""Every pair of colours that carries words or shapes, in both schemes, against WCAG 2.2 (W3C Recommendation,
5 October 2023): success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (edges and shapes, 3:1), with the definitions of
"relative luminance" and "contrast ratio" of its glossary.
"""

import re
from pathlib import Path

import pytest

TOKENS = Path("static/css/tokens.css").read_text(encoding="utf-8")
TEXT, SHAPE = 4.5, 3.0

WORDS = ("ink", "quiet", "action", "action-strong", "inside", "outside", "close", "danger")
PAIRS = [
    *((word, ground, TEXT) for word in WORDS for ground in ("paper", "sunk")),
    ("ink", "action-wash", TEXT),
    ("ink", "caution-wash", TEXT),
    ("ink", "danger-wash", TEXT),
    ("danger", "danger-wash", TEXT),
    ("on-action", "action", TEXT),
    ("on-action", "action-strong", TEXT),
    *(("paper", tab, TEXT) for tab in ("ink", "inside", "close", "danger", "action")),
    *((edge, ground, SHAPE) for edge in ("edge", "focus") for ground in ("paper", "sunk")),
    ("action", "action-wash", SHAPE),
    # The ring of focus lies around buttons, beside the paper between.
    ("focus", "paper", SHAPE),
]


def colours(text: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", text))


LIGHT_TEXT, DARK_TEXT = TOKENS.split("@media (prefers-color-scheme: dark)")
LIGHT, DARK = colours(LIGHT_TEXT), colours(DARK_TEXT)


def luminance(colour: str) -> float:
    def linear(channel: float) -> float:
        return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(int(colour[place : place + 2], 16) / 255) for place in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_ends_of_the_scale_are_those_of_the_definition():
    # "Contrast ratios can range from 1 to 21", note 1 of the definition.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#ffffff", "#ffffff") == 1


def test_the_dark_scheme_says_every_colour_anew():
    assert LIGHT.keys() == DARK.keys()
    assert all(LIGHT[name] != DARK[name] for name in LIGHT)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("front", "ground", "least"), PAIRS)
def test_contrast(scheme, front, ground, least):
    assert contrast(scheme[front], scheme[ground]) >= least


def test_every_colour_used_is_a_token_that_exists():
    known = set(re.findall(r"--([a-z0-9-]+):", TOKENS))
    for sheet in Path("static/css").glob("*.css"):
        text = re.sub(r"/\*.*?\*/", "", sheet.read_text(encoding="utf-8"), flags=re.DOTALL)
        known_here = known | set(re.findall(r"--([a-z0-9-]+):", text))
        assert set(re.findall(r"var\(--([a-z0-9-]+)", text)) <= known_here, sheet
