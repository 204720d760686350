"""Rules whose findings block publishing: the plan cannot be brewed as it is written, or not safely.

What the masses allow stands in `reach`.
"""

from collections.abc import Iterator
from itertools import pairwise
from math import ceil
from typing import NamedTuple

from brewbar.units import clock, degree_figure, degree_unit, degrees
from brewbar.words import gettext as _
from brewbar.words import gettext_noop
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

    @property
    def unit_shown(self) -> str:
        return degree_unit() if self.unit == "°C" else self.unit

    def shown(self, value: float) -> str:
        return degrees(value) if self.unit == "°C" else f"{plain(value)} {self.unit}"


_PLAN_NUMBERS = (
    _Number("dose_g", gettext_noop("dose"), "g"),
    _Number("water_g", gettext_noop("brew water"), "g"),
    _Number("water_temperature_C", gettext_noop("water temperature"), "°C"),
    _Number("bypass_g", gettext_noop("bypass water"), "g", may_be_zero=True),
    _Number("ice_g", gettext_noop("ice"), "g", may_be_zero=True),
    _Number("tds_target", gettext_noop("TDS target"), "%", needed=False),
    _Number("tds_tolerance", gettext_noop("TDS tolerance"), "%", needed=False),
    _Number("ey_target", gettext_noop("extraction yield target"), "%", needed=False),
    _Number("ey_tolerance", gettext_noop("extraction yield tolerance"), "%", needed=False),
    _Number("brew_time_s", gettext_noop("brew time target"), "s", needed=False),
    _Number("brew_time_tolerance_s", gettext_noop("brew time tolerance"), "s", needed=False),
)
_POUR_NUMBERS = (
    _Number("starts_at_s", gettext_noop("start time"), "s", may_be_zero=True),
    _Number("to_g", gettext_noop("target weight"), "g"),
    _Number("flow_g_s", gettext_noop("flow"), "g/s"),
    _Number("spout_height_mm", gettext_noop("spout height"), "mm", may_be_zero=True),
    _Number("temperature_C", gettext_noop("water temperature"), "°C", needed=False),
)
_TARGETS = (
    ("tds_target", "tds_tolerance", gettext_noop("TDS"), "%"),
    ("ey_target", "ey_tolerance", gettext_noop("extraction yield"), "%"),
    ("brew_time_s", "brew_time_tolerance_s", gettext_noop("brew time"), "s"),
)


def no_pours(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    if not plan.pours:
        yield _error(
            "no-pours", "plan", None, _("The plan has no pours."), _("Add the first pour, the bloom.")
        )


def numbers_missing_or_out_of_range(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    for number in _PLAN_NUMBERS:
        if number.field != "water_temperature_C" or not plan.at_the_boil:
            yield from _judged(number, "plan", getattr(plan, number.field))
    for index, pour in enumerate(plan.pours):
        for number in _POUR_NUMBERS:
            yield from _judged(number, index, getattr(pour, number.field))


def targets_without_tolerance(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    for target, tolerance, name, unit in _TARGETS:
        if getattr(plan, target) is not None and getattr(plan, tolerance) is None:
            words = {"name": _(name), "unit": unit}
            what = _("The %(name)s target has no tolerance.") % words
            mend = _("Enter by how much the %(name)s may differ from its target, in %(unit)s.") % words
            yield _error("missing", "plan", tolerance, what, mend)


def last_weight_is_the_water(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """Common practice, no source: a plan that ends at any other weight is a mistake, always."""
    if not plan.pours or plan.water_g is None or plan.pours[-1].to_g is None:
        return
    last, end_g = len(plan.pours) - 1, plan.pours[-1].to_g
    missing_g = plan.water_g - end_g
    if abs(missing_g) < _SAME_G:
        return
    words = {"water": plain(plan.water_g), "end": plain(end_g), "apart": plain(abs(missing_g))}
    if missing_g > 0:
        what = _(
            "The pours end at %(end)s g but the recipe's brew water is %(water)s g: %(apart)s g is missing."
        )
        mend = _("Raise the last pour to %(water)s g, or change the brew water to %(end)s g.")
        yield _error("water-missing", last, "to_g", what % words, mend % words)
    else:
        what = _(
            "The pours end at %(end)s g but the recipe's brew water is %(water)s g: %(apart)s g is too much."
        )
        mend = _(
            "Lower the pours so that the last ends at %(water)s g, or change the brew water to %(end)s g."
        )
        yield _error("water-over", last, "to_g", what % words, mend % words)


def weights_rise(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    before_g = None
    for number, pour in enumerate(plan.pours, 1):
        if pour.to_g is None:
            continue
        if before_g is not None and pour.to_g <= before_g:
            words = {
                "number": number,
                "to": plain(pour.to_g),
                "before": plain(before_g),
                "total": plain(before_g + pour.to_g),
            }
            what = _("Pour %(number)d goes to %(to)s g, but the scale already shows %(before)s g.")
            mend = _(
                "Enter what the scale shows when pour %(number)d ends, above %(before)s g; "
                "if it adds %(to)s g, that is %(total)s g."
            )
            yield _error("weight-order", number - 1, "to_g", what % words, mend % words)
        before_g = pour.to_g


def times_rise(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    before_s = None
    for number, pour in enumerate(plan.pours, 1):
        if pour.starts_at_s is None:
            continue
        if before_s is not None and pour.starts_at_s <= before_s:
            words = {"number": number, "start": clock(pour.starts_at_s), "before": clock(before_s)}
            what = _("Pour %(number)d begins at %(start)s, but the pour before it begins at %(before)s.")
            mend = _("Begin pour %(number)d after %(before)s, or change the order of the pours.")
            yield _error("time-order", number - 1, "starts_at_s", what % words, mend % words)
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
        flow_g_s = ceil(round(10 * more / (limit - start), 6)) / 10
        kettle_can = fastest is None or flow_g_s <= fastest
        words = {
            "number": index + 1,
            "following": index + 2,
            "start": clock(start),
            "mass": plain(more),
            "flow": plain(pour.flow_g_s),
            "end": clock(end),
            "limit": clock(limit),
            "later": clock(ceil(round(end, 6))),
            "faster": plain(flow_g_s if fastest is None or kettle_can else fastest),
        }
        what = _(
            "Pour %(number)d begins at %(start)s and adds %(mass)s g at %(flow)s g/s. "
            "It ends at %(end)s, but pour %(following)d begins at %(limit)s."
        )
        mend = (
            _("Begin pour %(following)d at %(later)s or later, or pour at %(faster)s g/s or faster.")
            if kettle_can
            else _(
                "Begin pour %(following)d at %(later)s or later; "
                "this kettle pours no faster than %(faster)s g/s."
            )
        )
        yield _error("overlap", index, "flow_g_s", what % words, mend % words)


def kettle_holds_the_water(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    capacity_g = bar.kettle.capacity_g if bar.kettle else None
    if bar.kettle and capacity_g is not None and plan.water_g is not None and plan.water_g > capacity_g:
        words = {"water": plain(plan.water_g), "holds": plain(capacity_g), "kettle": bar.kettle.name}
        what = _("The recipe pours %(water)s g but the kettle %(kettle)s holds %(holds)s g.") % words
        mend = _("Choose a larger kettle, or a brew water of %(holds)s g or less.") % words
        yield _error("kettle-too-small", "plan", "water_g", what, mend)


def masses_allow_the_targets(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    for code, field, what, mend in targets_fit_the_masses(plan):
        yield _error(code, "plan", field, what, mend)


def brew_time_after_the_last_pour(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    last_s = max((end for end in ends_at_s(plan) if end is not None), default=None)
    if last_s is not None and plan.brew_time_s is not None and plan.brew_time_s < last_s - _SAME_S:
        words = {"target": clock(plan.brew_time_s), "end": clock(last_s)}
        what = _("The brew time target is %(target)s but the pours end at %(end)s.") % words
        mend = _(
            "Set a brew time that leaves the bed time to drain after %(end)s, or pour earlier or faster."
        )
        yield _error("brew-time", "plan", "brew_time_s", what, mend % words)


def spout_not_too_high(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    limit = plain(SPOUT_MAX_MM)
    for index, pour in enumerate(plan.pours):
        if pour.spout_height_mm is not None and pour.spout_height_mm > SPOUT_MAX_MM:
            words = {"number": index + 1, "height": plain(pour.spout_height_mm), "limit": limit}
            what = _(
                "Pour %(number)d holds the spout %(height)s mm up: from there hot water splashes and scalds."
            )
            mend = _("Hold the spout at %(limit)s mm or lower; up to 150 mm raises no warning.")
            yield _error("spout-too-high", index, "spout_height_mm", what % words, mend % words)


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


def _judged(number: _Number, where: Where, value: float | None) -> Iterator[Finding]:
    words = {
        "name": _(number.name),
        "unit": number.unit_shown,
        "number": 0 if where == "plan" else where + 1,
        "value": "" if value is None else number.shown(value),
        "least": degree_figure(0) if number.unit == "°C" else "0",
    }
    if value is None:
        if number.needed:
            none = (
                _("The plan has no %(name)s.") if where == "plan" else _("Pour %(number)d has no %(name)s.")
            )
            mend = _("Enter the %(name)s in %(unit)s.")
            yield _error("missing", where, number.field, none % words, mend % words)
    elif value < 0 or (value == 0 and not number.may_be_zero):
        what = (
            _("The %(name)s of the plan is %(value)s.")
            if where == "plan"
            else _("The %(name)s of pour %(number)d is %(value)s.")
        )
        mend = (
            _("Enter a number of 0 or more, in %(unit)s.")
            if number.may_be_zero
            else _("Enter a number above %(least)s, in %(unit)s.")
        )
        yield _error("out-of-range", where, number.field, what % words, mend % words)


def _error(code: str, where: Where, field: str | None, what: str, mend: str) -> Finding:
    return Finding(Severity.ERROR, code, where, field, what, mend)
