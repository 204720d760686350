"""The front door to pour plans: their shapes, and `review`, which says what is wrong and what mends it.

The shapes and their arithmetic stand in `pours`, the rules in `refusals`, `cautions` and `practice`, two plans
side by side in `comparison`, a plan for more or fewer cups in `scaling`, and what a plan will do in `foresight`.
"""

from recipes.brewing.bed import Brewer
from recipes.brewing.cautions import CAUTIONS
from recipes.brewing.comparison import Comparison, compare
from recipes.brewing.findings import Bar, Conditions, Finding, Severity
from recipes.brewing.pours import (
    After,
    Instrument,
    Kettle,
    Pattern,
    Pour,
    PourPlan,
    added_g,
    brew_ratio,
    ends_at_s,
    gaps,
    timeline,
)
from recipes.brewing.practice import PRACTICE
from recipes.brewing.refusals import REFUSALS
from recipes.brewing.scaling import Scaled, scale
from recipes.brewing.water import boiling_point_C

__all__ = [
    "After",
    "Brewer",
    "Comparison",
    "Conditions",
    "Finding",
    "Instrument",
    "Kettle",
    "Pattern",
    "Pour",
    "PourPlan",
    "Scaled",
    "Severity",
    "added_g",
    "brew_ratio",
    "compare",
    "ends_at_s",
    "gaps",
    "review",
    "scale",
    "timeline",
]


def review(
    plan: PourPlan,
    kettle: Kettle | None = None,
    brewer: Brewer | None = None,
    cafe: Conditions | None = None,
    instrument: Instrument | None = None,
) -> tuple[Finding, ...]:
    """Everything wrong (errors, which block publishing) or doubtful (warnings) in a plan.

    Errors come first, then the plan as a whole before its pours, in their order. Raises ValueError for an
    altitude outside the range of `boiling_point_C`.
    """
    bar = Bar(boiling_point_C((cafe or Conditions()).altitude_m), kettle, brewer, instrument)
    found = [finding for rule in REFUSALS + CAUTIONS + PRACTICE for finding in rule(plan, bar)]
    return tuple(sorted(found, key=_order))


def _order(finding: Finding) -> tuple[bool, int]:
    return (finding.severity is Severity.WARNING, -1 if finding.where == "plan" else int(finding.where))
