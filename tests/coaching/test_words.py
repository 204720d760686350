"""What is said: plain sentences about the pour and the cup, in the reader's units and through the catalogue."""

import re

import pytest

from brewbar import words
from brewbar.units import Style, written_as
from calibration.coaching import (
    CheckState,
    Context,
    Happening,
    InstrumentChecks,
    Kind,
    Usual,
    advise,
    compared,
)
from calibration.coaching.fitting import HYPOTHESES
from calibration.coaching.signature import Quantity, sign
from calibration.coaching.wording import said
from tests.coaching.seen import DAY, SPREADS, checked, day_off, one_off

OF_WORTH = re.compile(
    r"\b(bad|poor|wrong|fault|blame|mistake|careless|sloppy|fails?|worst|worse|lazy|she|he|his|her|you)\b",
    re.I,
)


@pytest.mark.parametrize("one", HYPOTHESES, ids=lambda one: one.key)
def test_each_is_a_plain_sentence_about_the_cup(one):
    for text in (one.says, one.change, one.against):
        assert text[0].isupper()
        assert text.endswith(".")
        assert "!" not in text
        assert not OF_WORTH.search(text)
    assert one.says.count(".") == 1


def everything_said():
    both = (Happening(Kind.LOT, DAY, "Hill 4"), Happening(Kind.KETTLE_SWAPPED, DAY))
    contexts = [
        Context(),
        Context(instrument=InstrumentChecks(CheckState.PASSED, CheckState.FAILED)),
        checked(happened=both, usual=Usual(1.4, 220, 90, 15)),
    ]
    seen = [
        one_off(tds="-", time="-"),
        day_off(tds="-", time="+", slurry="-"),
        one_off(tds="+"),
        day_off(tds="=", time="="),
    ]
    for context in contexts:
        for signature in seen:
            advice = advise(signature, context, SPREADS)
            yield from (advice.says, *advice.missing, *advice.apart, *advice.signs)
            for cause in advice.causes:
                yield from (cause.says, cause.change, *cause.signs, *cause.against, *cause.cautions)
                if cause.showing:
                    yield cause.showing.says


def test_whatever_is_said_is_a_sentence():
    texts = list(everything_said())
    assert len(texts) > 100
    for text in texts:
        assert text[0].isupper() or text[0].isdigit()
        assert text.endswith(".")
        assert "!" not in text
        assert "%(" not in text
        assert "%%" not in text


def test_it_is_said_through_the_catalogue():
    class Marked:
        def gettext(self, message):
            return f"<{message}>"

        def ngettext(self, singular, plural, number):
            return f"<{singular if number == 1 else plural}>"

        def pgettext(self, context, message):
            return f"<{message}>"

    plain = words._catalogue
    words.connect(Marked())
    try:
        assert all("<" in text for text in everything_said())
    finally:
        words.connect(plain)


def test_signs_in_the_readers_units():
    slurry = sign(Quantity.SLURRY, compared([-4.0, -4.4, -3.6]), 2.0)
    assert said(slurry) == "Slurry temperature is down by 4 °C, give or take 1 °C (3 brews)."
    with written_as(Style(decimal_mark=",", temperature_unit="F")):
        assert said(slurry) == "Slurry temperature is down by 7,2 °F, give or take 1,8 °F (3 brews)."
        tds = sign(Quantity.TDS, compared([0.1, 0.12, 0.08]), 0.05)
        assert "0,10 %" in said(tds)


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ([], "Brew time was not measured."),
        ([9.0], "Brew time: the brews are too few to tell."),
        ([9.0, -12.0, 4.0], "Brew time cannot be told yet: give or take 27 s is too wide (3 brews)."),
        ([0.5, -0.5, 0.2, 0.1], "Brew time is steady, within ±6 s (4 brews)."),
        ([9.0, 12.0, 11.0], "Brew time is up by 11 s, give or take 4 s (3 brews)."),
    ],
)
def test_a_sign_in_a_sentence(values, text):
    assert said(sign(Quantity.BREW_TIME, compared(values), 6.0)) == text
