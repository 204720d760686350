"""Two instruments on the same brews. See `calibration.statistics.agreement`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.statistics.agreement import Agreement, agreement
from calibration.statistics.mean_squares import Interval
from calibration.studies.answer import Answer, chance, figure, span, table
from calibration.studies.columns import Columns, picked
from calibration.studies.sheet import Sheet, Unusable, shortened


def study(sheet: Sheet, given: Mapping[str, Any]) -> Answer:
    with picked(sheet, 2, "A study of agreement") as columns:
        repeats = [_repeats(columns, given[side]) for side in ("a", "b")]
    faults = [
        f"Row {number}, --{side}: {why}."
        for side, rows in zip("ab", repeats, strict=True)
        for number, row in zip(sheet.numbers, rows, strict=True)
        if (why := _wrong(row, given["ratio"]))
    ]
    if faults:
        raise Unusable(*shortened(faults))
    a, b = repeats
    found = agreement(a, b, multiplier=given["multiplier"], ratio=given["ratio"])
    slope = found.slope
    keys = {
        "bias": found.bias,
        "sd": found.sd,
        "low": found.low,
        "high": found.high,
        "bias_interval": _ends(found.bias_interval),
        "low_interval": _ends(found.low_interval),
        "high_interval": _ends(found.high_interval),
        "slope": None if slope is None else slope.slope,
        "slope_interval": _ends(None if slope is None else slope.interval),
    }
    return Answer(keys, _table(found), _sentences(found), found.notes)


def _repeats(columns: Columns, listed: str) -> list[list[float]]:
    """What there is of each row; with a single column every cell counts."""
    names = columns.names(listed)
    if len(names) == 1:
        return [[value] for value in columns.numbers(names[0])]
    readings = [columns.numbers_with_gaps(name) for name in names]
    # columns that are missing are as short as nothing, and refused when all are picked
    return [[value for value in row if value is not None] for row in zip(*readings, strict=False)]


def _wrong(row: list[float], ratio: bool) -> str:
    if not row:
        return "there is no reading"
    return "a ratio needs readings above 0" if ratio and min(row) <= 0 else ""


def _ends(interval: Interval | None) -> dict[str, float | None]:
    return {
        "low": None if interval is None else interval.low,
        "high": None if interval is None else interval.high,
    }


def _table(found: Agreement) -> list[str]:
    rows = []
    for what, value, interval in (
        ("bias", found.bias, found.bias_interval),
        ("lower limit", found.low, found.low_interval),
        ("upper limit", found.high, found.high_interval),
        (
            "slope on the mean",
            None if found.slope is None else found.slope.slope,
            None if found.slope is None else found.slope.interval,
        ),
    ):
        ends = _ends(interval)
        rows.append((what, figure(value), span(ends["low"], ends["high"])))
    for side, within in (("a", found.within_sd_a), ("b", found.within_sd_b)):
        if within is not None:
            rows.append((f"SD of repeats, {side}", figure(within), ""))
    return table(("a over b" if found.ratio else "a less b", "", "95 % interval"), rows)


def _sentences(found: Agreement) -> list[str]:
    if found.ratio:
        first = f"On {found.n} brews, a reads {figure(found.bias)} times what b reads on average"
    elif found.bias == 0:
        first = f"On {found.n} brews, a reads as much as b on average"
    else:
        side = "above" if found.bias > 0 else "below"
        first = f"On {found.n} brews, a reads {figure(abs(found.bias))} {side} b on average"
    if found.low is not None and found.high is not None:
        what = "ratios" if found.ratio else "differences"
        first += f"; 95 of 100 single {what} lie between {figure(found.low)} and {figure(found.high)}"
    if found.slope is None:
        return [f"{first}.", "Whether that depends on how high they read cannot be told."]
    p = chance(found.slope.p)
    if found.slope.p < 0.05:
        return [
            f"{first}.",
            f"The difference changes with how high they read (p = {p}): one bias does not serve all.",
        ]
    return [f"{first}.", f"That the difference changes with how high they read does not show (p = {p})."]
