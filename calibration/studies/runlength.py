"""How long a chart runs before it signals. See `calibration.statistics.run_length`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.statistics.run_length import average_run_length
from calibration.statistics.run_rules import Rules
from calibration.statistics.schemes import Cusum, Ewma
from calibration.studies.answer import Answer, figure, table
from calibration.studies.options_used import defaults, only_for
from calibration.studies.sheet import Unusable

LONGEST = 1e12  # equations of a chain that signals more seldom have too few digits left

USES = {"cusum": ("k", "h"), "ewma": ("lambda_", "width"), "rules": ("rules",)}


def study(_sheet: None, given: Mapping[str, Any]) -> Answer:
    only_for(given, USES)
    known = defaults(given, USES[given["kind"]])
    scheme: Cusum | Ewma | Rules
    match given["kind"]:
        case "cusum":
            scheme = Cusum(**known)
        case "ewma":
            scheme = Ewma(**known)
        case _:
            scheme = Rules(known.get("rules", (1, 2, 3, 4)))
    if len(set(getattr(scheme, "numbers", ()))) < len(getattr(scheme, "numbers", ())):
        raise Unusable("--rules names one rule twice.")
    shift = given["shift"]
    arl: float | None = average_run_length(scheme, shift)
    if arl is not None and arl > LONGEST:
        arl = None
    said = "over a million million" if arl is None else figure(arl)
    sentences = [
        f"With a mean that has moved by {shift:g} σ, the chart signals after {said} readings on average."
        if shift
        else f"While nothing has moved, chance alone makes the chart signal after {said} readings on average.",
        "That is from the centre on, for independent normal readings and limits that are known well.",
    ]
    return Answer(
        {"arl": arl},
        table(("chart", "shift, σ", "readings"), [(_words(scheme), f"{shift:g}", said)]),
        sentences,
    )


def _words(scheme: Cusum | Ewma | Rules) -> str:
    match scheme:
        case Cusum(k, h):
            return f"cusum, k {k:g}, h {h:g}"
        case Ewma():
            return f"ewma, lambda {scheme.lambda_:g}, width {scheme.width:g}"
        case Rules():
            return f"Western Electric rules {', '.join(map(str, scheme.numbers))}"
