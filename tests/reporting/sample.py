"""A report made up by hand, to draw by: long names, missing intervals, twelve cafés, forty recipes. All invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from brewbar.crew.models import Cafe, Company
from brewbar.units import clock, fixed
from calibration.reporting.result import (
    Asked,
    Bar,
    Bars,
    Cut,
    Days,
    Point,
    Report,
    Section,
    Sentence,
    Sure,
    Table,
)

FIRST, LAST = date(2026, 10, 1), date(2026, 10, 31)
BEFORE = (date(2026, 8, 31), date(2026, 9, 30))
LONG = "Übermorgen & Söhne „Άλφα“ кофейня на углу Ladder-and-Lark-Passage"
CAFES = (
    "Netloft Quay",
    "Ropewalk",
    LONG[:60],
    *(f"Invented café number {n}" for n in range(4, 13)),
)


def asked(cafes: tuple[str, ...] = CAFES, **fields: Any) -> Asked:
    company = Company(pk=1, name="Marrow & Heron, invented", is_invented=True)
    places = tuple(
        Cafe(pk=n, company=company, name=name, time_zone="Europe/Lisbon")
        for n, name in enumerate(cafes, start=1)
    )
    known: dict[str, Any] = {"is_whole_company": len(cafes) > 1, "for_owner": True}
    return Asked(company, places, FIRST, LAST, BEFORE, **(known | fields))


def report(cafes: tuple[str, ...] = CAFES, recipes: int = 40) -> Report:
    return Report(
        asked=asked(cafes),
        title="October 2026, the whole company",
        sentences=SENTENCES,
        next=(
            "Ask at Ropewalk why the last ten days ran 9 s slower; the grinder was cleaned on 19 Oct.",
            "Check the refractometer of Invented café number 7 with the sugar standard: its last check is 16 days old.",
            "Look at Washed Sidama, late harvest, before anything else: it was inside target least often.",
        ),
        sections=(
            shares(),
            per_cafe(cafes),
            per_recipe(recipes),
            spread(),
            change(),
            days(),
            nothing(),
        ),
        cut=Cut(
            readings=1312,
            counted=1204,
            voided=21,
            corrected=14,
            rebrewed=87,
            last_entered=datetime(2026, 10, 31, 18, 42, tzinfo=UTC),
            version="0.7.0",
            digest="3f9a" * 16,
        ),
        people_note=(
            "Nobody is named here: the company has set it so. Tell your staff what is measured and who reads it, and "
            "mind your local rules on monitoring at work."
        ),
        notes=("Two cafés brewed on fewer than five days; they are in the totals.",),
    )


SENTENCES = (
    Sentence(
        "consistent",
        "Of 100 check brews, 78 had the strength the recipe asks for.",
        "74 to 82, of 1,204 brews by 46 people on 31 days.",
        Sure.SURE,
    ),
    Sentence(
        "changed",
        "That is probably better than in September, by about 4 in 100.",
        "−1 to +9 in 100: it may be no change at all.",
        Sure.LIKELY,
    ),
    Sentence(
        "done",
        "Six signals were explained, half of them within two days; whether that helped cannot be said yet.",
        "Fewer than eight brews since the last change.",
        Sure.CANNOT_SAY,
    ),
)


def shares() -> Section:
    bars = (
        Bar("TDS", 78.0, 74.0, 82.0, (74.0, 69.5, 78.2), "inside", "n = 1,204"),
        Bar("Extraction yield", 71.0, 66.0, 75.5, (70.0, 65.0, 75.0), "close", "n = 1,180"),
        Bar("Brew time", 64.0, 58.0, 69.0, (73.0, 68.0, 77.5), "low", "n = 1,204"),
    )
    return Section(
        "inside",
        "Inside target",
        (
            "Strength was inside target in 78 of 100 checks, brew time in 64.",
            "Brew time was inside less often than in September.",
        ),
        Bars("inside", "Inside target, of 100 checks", "of 100 checks", 0, bars, (0, 100)),
        _table("inside", "Inside target", bars),
        ("Readings too close to call are counted apart: 112 of 1,204.",),
    )


def per_cafe(cafes: tuple[str, ...]) -> Section:
    bars = tuple(
        Bar(
            name,
            None if n == 4 else 82.0 - 2.1 * n,
            None if n > 9 else 75.0 - 2.2 * n,
            None if n > 9 else 88.0 - 2 * n,
        )
        for n, name in enumerate(cafes)
    )
    return Section(
        "cafes",
        "Cafés",
        ("Cafés differ by less than their intervals allow to tell, except the last two.",),
        Bars("cafes", "Inside target by café, TDS", "of 100 checks", 0, bars, (0, 100)),
        _table("cafes", "Cafés", bars),
        (
            "Netloft Quay and Ropewalk cannot be compared in TDS, because Ropewalk's refractometer did not pass its "
            "check standard in October.",
        ),
    )


def per_recipe(recipes: int) -> Section:
    bars = tuple(
        Bar(f"{LONG} no. {n}" if n % 9 == 0 else f"Recipe {n}, washed", 90.0 - n, 84.0 - n, 95.0 - 0.9 * n)
        for n in range(1, recipes + 1)
    )
    return Section(
        "recipes",
        "Recipes",
        (f"{recipes} recipes were checked; those brewed fewer than 5 times are not listed.",),
        Bars("recipes", "Inside target by recipe, TDS", "of 100 checks", 0, bars, (0, 100)),
        _table("recipes", "Recipes", bars),
    )


def spread() -> Section:
    bars = (
        Bar("people", 0.031, 0.018, 0.052),
        Bar("days", 0.022, 0.011, 0.040),
        Bar("people on days, with brew to brew", 0.035, 0.031, 0.040),
        Bar("instrument", 0.012, None, None, None, "", "from its checks"),
    )
    return Section(
        "spread",
        "What the spread is made of",
        ("People make the largest part, then single brews.",),
        Bars("spread", "Standard deviations, TDS", "% TDS", 3, bars, None, filled=True),
        _table("spread", "Parts of the spread", bars, 3),
        ("Intermediate precision in the sense of ISO 5725-3: how brews differ by day and by hand.",),
    )


def change() -> Section:
    bars = (
        Bar("TDS", 4.0, -1.0, 9.0, None, "close"),
        Bar("Extraction yield", 1.0, -5.0, 7.0, None, "close"),
        Bar("Brew time", -9.0, -15.0, -3.0, None, "low"),
    )
    return Section(
        "change",
        "Against September",
        ("Only brew time changed by more than chance would.",),
        Bars(
            "change",
            "Change in the share inside target",
            "of 100 checks, now less before",
            0,
            bars,
            None,
            zero=True,
        ),
        _table("change", "Against September", bars),
    )


def days(is_time: bool = False) -> Section:
    middle, unit = (170.0, 8.0) if is_time else (1.40, 0.02)
    points = tuple(
        Point(
            FIRST + timedelta(days=n),
            middle + unit * ((n * 7) % 5 - 2) * (2.2 if n == 20 else 0.6),
            middle + unit * (((n * 7) % 5 - 2) * (2.2 if n == 20 else 0.6) - 1),
            middle + unit * (((n * 7) % 5 - 2) * (2.2 if n == 20 else 0.6) + 1),
            None if n < 3 else middle - 2.4 * unit,
            None if n < 3 else middle + 2.4 * unit,
            n == 20,
        )
        for n in range(31)
        if n % 7 != 6
    )
    cells = tuple(
        (
            p.day.isoformat(),
            clock(p.value) if is_time else fixed(p.value, 2),
            "beyond" if p.is_outside else "",
        )
        for p in points
    )
    return Section(
        "days",
        "Day by day",
        ("One day, 21 Oct, lay beyond what days usually do.",),
        Days(
            "days",
            "Brew time by day" if is_time else "TDS by day",
            "m:ss" if is_time else "TDS, %",
            0 if is_time else 2,
            is_time,
            points,
            (
                (FIRST, date(2026, 10, 14), middle - 5 * unit, middle + 5 * unit),
                (date(2026, 10, 15), LAST, middle - 4 * unit, middle + 4 * unit),
            ),
            (
                (date(2026, 10, 15), "version 4"),
                (date(2026, 10, 19), "grinder cleaned"),
                (date(2026, 10, 20), "new batch"),
            ),
        ),
        Table(
            "days",
            "Days",
            ("Day", "Value", "Beyond"),
            cells,
            ("day", "value", "low", "high", "is beyond"),
            tuple((p.day.isoformat(), p.value, p.low, p.high, int(p.is_outside)) for p in points),
        ),
    )


def nothing() -> Section:
    return Section(
        "cost", "What checks cost", (), notes=("No price is set for any batch, so nothing is said of money.",)
    )


def _table(key: str, title: str, bars: tuple[Bar, ...], decimals: int = 0) -> Table:
    def shown(value: float | None) -> str:
        return "–" if value is None else fixed(value, decimals)

    return Table(
        key,
        title,
        ("What", "Now", "Interval (95 %)", "Before", "Verdict"),
        tuple(
            (
                bar.label,
                shown(bar.value),
                "–" if bar.low is None else f"{shown(bar.low)} – {shown(bar.high)}",
                shown(bar.before[0] if bar.before else None),
                bar.mark,
            )
            for bar in bars
        ),
        ("what", "now", "low (95 %)", "high (95 %)", "before", "verdict"),
        tuple(
            (bar.label, bar.value, bar.low, bar.high, bar.before and bar.before[0], bar.mark) for bar in bars
        ),
    )
