"""Signals in sentences."""

from __future__ import annotations

from datetime import date

import pytest

from calibration import signal_words
from calibration.models import Signal
from tests import factories as make

DAYS = {
    "day": date(2026, 10, 31),
    "since": date(2026, 10, 14),
    "since_low": date(2026, 10, 11),
    "since_high": date(2026, 10, 18),
}


@pytest.fixture
def cafe(db):
    return make.cafe()


def said(signal, reader=None):
    return signal_words.sentence(signal, reader).replace("\N{NO-BREAK SPACE}", " ")


def test_a_person_drifts(cafe):
    rhys = make.person(cafe=cafe, name="Rhys")
    signal = make.signal(cafe, rhys, **DAYS)
    assert said(signal) == (
        "Rhys has brewed about 0.06 % stronger beside the others since about 14 Oct (11–18 Oct), 14 brews; "
        "a quiet chart says so once in 380 checks"
    )
    assert said(signal, make.member(rhys)).startswith("You have brewed about 0.06 % stronger")


def test_since_over_the_end_of_a_month_and_of_one_day(cafe):
    signal = make.signal(cafe, make.person(cafe=cafe), **DAYS | {"since_low": date(2026, 9, 29)})
    assert "(29 Sep–18 Oct)" in said(signal)
    one = make.signal(
        cafe, make.person(cafe=cafe), **DAYS | {"since_low": DAYS["since"], "since_high": DAYS["since"]}
    )
    assert "14 Oct, 14 brews" in said(one)


def test_one_brew_that_went_wrong_is_not_called_a_drift(cafe):
    wiktor = make.person(cafe=cafe, name="Wiktor")
    evidence = {
        "estimate": -32.0,
        "low": -51.0,
        "high": -13.0,
        "n": 1,
        "others": 2,
        "smallest": 10,
        "brew_sd": 8,
    }
    signal = make.signal(
        cafe, wiktor, measure="time", side="low", evidence=evidence, **DAYS | {"since": DAYS["day"]}
    )
    assert said(signal).startswith(
        "Wiktor's brew of 31 Oct was about 32 s shorter than the others' brews of that day foretold (13 s to 51 s)"
    )
    assert signal_words.short(signal).replace("\N{NO-BREAK SPACE}", " ") == (
        "Wiktor: one brew about 32 s shorter, on 31 Oct"
    )


def test_somebody_is_off_by_limits_and_by_no_chart(cafe):
    evidence = {"estimate": -0.08, "low": -0.1, "high": -0.06, "n": 18, "others": 4, "smallest": 0.05}
    signal = make.signal(
        cafe,
        make.person(cafe=cafe, name="Sade"),
        question="off",
        side="low",
        run_length=None,
        evidence=evidence,
    )
    assert said(signal).startswith(
        "Sade brews about 0.08 % weaker than the others (0.06 % to 0.10 %), by 18 brews"
    )
    assert "once in" not in said(signal)


def test_a_day_moved_and_nobody_is_named(cafe):
    recipe = make.recipe(cafe.company, name="House filter")
    signal = make.signal(cafe, recipe=recipe, **DAYS)
    assert said(signal).startswith(
        "House filter has come out about 0.06 % stronger for the whole bar since about 14 Oct"
    )
    assert signal_words.whom(signal) == "The whole bar"


@pytest.mark.parametrize(
    ("kind", "since", "words"),
    [
        (
            "standard",
            date(2026, 11, 1),
            "read 3.07 % on 31 Oct where 3.00 % was right, and may have been wrong since 1 Nov",
        ),
        ("standard", None, "and it never passed before"),
        ("zero", None, "read 3.07 % on distilled water on 31 Oct"),
    ],
)
def test_an_instrument_failed(cafe, kind, since, words):
    instrument = make.refractometer(cafe, name="The Prism")
    evidence = {"estimate": 0.07, "read": 3.07, "expected": 3.0, "kind": kind}
    signal = make.signal(
        cafe,
        question=Signal.Question.INSTRUMENT,
        measure="standard",
        refractometer=instrument,
        evidence=evidence,
        run_length=None,
        **DAYS | {"since": None, "since_low": since},
    )
    assert words in said(signal)
    assert said(signal).startswith("The Prism")


def test_limits_on_both_sides_keep_their_signs(cafe):
    signal = make.signal(cafe, make.person(cafe=cafe))
    signal.evidence |= {"low": -0.01, "high": 0.12}
    assert signal_words.between(signal).replace("\N{NO-BREAK SPACE}", " ") == "−0.01 % to +0.12 %"
