"""What is foreseen of a plan, as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from textwrap import wrap
from typing import TypeVar

from brewbar.units import clock, degree_figure, degree_unit, degrees, fixed, grams, ratio, trimmed
from recipes.brewing.cautions import SPOUT_HIGH_MM
from recipes.brewing.findings import Finding, Severity
from recipes.brewing.foresight import Foresight, PourForesight
from recipes.brewing.plan import PourPlan, added_g, ends_at_s
from recipes.brewing.plan_answer import foreseen
from recipes.brewing.plan_file import PlanFile
from recipes.brewing.practice import about_mm
from recipes.brewing.safety import POURING
from recipes.brewing.stream import Basis, Heights

WIDTH = 100
OPEN = "–"
_BASES = {Basis.ASSUMED: "assumed", Basis.ELSEWHERE: "widened", Basis.MEASURED: "measured"}

Value = TypeVar("Value")


def text(file: PlanFile) -> str:
    seen, findings = foreseen(file)
    numbered = [(number, pour) for number, pour in enumerate(seen.pours, 1) if pour]
    parts = (
        [_plan(file.plan)],
        _asked(file.plan),
        _streams(numbered),
        _details(numbered),
        _sentences(file, seen),
        _findings(findings),
        ["Hot water", *(line for caution in POURING for line in _wrapped(f"- {caution}", 2))],
    )
    return "\n\n".join("\n".join(lines) for lines in map(list, parts) if lines)


def _plan(plan: PourPlan) -> str:
    by = f" ({ratio(plan.water_g, plan.dose_g)})" if plan.water_g is not None and plan.dose_g else ""
    hot = "at the boil" if plan.at_the_boil else f"at {_or_open(degrees, plan.water_temperature_C)}"
    return f"{_or_open(grams, plan.dose_g)} of coffee, {_or_open(grams, plan.water_g)} of water{by} {hot}"


def _asked(plan: PourPlan) -> Iterator[str]:
    rows = [
        (
            str(number),
            _or_open(clock, pour.starts_at_s),
            _or_open(clock, end),
            _or_open(grams, added),
            _or_open(grams, pour.to_g),
            _or_open(lambda flow: f"{trimmed(flow, 2)} g/s", pour.flow_g_s),
            _or_open(lambda height: f"{trimmed(height, 0)} mm", pour.spout_height_mm),
            f"{pour.pattern}, then {pour.after}" if pour.after else str(pour.pattern),
        )
        for number, (pour, added, end) in enumerate(
            zip(plan.pours, added_g(plan), ends_at_s(plan), strict=True), 1
        )
    ]
    heads = ("pour", "begins", "ends", "adds", "scale shows", "flow", "spout", "pattern")
    return _table("What the plan asks for", heads, rows)


def _streams(pours: Sequence[tuple[int, PourForesight]]) -> Iterator[str]:
    rows = [
        (
            str(number),
            degrees(pour.water_C, 1),
            f"{about_mm(pour.breakup_height_mm.low_mm)} to {about_mm(pour.breakup_height_mm.high_mm)} mm",
            _BASES[pour.breakup_height_mm.basis],
            _suggested(pour.recommended_height_mm),
            _or_open(lambda column: f"{fixed(column[0], 0)} to {fixed(column[1], 0)} mm", pour.column_mm),
            _or_open(lambda energy: f"{fixed(energy, 0)} mJ", pour.energy_mJ),
            _or_open(str, pour.state),
        )
        for number, pour in pours
    ]
    heads = ("pour", "water", "breaks above", "which is", "try", "column", "at the bed", "stream")
    return _table("What the streams do", heads, rows)


def _suggested(heights: Heights) -> str:
    """Of what would splash nothing is suggested, however long the stream stays whole."""
    low, high = (about_mm(min(height, SPOUT_HIGH_MM)) for height in (heights.low_mm, heights.high_mm))
    return f"{low} mm" if low == high else f"{low} to {high} mm"


def _details(pours: Sequence[tuple[int, PourForesight]]) -> Iterator[str]:
    rows = [
        (
            str(number),
            f"{fixed(pour.exit_velocity_m_s, 2)} m/s",
            _or_open(lambda velocity: f"{fixed(velocity, 2)} m/s", pour.impact_velocity_m_s),
            _or_open(lambda diameter: f"{fixed(diameter, 1)} mm", pour.stream_diameter_at_impact_mm),
            _or_open(lambda momentum: f"{fixed(momentum, 0)} mN s", pour.momentum_mN_s),
            fixed(pour.reynolds, 0),
            fixed(pour.weber, 1),
            fixed(pour.ohnesorge, 5),
            str(pour.regime),
        )
        for number, pour in pours
    ]
    heads = ("pour", "leaves", "lands", "as wide as", "momentum", "Re", "We", "Oh", "in the spout")
    return _table("Details", heads, rows)


def _sentences(file: PlanFile, seen: Foresight) -> Iterator[str]:
    if any(pour and not pour.breakup_height_mm.measured for pour in seen.pours):
        yield from _wrapped(
            "Where a stream breaks is assumed of a kettle that was not measured, and widened where it was measured in "
            "other streams only."
        )
    if not seen.complete:
        if file.plan.pours:
            yield "Not followed to its end: a number is open, or does not fit the others."
        return
    if seen.poured_out_s is not None and seen.tallest_mm is not None:
        tallest = fixed(seen.tallest_mm, 0)
        yield f"The last pour ends at {clock(seen.poured_out_s)}. The tallest column is {tallest} mm."
    if seen.energy_mJ is None:
        yield from _wrapped(
            "No energy in all: none is told of a stream that has probably broken, drips, runs down the wall or is "
            "raised and lowered, nor without a spout height."
        )
    else:
        yield f"In all, {fixed(seen.energy_mJ, 0)} mJ reach the bed{_split(seen, seen.energy_mJ)}."
    if seen.mean_C:
        low, best, high = (
            degree_figure(value, 0) for value in (seen.mean_C.low, seen.mean_C.best, seen.mean_C.high)
        )
        yield f"What runs out is {low} to {high} {degree_unit()} warm on average, most likely {best}."
    yield _brew_time(seen, file)


def _split(seen: Foresight, total_mJ: float) -> str:
    parts = [pour.energy_mJ for pour in seen.pours if pour and pour.energy_mJ is not None]
    if len(parts) < 2 or total_mJ <= 0:
        return ""
    return ", by pours " + " + ".join(f"{fixed(100 * part / total_mJ, 0)} %" for part in parts)


def _brew_time(seen: Foresight, file: PlanFile) -> str:
    time = seen.brew_time
    if time is None or file.bed is None:
        return f"Not enough brews yet for a forecast of the brew time: {seen.brews_needed} more."
    low, best, high = ("never" if at is None else clock(at) for at in (time.low_s, time.best_s, time.high_s))
    return f"Brew time {best}; 95 of 100 brews end between {low} and {high}, by the {file.bed.brews} logged so far."


def _findings(findings: Sequence[Finding]) -> Iterator[str]:
    yield "What is wrong or doubtful" if findings else "Nothing is wrong or doubtful."
    for finding in findings:
        kind = "Error" if finding.severity is Severity.ERROR else "Warning"
        rule = f" ({finding.rule}, common practice)" if finding.rule else ""
        yield from _wrapped(f"- {kind}{rule}: {finding.what}", 2)
        yield from _wrapped(f"  {finding.mend}", 2)


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Columns to the right, but for the words of the last."""
    if not rows:
        return
    yield title
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    for row in (heads, *rows):
        *figures, words = row
        yield "  ".join([*(cell.rjust(width) for cell, width in zip(figures, widths, strict=False)), words])


def _wrapped(sentence: str, indent: int = 0) -> list[str]:
    first = " " * (len(sentence) - len(sentence.lstrip()))
    return wrap(sentence.strip(), WIDTH, initial_indent=first, subsequent_indent=" " * indent)


def _or_open(said: Callable[[Value], str], value: Value | None) -> str:
    return OPEN if value is None else said(value)
