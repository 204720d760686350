"""Control charts. See `calibration.statistics.charts`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from calibration.statistics.chart_results import Line
from calibration.statistics.charts import (
    Chart,
    Cusum,
    Ewma,
    Handbook,
    Rules,
    average_run_length,
    averages,
    cusum,
    ewma,
    individuals,
    promise,
)
from calibration.studies.answer import UNKNOWN, Answer, figure, name, table
from calibration.studies.columns import enough, picked
from calibration.studies.options_used import defaults, only_for
from calibration.studies.runlength import LONGEST
from calibration.studies.sheet import Sheet, Unusable

MOST_SIGNALS = 20
USES = {
    "imr": ("width", "rules", "nelson"),
    "xbar-r": ("width", "rules", "nelson", "group"),
    "xbar-s": ("width", "rules", "nelson", "group"),
    "ewma": ("width", "lambda_", "outer", "steady"),
    "cusum": ("k", "h"),
}


def study(sheet: Sheet, given: Mapping[str, Any]) -> Answer:
    only_for(given, USES)
    kind = given["kind"]
    if kind.startswith("xbar") and given["group"] is None:
        raise Unusable(f"--kind {kind} needs --group, a column that says which readings belong together.")
    with picked(sheet, 1, "A chart") as columns:
        y = columns.numbers(given["value"])
        groups = columns.labels(given["group"]) if given["group"] is not None else []
    if given["sigma"] is None:
        enough(len(y), 2, "A chart without --sigma")
    found = _chart(kind, y, groups, given)
    keys: dict[str, Any] = {
        "centre": found.centre,
        "low": found.low,
        "high": found.high,
        "points": found.points,
    }
    if kind not in {"ewma", "cusum"}:
        spread = found.within
        keys["within"] = {
            "centre": spread.centre if spread else None,
            "low": spread.low if spread else None,
            "high": spread.high if spread else None,
        }
    if kind == "cusum":
        keys |= {"high_side": found.high_side, "low_side": found.low_side}
    keys["signals"] = [{"index": signal.index, "rule": signal.rule} for signal in found.signals]
    return Answer(keys, _table(found), _sentences(found), [found.reason] if found.reason else [])


def _chart(kind: str, y: list[float], groups: list[str], given: Mapping[str, Any]) -> Chart:
    shared = {option: given[option] for option in ("target", "sigma", "baseline", "printed")}
    width = defaults(given, ("width",))
    match kind:
        case "imr":
            return individuals(y, **shared, **width, rules=_rules(given))
        case "ewma":
            own = defaults(given, ("lambda_", "width", "outer"))
            return ewma(y, Ewma(**own, steady=given["steady"]), **shared)
        case "cusum":
            return cusum(y, Cusum(**defaults(given, ("k", "h"))), **shared)
        case _:
            spread: Literal["R", "S"] = "R" if kind == "xbar-r" else "S"
            return averages(y, groups, spread=spread, **shared, **width, rules=_rules(given))


def _rules(given: Mapping[str, Any]) -> Rules | None:
    if given["rules"] and given["nelson"]:
        raise Unusable("Watch --rules or --nelson, not both at once: they overlap.")
    if given["nelson"]:
        return Rules(given["nelson"], Handbook.NELSON)
    return Rules(given["rules"]) if given["rules"] else None


def _table(found: Chart) -> list[str]:
    what = {"cusum": "sums", "ewma": "moving averages", "imr": "readings"}.get(found.kind, "means of groups")
    centre = "0" if found.kind == "cusum" else figure(found.centre)
    rows = [(what, centre, _line(found.low), _line(found.high))]
    if found.within:
        spread = {"R": "ranges", "S": "standard deviations"}.get(found.within.spread, "moving ranges")
        rows.append((spread, _line(found.within.centre), _line(found.within.low), _line(found.within.high)))
    if found.outer_low is not None and found.outer_high is not None:
        rows.append(("single readings", centre, figure(found.outer_low), figure(found.outer_high)))
    lines = table(("", "centre", "low", "high"), rows)
    if found.signals:
        seen = [(_point(found, one.index), one.words) for one in found.signals]
        told = table(("signal at", "what was seen"), seen, MOST_SIGNALS)
        lines += ["", *told]
    return lines


def _point(found: Chart, index: int) -> str:
    return f"{index} ({name(found.groups[index - 1])})" if found.groups else str(index)


def _line(line: Line | None) -> str:
    if not isinstance(line, tuple):
        return figure(line)
    known = [value for value in line if value is not None]
    if not known:
        return UNKNOWN
    return f"{figure(min(known))} to {figure(max(known))}"


def _sentences(found: Chart) -> list[str]:
    points = f"{len(found.points)} points about {figure(found.centre)}"
    if found.sigma is None:
        return [f"{points}.", "Without a standard deviation there are no limits."]
    first = f"{points}, with {figure(found.sigma)} as the standard deviation of one reading: "
    signalled = sorted({signal.index for signal in found.signals})
    if not signalled:
        first += "nothing signals."
    elif len(signalled) == 1:
        first += f"point {signalled[0]} signals."
    else:
        first += f"{len(signalled)} points signal, first point {signalled[0]}."
    if found.scheme is None:
        return [first, "How often chance alone makes such a chart signal is not known exactly."]
    if average_run_length(found.scheme) > LONGEST:
        return [first, "Chance alone next to never makes this chart signal."]
    return [first, promise(found.scheme)]
