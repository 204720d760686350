"""What is foreseen of a plan, as one object for a machine: finite numbers, unrounded, and null for what a plan
cannot say.
"""

from collections.abc import Callable, Sequence
from typing import Any

from recipes.brewing.drawdown import BedFit
from recipes.brewing.findings import Finding
from recipes.brewing.foresight import Curves, Foresight, PourForesight, foresee
from recipes.brewing.plan import added_g, ends_at_s, review
from recipes.brewing.plan_file import PlanFile


def foreseen(file: PlanFile) -> tuple[Foresight, tuple[Finding, ...]]:
    """What the plan will do, and everything wrong or doubtful in it."""
    seen = foresee(file.plan, file.kettle, file.brewer, file.bed, file.cafe)
    return seen, (*review(file.plan, file.kettle, file.brewer, file.cafe), *seen.findings)


def answer(file: PlanFile) -> dict[str, Any]:
    seen, findings = foreseen(file)
    parts = zip(seen.pours, added_g(file.plan), ends_at_s(file.plan), strict=True)
    mean, brew_time = seen.mean_C, seen.brew_time
    return {
        "findings": [_finding(finding) for finding in findings],
        "pours": [_pour(pour, added, end) for pour, added, end in parts],
        "curves": _curves(seen.curves),
        "complete": seen.complete,
        "energy_mJ": seen.energy_mJ,
        "momentum_mN_s": seen.momentum_mN_s,
        "poured_out_s": seen.poured_out_s,
        "tallest_column_mm": seen.tallest_mm,
        "outflow_temperature_C": _low_best_high((mean.low, mean.best, mean.high) if mean else None),
        "brew_time_s": _low_best_high(
            (brew_time.low_s, brew_time.best_s, brew_time.high_s) if brew_time else None
        ),
        "conductance": _bed(file.bed),
        "brews_needed": seen.brews_needed,
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "severity": finding.severity.value,
        # the rule of the trade, or the name of ours
        "rule": finding.rule or finding.code,
        "pour": None if finding.where == "plan" else finding.where + 1,
        "message": finding.what,
        "remedy": finding.mend,
    }


def _pour(pour: PourForesight | None, added: float | None, end_s: float | None) -> dict[str, Any]:
    def said(what: Callable[[PourForesight], Any]) -> Any:
        return what(pour) if pour else None

    return {
        "added_g": added,
        "ends_at_s": end_s,
        "exit_velocity_m_s": said(lambda pour: pour.exit_velocity_m_s),
        "impact_velocity_m_s": said(lambda pour: pour.impact_velocity_m_s),
        "stream_diameter_at_impact_mm": said(lambda pour: pour.stream_diameter_at_impact_mm),
        "reynolds": said(lambda pour: pour.reynolds),
        "weber": said(lambda pour: pour.weber),
        "ohnesorge": said(lambda pour: pour.ohnesorge),
        "regime": said(lambda pour: pour.regime.value),
        "breakup_height_mm": said(_breakup),
        "recommended_height_mm": said(_recommended),
        "energy_mJ": said(lambda pour: pour.energy_mJ),
        "momentum_mN_s": said(lambda pour: pour.momentum_mN_s),
        "temperature_C": said(lambda pour: pour.water_C),
        "stream": said(lambda pour: pour.state and pour.state.value),
        "column_mm": said(_column),
    }


def _breakup(pour: PourForesight) -> dict[str, Any]:
    breaks = pour.breakup_height_mm
    band = {"low": breaks.low_mm, "best": breaks.best_mm, "high": breaks.high_mm}
    return band | {"measured": breaks.measured}


def _recommended(pour: PourForesight) -> dict[str, float]:
    return {"low": pour.recommended_height_mm.low_mm, "high": pour.recommended_height_mm.high_mm}


def _column(pour: PourForesight) -> dict[str, float] | None:
    return pour.column_mm and {"before": pour.column_mm[0], "after": pour.column_mm[1]}


def _curves(curves: Curves | None) -> dict[str, Any]:
    """With nothing in them where there is no brew to follow."""
    if curves is None:
        curves = Curves((), (), (), (), (), ())
    temperatures = curves.slurry_low_C, curves.slurry_C, curves.slurry_high_C
    return {
        "t_s": list(curves.t_s),
        "poured_g": list(curves.poured_g),
        "column_mm": list(curves.column_mm),
        "slurry_temperature_C": _low_best_high([list(line) for line in temperatures]),
    }


def _low_best_high(three: Sequence[Any] | None) -> dict[str, Any] | None:
    return None if three is None else dict(zip(("low", "best", "high"), three, strict=True))


def _bed(bed: BedFit | None) -> dict[str, Any] | None:
    """As the key of that name in a plan file wants it."""
    if bed is None or bed.conductance_m2_s is None:
        return None
    fit = {"low_m2_s": bed.next_low, "best_m2_s": bed.conductance_m2_s, "high_m2_s": bed.next_high}
    return fit | {"brews": bed.brews}
