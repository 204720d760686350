"""What to expect of a second plan against a first: figures from physics, and in words what R1 to R5 say.

Direction only. No strength, taste or brew time is predicted from these rules, and a pattern gets no number. Where a
rule of the trade is only about what the figures cannot tell apart, that is said too.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import zip_longest

from brewbar.units import degrees_apart, trimmed
from brewbar.words import gettext as _
from recipes.brewing.findings import plain
from recipes.brewing.foresight import Foresight, PourForesight, State
from recipes.brewing.pours import After, Pattern, PourPlan
from recipes.brewing.rules import RULES

SAME_ENERGY = 0.05  # of the larger: what a hand repeats at best. Engineering estimate, no source
SAME_COLUMN_MM = 2.0
SAME_HEIGHT_MM = 5.0
SAME_G, SAME_S = 0.5, 1.5
TELLS_K = 3.0  # two plans' slurries nearer than this are not told apart: the parameters are known no better


class Direction(StrEnum):
    """Of the second plan against the first."""

    MORE = "more"
    LESS = "less"
    SAME = "same"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Figure:
    """One total of both plans, None where it cannot be given. name: energy_mJ, mean_C, tallest_mm, poured_out_s,
    brew_time_s; direction: as far as the models can tell; note: what limits that, or nothing."""

    name: str
    a: float | None
    b: float | None
    direction: Direction
    note: str = ""


@dataclass(frozen=True, slots=True)
class Expectation:
    """rule: R1 to R5; about: what is more or less; from_pour: the index of the first pour that differs, or None;
    says: in a sentence; because: what in the plans it comes from; reason: the rule itself, common practice."""

    rule: str
    about: str
    direction: Direction
    from_pour: int | None
    says: str
    because: str
    reason: str


@dataclass(frozen=True, slots=True)
class Expected:
    figures: tuple[Figure, ...]
    expectations: tuple[Expectation, ...]


def expect(a: Foresight, b: Foresight) -> Expected:
    """What the second plan brings that the first does not."""
    rules = (_agitation, _stirs, _patterns, _number_of_pours, _column, _heights)
    return Expected(tuple(_figures(a, b)), tuple(said for rule in rules for said in rule(a, b)))


def _figures(a: Foresight, b: Foresight) -> Iterator[Figure]:
    yield Figure("energy_mJ", a.energy_mJ, b.energy_mJ, _way(a.energy_mJ, b.energy_mJ, share=SAME_ENERGY))
    warm_a, warm_b = (None if side.mean_C is None else side.mean_C.best for side in (a, b))
    told = _way(warm_a, warm_b, least=TELLS_K)
    note = ""
    if told is Direction.SAME and warm_a != warm_b:
        note = _("Nearer than %(limit)s: not told apart.") % {"limit": degrees_apart(TELLS_K)}
    yield Figure("mean_C", warm_a, warm_b, told, note)
    yield Figure(
        "tallest_mm", a.tallest_mm, b.tallest_mm, _way(a.tallest_mm, b.tallest_mm, least=SAME_COLUMN_MM)
    )
    yield Figure(
        "poured_out_s", a.poured_out_s, b.poured_out_s, _way(a.poured_out_s, b.poured_out_s, least=SAME_S)
    )
    yield _brew_time(a, b)


def _brew_time(a: Foresight, b: Foresight) -> Figure:
    """Told apart only where the two intervals do not meet."""
    if a.brew_time is None or b.brew_time is None:
        more = max(a.brews_needed, b.brews_needed)
        note = _("Not enough brews yet: %(more)d more.") % {"more": more} if more else ""
        return Figure("brew_time_s", None, None, Direction.UNKNOWN, note)
    one, other = a.brew_time, b.brew_time
    if one.high_s is not None and other.low_s is not None and other.low_s > one.high_s:
        way = Direction.MORE
    elif other.high_s is not None and one.low_s is not None and one.low_s > other.high_s:
        way = Direction.LESS
    else:
        way = Direction.SAME
    return Figure("brew_time_s", one.best_s, other.best_s, way)


def _agitation(a: Foresight, b: Foresight) -> Iterator[Expectation]:
    way = _way(a.energy_mJ, b.energy_mJ, share=SAME_ENERGY)
    if way is Direction.SAME or not a.complete or not b.complete:
        return
    first = _first_different(a, b)
    if way is Direction.UNKNOWN:
        says = _("Which of the two agitates more cannot be told.")
        because = _(
            "In one of them a stream breaks, drips or runs down the paper: no energy is claimed for that."
        )
    else:
        told = {"number": (first or 0) + 1}
        if way is Direction.MORE:
            says = _("More agitation, from pour %(number)d on: likely stronger and slower.") % told
            because = _("More of the water's energy reaches the bed.")
        else:
            says = _("Less agitation, from pour %(number)d on: likely weaker and faster.") % told
            because = _("Less of the water's energy reaches the bed.")
    yield _said("R1", "agitation", way, first, says, because)


def _stirs(a: Foresight, b: Foresight) -> Iterator[Expectation]:
    stirred = [[pour.after is not After.NOTHING for pour in side.plan.pours] for side in (a, b)]
    before, after = (sum(side) for side in stirred)
    if before == after:
        return
    pairs = enumerate(zip_longest(*stirred, fillvalue=False))
    first = next(index for index, (left, right) in pairs if left != right)
    told = {"before": before, "after": after}
    if after > before:
        says = _("Stirred or swirled more often: likely stronger and slower.")
        way = Direction.MORE
    else:
        says = _("Stirred or swirled less often: likely weaker and faster.")
        way = Direction.LESS
    yield _said(
        "R1",
        "agitation",
        way,
        first,
        says,
        _("Pours with stirring or swirling: %(after)d instead of %(before)d.") % told,
    )


def _patterns(a: Foresight, b: Foresight) -> Iterator[Expectation]:
    """Where one plan pours in the centre wherever the other does, and somewhere more."""
    if not _same_water_and_times(a.plan, b.plan) or a.plan.pours[0].pattern is not b.plan.pours[0].pattern:
        return
    centred: list[set[int]] = []
    for plan in (a.plan, b.plan):
        after_bloom = {index: pour.pattern for index, pour in enumerate(plan.pours) if index > 0}
        if not set(after_bloom.values()) <= {Pattern.CIRCLE, Pattern.CENTRE}:
            return
        centred.append({index for index, pattern in after_bloom.items() if pattern is Pattern.CENTRE})
    before, after = centred
    if not (before < after or after < before):
        return
    first = min(before ^ after)
    if before < after:
        says, way = (
            _("Less strength, from pour %(number)d on: likely a brighter cup and a faster brew."),
            Direction.LESS,
        )
        because = _("Poured in the centre instead of in circles: %(pours)s.")
    else:
        says, way = (
            _("More strength, from pour %(number)d on: likely a fuller cup and a slower brew."),
            Direction.MORE,
        )
        because = _("Poured in circles instead of in the centre: %(pours)s.")
    pours = ", ".join(_("pour %(number)d") % {"number": index + 1} for index in sorted(before ^ after))
    yield _said("R2", "strength", way, first, says % {"number": first + 1}, because % {"pours": pours})


def _number_of_pours(a: Foresight, b: Foresight) -> Iterator[Expectation]:
    before, after = len(a.plan.pours), len(b.plan.pours)
    if before == after or not before or not after or not _same(a.plan.water_g, b.plan.water_g, SAME_G):
        return
    told = {"before": before, "after": after}
    because = _("Pours for the same water: %(after)d instead of %(before)d.") % told
    if after > before:
        says, way = (
            _("More, smaller pours: a cooler slurry, more agitation and more fines moved."),
            Direction.MORE,
        )
    else:
        says, way = (
            _("Fewer, larger pours: a taller column, a warmer slurry and less agitation."),
            Direction.LESS,
        )
    if a.mean_C and b.mean_C and abs(b.mean_C.best - a.mean_C.best) < TELLS_K:
        size = degrees_apart(round(abs(b.mean_C.best - a.mean_C.best), 1), 1)
        because += " " + _("The slurry's mean temperature differs by %(size)s, less than can be told.") % {
            "size": size
        }
    yield _said("R3", "agitation", way, None, says, because)


def _column(a: Foresight, b: Foresight) -> Iterator[Expectation]:
    way = _way(a.tallest_mm, b.tallest_mm, least=SAME_COLUMN_MM)
    if way not in (Direction.MORE, Direction.LESS) or a.tallest_mm is None or b.tallest_mm is None:
        return
    because = _("The column grows to %(after)s mm instead of %(before)s mm.") % {
        "after": trimmed(b.tallest_mm, 0),
        "before": trimmed(a.tallest_mm, 0),
    }
    if way is Direction.MORE:
        says, agitation = (
            _("A taller column takes up more of each stream before a pour ends."),
            Direction.LESS,
        )
    else:
        says, agitation = (
            _("A shorter column takes up less of each stream before a pour ends."),
            Direction.MORE,
        )
    yield _said("R4", "agitation", agitation, None, says, because)


def _heights(a: Foresight, b: Foresight) -> Iterator[Expectation]:
    for index, (left, right) in enumerate(zip(a.plan.pours, b.plan.pours, strict=False)):
        before, after = left.spout_height_mm, right.spout_height_mm
        if before is None or after is None or abs(after - before) < SAME_HEIGHT_MM:
            continue
        told = {"number": index + 1, "before": plain(before), "after": plain(after)}
        because = _("The spout is held at %(after)s mm instead of %(before)s mm.") % told
        if _beyond(b.pours[index], after) or _beyond(a.pours[index], before):
            way = Direction.UNKNOWN
            says = _(
                "Pour %(number)d: in one of the two the stream has probably broken, and agitates less for it."
            )
        elif after > before:
            way, says = Direction.MORE, _("Pour %(number)d falls further and agitates more.")
        else:
            way, says = Direction.LESS, _("Pour %(number)d falls less far and agitates less.")
        yield _said("R5", "agitation", way, index, says % told, because)


def _beyond(pour: PourForesight | None, height_mm: float) -> bool:
    return pour is None or pour.state is State.DRIPS or height_mm > pour.breakup_height_mm.best_mm


def _first_different(a: Foresight, b: Foresight) -> int | None:
    sides = [[pour.energy_mJ if pour else None for pour in side.pours] for side in (a, b)]
    for index, (left, right) in enumerate(zip_longest(*sides)):
        if _way(left, right, share=SAME_ENERGY) is not Direction.SAME and (left, right) != (None, None):
            return index
    return None


def _same_water_and_times(a: PourPlan, b: PourPlan) -> bool:
    return (
        len(a.pours) == len(b.pours) > 0
        and _same(a.dose_g, b.dose_g, SAME_G / 5)
        and _same(a.water_g, b.water_g, SAME_G)
        and all(
            _same(left.to_g, right.to_g, SAME_G) and _same(left.starts_at_s, right.starts_at_s, SAME_S)
            for left, right in zip(a.pours, b.pours, strict=True)
        )
    )


def _same(a: float | None, b: float | None, least: float) -> bool:
    return a is not None and b is not None and abs(a - b) <= least


def _way(a: float | None, b: float | None, *, least: float = 0.0, share: float = 0.0) -> Direction:
    if a is None or b is None:
        return Direction.UNKNOWN
    if abs(b - a) <= max(least, share * max(abs(a), abs(b))):
        return Direction.SAME
    return Direction.MORE if b > a else Direction.LESS


def _said(
    rule: str, about: str, way: Direction, from_pour: int | None, says: str, because: str
) -> Expectation:
    return Expectation(rule, about, way, from_pour, says, because, _(RULES[rule]))
