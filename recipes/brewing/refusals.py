"""Rules whose findings block publishing: the plan cannot be brewed as it is written, or not safely.

What the masses allow stands in `reach`.
"""

from collections.abc import Iterator
from itertools import pairwise
from math import ceil
from typing import NamedTuple

from brewbar.units import clock
from recipes.brewing.findings import Bar, Finding, Rule, Severity, Where, plain
from recipes.brewing.pours import PourPlan, added_g, ends_at_s
from recipes.brewing.reach import targets_fit_the_masses

SPOUT_MAX_MM = 300.0  # splash and scald: the house's limit, engineering estimate, no source

# Below what the scales and clocks of a bar show, so that nobody is refused over a rounding.
_SAME_G = 0.005
_SAME_S = 0.5


class _Number(NamedTuple):
    field: str
    name: str
    unit: str
    needed: bool = True
    may_be_zero: bool = False


_PLAN_NUMBERS = (
    _Number("dose_g", "dose", "g"),
    _Number("water_g", "brew water", "g"),
    _Number("water_temperature_C", "water temperature", "°C"),
    _Number("bypass_g", "bypass water", "g", may_be_zero=True),
    _Number("ice_g", "ice", "g", may_be_zero=True),
    _Number("tds_target", "TDS target", "%", needed=False),
    _Number("tds_tolerance", "TDS tolerance", "%", needed=False),
    _Number("ey_target", "extraction yield target", "%", needed=False),
    _Number("ey_tolerance", "extraction yield tolerance", "%", needed=False),
    _Number("brew_time_s", "brew time target", "s", needed=False),
    _Number("brew_time_tolerance_s", "brew time tolerance", "s", needed=False),
)
_POUR_NUMBERS = (
    _Number("starts_at_s", "start time", "s", may_be_zero=True),
    _Number("to_g", "target weight", "g"),
    _Number("flow_g_s", "flow", "g/s"),
    _Number("spout_height_mm", "spout height", "mm", may_be_zero=True),
    _Number("temperature_C", "water temperature", "°C", needed=False),
)
_TARGETS = (
    ("tds_target", "tds_tolerance", "TDS", "%"),
    ("ey_target", "ey_tolerance", "extraction yield", "%"),
    ("brew_time_s", "brew_time_tolerance_s", "brew time", "s"),
)


def no_pours(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    if not plan.pours:
        yield _error("no-pours", "plan", None, "The plan has no pours.", "Add the first pour, the bloom.")


def numbers_missing_or_out_of_range(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    for number in _PLAN_NUMBERS:
        if number.field != "water_temperature_C" or not plan.at_the_boil:
            yield from _judged(number, "plan", "the plan", getattr(plan, number.field))
    for index, pour in enumerate(plan.pours):
        for number in _POUR_NUMBERS:
            yield from _judged(number, index, f"pour {index + 1}", getattr(pour, number.field))


def targets_without_tolerance(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    for target, tolerance, name, unit in _TARGETS:
        if getattr(plan, target) is not None and getattr(plan, tolerance) is None:
            what = f"The {name} target has no tolerance."
            mend = f"Enter by how much the {name} may differ from its target, in {unit}."
            yield _error("missing", "plan", tolerance, what, mend)


def last_weight_is_the_water(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """Common practice, no source: a plan that ends at any other weight is a mistake, always."""
    if not plan.pours or plan.water_g is None or plan.pours[-1].to_g is None:
        return
    last, end_g = len(plan.pours) - 1, plan.pours[-1].to_g
    missing_g = plan.water_g - end_g
    if abs(missing_g) < _SAME_G:
        return
    water, end, apart = plain(plan.water_g), plain(end_g), plain(abs(missing_g))
    begin = f"The pours end at {end} g but the recipe's brew water is {water} g"
    if missing_g > 0:
        mend = f"Raise the last pour to {water} g, or change the brew water to {end} g."
        yield _error("water-missing", last, "to_g", f"{begin}: {apart} g is missing.", mend)
    else:
        mend = f"Lower the pours so that the last ends at {water} g, or change the brew water to {end} g."
        yield _error("water-over", last, "to_g", f"{begin}: {apart} g is too much.", mend)


def weights_rise(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    before_g = None
    for number, pour in enumerate(plan.pours, 1):
        if pour.to_g is None:
            continue
        if before_g is not None and pour.to_g <= before_g:
            to, before, total = plain(pour.to_g), plain(before_g), plain(before_g + pour.to_g)
            what = f"Pour {number} goes to {to} g, but the scale already shows {before} g."
            mend = (
                f"Enter what the scale shows when pour {number} ends, above {before} g; "
                f"if it adds {to} g, that is {total} g."
            )
            yield _error("weight-order", number - 1, "to_g", what, mend)
        before_g = pour.to_g


def times_rise(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    before_s = None
    for number, pour in enumerate(plan.pours, 1):
        if pour.starts_at_s is None:
            continue
        if before_s is not None and pour.starts_at_s <= before_s:
            start, before = clock(pour.starts_at_s), clock(before_s)
            what = f"Pour {number} begins at {start}, but the pour before it begins at {before}."
            mend = f"Begin pour {number} after {before}, or change the order of the pours."
            yield _error("time-order", number - 1, "starts_at_s", what, mend)
        before_s = pour.starts_at_s


def pours_end_before_the_next(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    fastest = bar.kettle.flow_max_g_s if bar.kettle else None
    ends, added = ends_at_s(plan), added_g(plan)
    for index, (pour, following) in enumerate(pairwise(plan.pours)):
        end, more, start, limit = ends[index], added[index], pour.starts_at_s, following.starts_at_s
        if end is None or more is None or start is None or limit is None or pour.flow_g_s is None:
            continue
        if limit <= start or end <= limit + _SAME_S:
            continue
        pace = f"{plain(more)} g at {plain(pour.flow_g_s)} g/s"
        what = (
            f"Pour {index + 1} begins at {clock(start)} and adds {pace}. "
            f"It ends at {clock(end)}, but pour {index + 2} begins at {clock(limit)}."
        )
        flow_g_s = ceil(round(10 * more / (limit - start), 6)) / 10
        mend = f"Begin pour {index + 2} at {clock(ceil(round(end, 6)))} or later"
        if fastest is None or flow_g_s <= fastest:
            mend += f", or pour at {plain(flow_g_s)} g/s or faster."
        else:
            mend += f"; this kettle pours no faster than {plain(fastest)} g/s."
        yield _error("overlap", index, "flow_g_s", what, mend)


def kettle_holds_the_water(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    capacity_g = bar.kettle.capacity_g if bar.kettle else None
    if bar.kettle and capacity_g is not None and plan.water_g is not None and plan.water_g > capacity_g:
        water, holds = plain(plan.water_g), plain(capacity_g)
        what = f"The recipe pours {water} g but the kettle {bar.kettle.name} holds {holds} g."
        mend = f"Choose a larger kettle, or a brew water of {holds} g or less."
        yield _error("kettle-too-small", "plan", "water_g", what, mend)


def masses_allow_the_targets(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    for code, field, what, mend in targets_fit_the_masses(plan):
        yield _error(code, "plan", field, what, mend)


def brew_time_after_the_last_pour(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    last_s = max((end for end in ends_at_s(plan) if end is not None), default=None)
    if last_s is not None and plan.brew_time_s is not None and plan.brew_time_s < last_s - _SAME_S:
        target, end = clock(plan.brew_time_s), clock(last_s)
        what = f"The brew time target is {target} but the pours end at {end}."
        mend = f"Set a brew time that leaves the bed time to drain after {end}, or pour earlier or faster."
        yield _error("brew-time", "plan", "brew_time_s", what, mend)


def spout_not_too_high(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    limit = plain(SPOUT_MAX_MM)
    for index, pour in enumerate(plan.pours):
        if pour.spout_height_mm is not None and pour.spout_height_mm > SPOUT_MAX_MM:
            height = plain(pour.spout_height_mm)
            what = (
                f"Pour {index + 1} holds the spout {height} mm up: from there hot water splashes and scalds."
            )
            mend = f"Hold the spout at {limit} mm or lower; up to 150 mm raises no warning."
            yield _error("spout-too-high", index, "spout_height_mm", what, mend)


REFUSALS: tuple[Rule, ...] = (
    no_pours,
    numbers_missing_or_out_of_range,
    targets_without_tolerance,
    last_weight_is_the_water,
    weights_rise,
    times_rise,
    pours_end_before_the_next,
    kettle_holds_the_water,
    masses_allow_the_targets,
    brew_time_after_the_last_pour,
    spout_not_too_high,
)


def _judged(number: _Number, where: Where, whose: str, value: float | None) -> Iterator[Finding]:
    field, name, unit, needed, may_be_zero = number
    if value is None:
        if needed:
            what, mend = f"{whose.capitalize()} has no {name}.", f"Enter the {name} in {unit}."
            yield _error("missing", where, field, what, mend)
    elif value < 0 or (value == 0 and not may_be_zero):
        allowed = "0 or more" if may_be_zero else "above 0"
        what = f"The {name} of {whose} is {plain(value)} {unit}."
        yield _error("out-of-range", where, field, what, f"Enter a number of {allowed}, in {unit}.")


def _error(code: str, where: Where, field: str | None, what: str, mend: str) -> Finding:
    return Finding(Severity.ERROR, code, where, field, what, mend)
