"""A pour plan as the steps of a timer: what to do from when, up to which weight."""

from __future__ import annotations

from dataclasses import dataclass

from brewbar.units import clock
from recipes.brewing.plan import PourPlan, ends_at_s
from recipes.timeline import PlanRow, plan_rows


@dataclass(frozen=True)
class Step:
    """starts_s, ends_s: of its stream, from first water; to_g: what the scale shows at its end; row: in words.

    A step without a row is the drawdown: the bed shows at ``ends_s``.
    """

    starts_s: float
    ends_s: float
    to_g: float | None = None
    row: PlanRow | None = None

    @property
    def starts(self) -> str:
        return clock(self.starts_s)

    @property
    def ends(self) -> str:
        return clock(self.ends_s)


def steps(plan: PourPlan) -> list[Step]:
    """Every pour that has a start, and the drawdown where a brew time is planned."""
    starts = [pour.starts_at_s for pour in plan.pours]
    brew_s = plan.brew_time_s
    found = []
    for place, (pour, row, end) in enumerate(zip(plan.pours, plan_rows(plan), ends_at_s(plan), strict=True)):
        if pour.starts_at_s is None:
            continue
        after = next((start for start in starts[place + 1 :] if start is not None), brew_s)
        # Without a flow nobody knows when a pour ends: it may last until the next.
        until = end if end is not None else after
        found.append(Step(pour.starts_at_s, until or pour.starts_at_s, pour.to_g, row))
    if found and brew_s is not None and brew_s > found[-1].ends_s:
        found.append(Step(found[-1].ends_s, brew_s))
    return found
