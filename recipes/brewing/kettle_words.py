"""What is known of where a kettle's stream breaks, in sentences."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp
from statistics import median

from brewbar.units import degrees, trimmed
from brewbar.words import gettext as _
from brewbar.words import gettext_noop, ngettext
from recipes.brewing import stream
from recipes.brewing.kettle_curve import Curve, Known, breaks_at, middle_flow_g_s
from recipes.brewing.practice import about_mm
from recipes.brewing.stream import Basis

COLD_C = 20.0

BASIS = {
    Basis.MEASURED: gettext_noop("measured"),
    Basis.ELSEWHERE: gettext_noop("not measured"),
    Basis.ASSUMED: gettext_noop("any hand-held kettle, not measured"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One flow of a curve, as a table shows it."""

    flow: str
    above_mm: str
    between_mm: str
    rests_on: str


@dataclass(frozen=True, slots=True)
class Table:
    """A curve in numbers; rests_on: what all of it rests on, "" where lines differ."""

    temperature: str
    rests_on: str
    lines: tuple[Line, ...]


def table(curve: Curve) -> Table:
    lines = tuple(
        Line(
            f"{trimmed(row.flow_g_s, 1)} g/s",
            about_mm(row.breaks.best_mm),
            f"{about_mm(row.breaks.low_mm)}–{about_mm(row.breaks.high_mm)}",
            _(BASIS[row.breaks.basis]),
        )
        for row in curve.rows
    )
    bases = {line.rests_on for line in lines}
    return Table(degrees(curve.temperature_C, 0), bases.pop() if len(bases) == 1 else "", lines)


def title(known: Known) -> str:
    """What a drawing of the curves shows."""
    kettle = {"kettle": known.kettle.name}
    if not known.fitted:
        said = _(
            "Where the stream of any hand-held kettle breaks, at %(temperature)s. %(kettle)s has no fit yet"
        )
        return said % (kettle | {"temperature": degrees(known.brewing.temperature_C, 0)})
    if not_measured(known):
        return (
            _("Where the stream of %(kettle)s breaks: known where it was measured, wide open elsewhere")
            % kettle
        )
    return _("Where the stream of %(kettle)s breaks: the faster it flows, the later") % kettle


def theory(known: Known) -> tuple[str, ...]:
    """What is thought of hot water, beside the rule of the trade (R6), and why no side is taken."""
    flow, hot_C, bore_mm = (
        middle_flow_g_s(known.kettle),
        known.brewing.temperature_C,
        known.kettle.effective_bore_mm,
    )
    cold, hot = (stream.breakup_height_mm(flow, at_C, bore_mm) for at_C in (COLD_C, hot_C))
    return (
        _(
            "Theory says a little later: hot water has less surface tension, so the waves that break a stream grow "
            "more slowly. From %(cold)s to %(hot)s that is about %(pct)s in height."
        )
        % {"cold": degrees(COLD_C, 0), "hot": degrees(hot_C, 0), "pct": _percent(hot / cold - 1)},
        _(
            "But hot water is also thinner, and may leave the spout less smoothly, which breaks a stream sooner. No "
            "published measurement of a hot kettle is known."
        ),
        _(
            "No side is taken here. Measure at brewing temperature too: until then, points from cold water do not "
            "narrow the band for hot pours that leave the spout differently."
        ),
    )


def say(known: Known) -> tuple[str, ...]:
    """What is known now, sentence by sentence, the main thing first."""
    return tuple(_sentences(known))


def _sentences(known: Known) -> Iterator[str]:
    fit = known.kettle.growth
    if fit is None:
        yield _("Not measured yet: three points make a fit.")
    elif not fit.fitted:
        so_far = ngettext("%(n)d point so far.", "%(n)d points so far.", fit.points)
        yield f"{so_far % {'n': fit.points}} {_what_is_missing(known)}"
    else:
        yield _fit_in_words(known)
        yield _scatter_in_words(known)
    if fit is None or not fit.fitted:
        yield _("Until there is a fit, the band is as wide as for any hand-held kettle.")
        if fit is not None and fit.broken == 0:
            yield _("It begins higher, though: where the stream stayed whole, it does not break.")
    elif wide := not_measured(known):
        yield _(
            "At %(temperature)s it was not measured at %(flows)s. Water leaves the spout differently there, and what "
            "was measured elsewhere does not narrow the band: measure at brewing temperature."
        ) % {"temperature": degrees(known.brewing.temperature_C, 0), "flows": " / ".join(wide)}


def _what_is_missing(known: Known) -> str:
    fit = known.kettle.growth
    assert fit is not None, "asked only of a kettle with points"
    if fit.broken == 0 and fit.points_needed == 1:
        return _(
            "The stream broke at none: one where it breaks makes a fit. It breaks lower at a slower flow."
        )
    more = ngettext("%(n)d more makes a fit.", "%(n)d more make a fit.", fit.points_needed)
    return more % {"n": fit.points_needed}


def _fit_in_words(known: Known) -> str:
    flow, at_C = _spoken_of(known)
    breaks = breaks_at(known.kettle, flow, at_C)
    points = ngettext("%(n)d point.", "%(n)d points.", len(known.points)) % {"n": len(known.points)}
    told = _(
        "At %(flow)s g/s and %(temperature)s its stream breaks above about %(best)s mm, between %(low)s mm and "
        "%(high)s mm."
    ) % {
        "flow": trimmed(flow, 1),
        "temperature": degrees(at_C, 0),
        "best": about_mm(breaks.best_mm),
        "low": about_mm(breaks.low_mm),
        "high": about_mm(breaks.high_mm),
    }
    return f"{points} {told}"


def _scatter_in_words(known: Known) -> str:
    fit = known.kettle.growth
    assert fit is not None, "asked only of a kettle with points"
    assert fit.n is not None, "asked only of a fitted kettle"
    flow, at_C = _spoken_of(known)
    usual, higher = (
        stream.breakup_height_mm(flow, at_C, known.kettle.effective_bore_mm, n)
        for n in (fit.n, fit.n * exp(fit.scatter))
    )
    said = _("That is the middle of many raisings: a single one differs from it by about %(pct)s.")
    return said % {"pct": _percent(higher / usual - 1)}


def _spoken_of(known: Known) -> tuple[float, float]:
    """A flow and a temperature to speak of: hot and in the middle, if measured there, else as it was measured."""
    middle = middle_flow_g_s(known.kettle)
    usual = median(point.flow_g_s for point in known.points)
    seen = sorted(known.points, key=lambda point: (-point.temperature_C, abs(point.flow_g_s - usual)))
    wanted = [(middle, known.brewing.temperature_C), *((one.flow_g_s, one.temperature_C) for one in seen)]
    return next(place for place in wanted if breaks_at(known.kettle, *place).measured)


def not_measured(known: Known) -> list[str]:
    return [
        _("%(low)s to %(high)s g/s")
        % {"low": trimmed(stretch.flows_g_s[0], 1), "high": trimmed(stretch.flows_g_s[-1], 1)}
        for stretch in known.brewing.stretches
        if stretch.basis is not Basis.MEASURED
    ]


def _percent(share: float) -> str:
    return f"{trimmed(100 * share, 0)}\N{NO-BREAK SPACE}%"
