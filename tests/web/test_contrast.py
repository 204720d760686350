"""Contrast of every pair of ink and paper, in both schemes.

WCAG 2.2: relative luminance and contrast ratio as defined in its glossary; 1.4.3 wants 4.5:1 of text, 1.4.11 wants 3:1
of what marks a control.
"""

import re
from pathlib import Path

import pytest

TOKENS = (Path(__file__).parents[2] / "static" / "css" / "tokens.css").read_text()
TEXT = [
    *[(ink, paper) for ink in ("ink", "quiet", "action", "action-strong") for paper in ("paper", "sunk")],
    *[(state, paper) for state in ("inside", "outside", "close", "danger") for paper in ("paper", "sunk")],
    ("on-action", "action"),
    ("on-action", "action-strong"),
    ("ink", "action-wash"),
    ("ink", "caution-wash"),
    ("ink", "danger-wash"),
]
MARKS = [("edge", "paper"), ("edge", "sunk"), ("focus", "paper"), ("action", "paper")]


def scheme(dark: bool) -> dict[str, str]:
    light_rules, dark_rules = TOKENS.split("@media (prefers-color-scheme: dark)", 1)
    colours = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", light_rules))
    assert len(colours) > 10
    return colours | (dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", dark_rules)) if dark else {})


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_formula_spans_from_one_to_twenty_one():
    # WCAG 2.2, contrast ratio, note 1: ratios range from 1 to 21.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#7a1f5e", "#7a1f5e") == 1


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "paper"), TEXT)
def test_text_can_be_read(ink, paper, dark):
    colours = scheme(dark)
    assert contrast(colours[ink], colours[paper]) >= 4.5


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize(("mark", "paper"), MARKS)
def test_edges_and_focus_can_be_seen(mark, paper, dark):
    colours = scheme(dark)
    assert contrast(colours[mark], colours[paper]) >= 3
