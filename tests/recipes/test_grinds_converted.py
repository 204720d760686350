"""A setting carried from one grinder to another: which match says it, and what none can say."""

from dataclasses import dataclass
from decimal import Decimal

import pytest

from recipes.grinds import convert


@dataclass(frozen=True)
class Grinder:
    pk: int
    setting_step: Decimal


@dataclass(frozen=True)
class Match:
    grinder_id: int
    setting: str
    other_id: int
    other_setting: str


CLICKS = Grinder(1, Decimal("1"))
HALVES = Grinder(2, Decimal("0.5"))
FINE = Grinder(3, Decimal("0.1"))
FOUND = Match(1, "24", 2, "22")


def carried(setting, here, there, *matches):
    found = convert(setting, here, there, matches)
    return found and found.setting


# The offset by hand: from 24 = 22, another setting moves by as much on the other side, to its nearest step.
@pytest.mark.parametrize(
    ("setting", "expected"),
    [("24", "22"), ("24.0", "22"), ("26", "24.0"), ("23", "21.0"), ("24.3", "22.5"), ("24.2", "22.0")],
)
def test_an_offset_between_two_numbers(setting, expected):
    assert carried(setting, CLICKS, HALVES, FOUND) == expected


@pytest.mark.parametrize(
    ("setting", "expected"), [("22", "24"), ("23", "25"), ("22.5", "25"), ("21.5", "23")]
)
def test_the_same_match_read_from_the_other_side(setting, expected):
    # Half a step is rounded away from zero, as everywhere here.
    assert carried(setting, HALVES, CLICKS, FOUND) == expected


def test_there_and_back_again():
    for tenths in range(60, 300, 5):
        asked = f"{tenths / 10:.1f}"
        there = carried(asked, FINE, HALVES, Match(3, "10.0", 2, "22"))
        assert Decimal(carried(there, HALVES, FINE, Match(3, "10.0", 2, "22"))) == Decimal(asked)


def test_marks_are_written_as_that_grinder_has_them():
    assert carried("26", CLICKS, FINE, Match(1, "24", 3, "6,4")) == "8,4"
    assert carried("24", CLICKS, FINE, Match(1, "24", 3, "6,4")) == "6,4"


def test_the_newest_match_that_can_say_says_it():
    older = Match(1, "20", 2, "30")
    assert carried("26", CLICKS, HALVES, FOUND, older) == "24.0"
    assert carried("26", CLICKS, HALVES, older, FOUND) == "36.0"
    in_words = Match(1, "4C", 2, "19")
    assert carried("26", CLICKS, HALVES, in_words, FOUND) == "24.0"


def test_words_are_carried_only_where_a_match_names_them():
    in_words = Match(1, "4C", 2, "19")
    assert carried("4C", CLICKS, HALVES, FOUND, in_words) == "19"
    assert carried("19", HALVES, CLICKS, in_words) == "4C"
    assert carried("4D", CLICKS, HALVES, FOUND, in_words) is None
    assert carried("20", HALVES, CLICKS, in_words) is None


def test_nothing_goes_through_a_third_grinder_nor_below_zero():
    assert carried("24", CLICKS, FINE, FOUND, Match(2, "22", 3, "6")) is None
    assert carried("1", CLICKS, HALVES, FOUND) is None
    assert carried("24", CLICKS, HALVES) is None
    assert carried("24", CLICKS, CLICKS, FOUND) is None


@pytest.mark.parametrize(("setting", "far"), [("29", False), ("30", True), ("19", False), ("18", True)])
def test_more_than_five_steps_away_is_far(setting, far):
    """Common practice, no source: an offset found at 24 says little at 40."""
    assert convert(setting, CLICKS, HALVES, [FOUND]).is_far is far


def test_where_it_comes_from_is_told_from_the_side_that_asks():
    found = convert("23", HALVES, CLICKS, [FOUND])
    assert (found.here, found.there, found.match) == ("22", "24", FOUND)
