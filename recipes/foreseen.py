"""What a plan will do, in words for a page: each pour's stream, where the energy goes, and what is not known.

Dimensionless numbers and millijoules are for whoever opens the details; everybody else reads heights, times, and
shares of the energy. Nothing here says how the cup will taste.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe
from brewbar.units import clock, degree_figure, degree_unit, fixed, trimmed
from recipes.beds import bed_for
from recipes.brewing.drawdown import BrewTime
from recipes.brewing.foresight import Foresight, PourForesight, State, foresee
from recipes.brewing.plan import Conditions, Pattern, Pour, PourPlan
from recipes.brewing.practice import about_mm
from recipes.brewing.slurry import Range
from recipes.brewing.stream import Basis, Breakup, Regime
from recipes.curves import Curves, draw_curves
from recipes.models import Brewer, Kettle, RecipeVersion
from recipes.timeline import Timeline, draw, time_axis


@dataclass(frozen=True)
class Fact:
    label: str
    text: str


@dataclass(frozen=True)
class PourWords:
    """One pour. Whatever cannot be said yet is an empty string; ``share`` and ``bar`` are None then."""

    number: int
    takes: str
    breaks: str
    """A height, or a band of heights, in mm."""
    basis: str
    """What that rests on, as a sentence."""
    measured: bool
    spout: str
    lands: str
    """How the stream meets the bed."""
    share: str
    """Of the energy that all pours bring to the bed, in per cent."""
    bar: str
    """The same as a length out of 100, beside the pour that brings the most."""
    no_energy: str
    """Why none is claimed."""
    column: str
    details: list[Fact]


@dataclass(frozen=True)
class Words:
    pours: list[PourWords | None]
    energy: str
    """Of the whole plan, in mJ."""
    tallest: str
    mean: str
    """Of what runs out, as a band of temperatures."""
    ends: str
    """When the brew ends, forecast from logged brews."""
    ends_between: str
    bed: str
    """Which bed was reckoned with, and what a forecast still lacks."""
    forecast: bool


@dataclass(frozen=True)
class Ahead:
    """Everything a page shows of what a plan will do."""

    seen: Foresight
    words: Words
    curves: Curves | None
    timeline: Timeline | None
    unmeasured: Kettle | None
    """The kettle, if its measurements do not reach every pour."""


def look_ahead(
    version: RecipeVersion,
    plan: PourPlan,
    cafe: Cafe,
    kettle: Kettle | None,
    brewer: Brewer | None,
    beside: PourPlan | None = None,
) -> Ahead:
    """What ``plan``, that of ``version`` as it is saved or typed so far, will do in ``cafe``."""
    if kettle:
        prefetch_related_objects([kettle], "breakup_points")
    known = bed_for(version, cafe)
    seen = foresee(
        plan,
        kettle.limits() if kettle else None,
        brewer.limits(preheated=version.rinse_paper) if brewer else None,
        known.fit,
        Conditions(cafe.altitude_m),
    )
    ends_s = seen.brew_time.best_s if seen.brew_time else None
    axis = time_axis(plan, beside, ends_s or 0)
    return Ahead(
        seen=seen,
        words=in_words(seen, known.words),
        curves=draw_curves(seen, axis),
        timeline=draw(plan, beside, axis),
        unmeasured=None
        if all(pour is None or pour.breakup_height_mm.measured for pour in seen.pours)
        else kettle,
    )


def in_words(seen: Foresight, bed: str) -> Words:
    """``bed`` says which brews the bed was fitted from, or how many are still needed."""
    energies = [pour.energy_mJ if pour else None for pour in seen.pours]
    known = [energy for energy in energies if energy is not None]
    most, total = max(known, default=0.0), seen.energy_mJ
    pairs = zip(seen.plan.pours, seen.pours, strict=True)
    return Words(
        pours=[
            None if ahead is None else _pour(number, pour, ahead, most, total)
            for number, (pour, ahead) in enumerate(pairs, start=1)
        ],
        energy="" if total is None else millijoules(total),
        tallest="" if seen.tallest_mm is None else trimmed(seen.tallest_mm, 0),
        mean="" if seen.mean_C is None else band_of_degrees(seen.mean_C),
        ends=_best(seen.brew_time),
        ends_between=_between(seen.brew_time),
        bed=bed,
        forecast=seen.brew_time is not None,
    )


def band_of_degrees(band: Range) -> str:
    low, high = (degree_figure(value, 0) for value in (band.low, band.high))
    return _("%(low)s to %(high)s %(unit)s") % {"low": low, "high": high, "unit": degree_unit()}


def breaks_above(breaks: Breakup) -> str:
    """A band of heights; of a measured kettle the likeliest height, with the band around it."""
    low, best, high = (about_mm(height) for height in (breaks.low_mm, breaks.best_mm, breaks.high_mm))
    if breaks.measured:
        return _("%(best)s mm (%(low)s to %(high)s)") % {"best": best, "low": low, "high": high}
    return _("%(low)s to %(high)s mm") % {"low": low, "high": high}


def _pour(number: int, pour: Pour, ahead: PourForesight, most_mJ: float, total_mJ: float | None) -> PourWords:
    seconds = None if ahead.ends_at_s is None else ahead.ends_at_s - (pour.starts_at_s or 0)
    energy = ahead.energy_mJ
    broken_on_purpose = pour.pattern is Pattern.BROKEN_STREAM
    return PourWords(
        number=number,
        takes="" if seconds is None or seconds <= 0 else clock(seconds),
        breaks="" if broken_on_purpose else breaks_above(ahead.breakup_height_mm),
        basis="" if broken_on_purpose else _basis(ahead.breakup_height_mm.basis),
        measured=ahead.breakup_height_mm.measured,
        spout="" if pour.spout_height_mm is None else trimmed(pour.spout_height_mm, 0),
        lands="" if ahead.state is None else _lands(ahead.state, broken_on_purpose),
        share="" if energy is None or not total_mJ else trimmed(100 * energy / total_mJ, 0),
        bar="" if energy is None or not most_mJ else str(round(100 * energy / most_mJ)),
        no_energy=_no_energy(pour, ahead) if energy is None else "",
        column="" if ahead.column_mm is None else _from_to(*ahead.column_mm),
        details=list(_details(ahead)),
    )


def _basis(basis: Basis) -> str:
    return {
        Basis.MEASURED: _("measured"),
        Basis.ELSEWHERE: _("not measured at such a flow and temperature"),
        Basis.ASSUMED: _("as of any hand-held kettle"),
    }[basis]


def _lands(state: State, on_purpose: bool) -> str:
    if on_purpose:
        return _("broken on purpose")
    return {
        State.WHOLE: _("whole"),
        State.MAY_BREAK: _("whole or broken: too close to tell"),
        State.BROKEN: _("broken into drops"),
        State.DRIPS: _("dripping"),
    }[state]


def _no_energy(pour: Pour, ahead: PourForesight) -> str:
    if ahead.state is State.DRIPS:
        return _("none claimed: it only drips at this flow")
    if pour.pattern is Pattern.BROKEN_STREAM:
        return _("none claimed for a broken stream")
    if pour.pattern is Pattern.WALL:
        return _("none claimed: it runs down the paper")
    if pour.pattern is Pattern.RISE_AND_FALL:
        return _("none claimed: the height changes")
    if ahead.state in (State.MAY_BREAK, State.BROKEN):
        return _("none claimed: the stream has probably broken")
    return ""


def _details(ahead: PourForesight) -> Iterator[Fact]:
    yield Fact(_("At the spout"), _("%(speed)s m/s") % {"speed": fixed(ahead.exit_velocity_m_s, 2)})
    if ahead.impact_velocity_m_s is not None and ahead.stream_diameter_at_impact_mm is not None:
        yield Fact(
            _("Where it lands"),
            _("%(speed)s m/s, %(width)s mm wide")
            % {
                "speed": fixed(ahead.impact_velocity_m_s, 2),
                "width": fixed(ahead.stream_diameter_at_impact_mm, 1),
            },
        )
    four_fifths = ahead.recommended_height_mm
    yield Fact(
        _("Four fifths of where it breaks"),
        _("%(low)s to %(high)s mm")
        % {"low": about_mm(four_fifths.low_mm), "high": about_mm(four_fifths.high_mm)},
    )
    yield Fact(
        _("Reynolds number"),
        f"{trimmed(round(ahead.reynolds, -1), 0)}, {_regime(ahead.regime)}",
    )
    yield Fact(_("Weber number"), fixed(ahead.weber, 1))
    yield Fact(_("Ohnesorge number"), fixed(ahead.ohnesorge, 5))
    if ahead.energy_mJ is not None:
        yield Fact(_("Energy at the bed"), _("%(size)s mJ") % {"size": millijoules(ahead.energy_mJ)})
    if ahead.momentum_mN_s is not None:
        yield Fact(_("Momentum"), _("%(size)s mN·s") % {"size": trimmed(ahead.momentum_mN_s, 0)})


def _regime(regime: Regime) -> str:
    return {
        Regime.LAMINAR: _("laminar"),
        Regime.TRANSITIONAL: _("transitional"),
        Regime.TURBULENT: _("turbulent"),
    }[regime]


def _from_to(before: float, after: float) -> str:
    return _("%(before)s to %(after)s mm") % {"before": trimmed(before, 0), "after": trimmed(after, 0)}


def millijoules(energy_mJ: float) -> str:
    """To two figures: the models carry no more."""
    return trimmed(round(energy_mJ, -1) if energy_mJ >= 100 else energy_mJ, 0)


def _best(time: BrewTime | None) -> str:
    if time is None:
        return ""
    return _("not within 20 minutes") if time.best_s is None else clock(time.best_s)


def _between(time: BrewTime | None) -> str:
    if time is None or time.low_s is None:
        return ""
    if time.high_s is None:
        return _("%(low)s or later") % {"low": clock(time.low_s)}
    return _("%(low)s to %(high)s") % {"low": clock(time.low_s), "high": clock(time.high_s)}
