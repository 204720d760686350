"""Whether the cup changed, as parts of the report: against the span before, and day by day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates, units
from calibration.reporting import words
from calibration.reporting.moved import TDS, Against, Bar, Moved, aims_by_day
from calibration.reporting.result import Bar as Line
from calibration.reporting.result import Bars, Days, Point, Section, Table
from calibration.statistics.differences import Difference
from calibration.statistics.usual_days import Step

MOST_DAYS_FIGURES = 4
"""Of more cafés only those that moved are drawn day by day."""


def section(moved: Moved) -> Section:
    """Against the span before."""
    asked = moved.ground.asked
    title = _("Against %(span)s") % {"span": words.span(*asked.before)}
    found = [one for one in (*moved.together, *moved.apart) if one.share is not None or one.mean is not None]
    if not found:
        why = (
            _("No check brew counts in this span.")
            if not len(moved.ground.this)
            else _("No check brew counts in the span before, so there is nothing to compare with.")
        )
        return Section("change", title, (), notes=(why,))
    bars = tuple(_bar(one) for one in moved.together if one.share is not None)
    figure = (
        Bars(
            "change",
            _("Change in the share inside target"),
            _("of 100 check brews, now less before"),
            0,
            bars,
            zero=True,
        )
        if bars
        else None
    )
    says = tuple(span_says(one) for one in found if one.mean is not None)
    return Section("change", title, says, figure, _table(title, found), _notes(found))


def best(against: Against) -> tuple[Difference | None, bool]:
    """The difference of means that is told: of like with like where there is one; whether it is that."""
    if against.mean is None:
        return None, False
    if against.mean.alike is not None:
        return against.mean.alike, True
    interval = against.mean.interval
    if interval is None:
        return None, False
    mean = against.mean
    return Difference(mean.difference, interval, 0, mean.n_now, mean.n_before), False


def _bar(one: Against) -> Line:
    assert one.share is not None
    interval = one.share.interval
    mark = "" if not one.share.is_seen else "high" if one.share.difference > 0 else "low"
    return Line(
        str(one.measure.label),
        100 * float(one.share.difference),
        100 * float(interval.low),
        100 * float(interval.high),
        mark=mark,
        note=_("%(now)s of 100, before %(before)s")
        % {"now": words.of_100(one.share.now.share), "before": words.of_100(one.share.before.share)},
    )


def span_says(one: Against) -> str:
    difference, _is_alike = best(one)
    name = {"tds": _("strength"), "ey": _("extraction yield"), "time": _("brew time")}[one.measure.key]
    where = _("At %(cafe)s") % {"cafe": one.cafe} if one.cafe else _("All together")
    if difference is None:
        return _("%(where)s, too few days were brewed on to say whether %(what)s changed.") % {
            "where": where,
            "what": name,
        }
    return _("%(where)s, %(what)s is %(size)s against before (%(between)s)%(verdict)s.") % {
        "where": where,
        "what": name,
        "size": f"{one.measure.apart(difference.difference)}\N{NO-BREAK SPACE}{one.measure.unit}",
        "between": apart(one, difference),
        "verdict": _verdict(one, difference),
    }


def apart(one: Against, difference: Difference) -> str:
    low, high = float(difference.interval.low), float(difference.interval.high)
    measure = one.measure
    if difference.is_seen and not all(units.rounded(edge, measure.decimals) for edge in (low, high)):
        # A change is told from none by an edge that must not read as none.
        measure = replace(measure, decimals=measure.decimals + 1)
    return words.from_to(measure.apart(low), measure.apart(high))


def _verdict(one: Against, difference: Difference) -> str:
    low, high = difference.interval.low, difference.interval.high
    smallest = one.smallest
    if not difference.is_seen:
        if smallest is not None and -smallest < low and high < smallest:
            return _(": no change that matters")
        return _(": it may be no change at all")
    if smallest is not None and -smallest < low and high < smallest:
        return _(": a change, but less than matters")
    if smallest is not None and min(abs(low), abs(high)) >= smallest:
        return _(": a change that matters")
    return _(": a change; whether it is enough to matter is not sure")


def _notes(found: list[Against]) -> tuple[str, ...]:
    notes = []
    if any(best(one)[1] for one in found):
        notes.append(
            _(
                "Like is compared with like where it can be: the same people with the same recipes, each with one "
                "weight in both spans, so that who was on is no change of the cup."
            )
        )
    smallest = [one for one in found if one.smallest is not None and not one.cafe]
    if smallest:
        said = _("What matters: %(sizes)s, as the cafés say, else half of the recipe’s tolerance.")
        sizes = [one.measure.said(one.smallest) for one in smallest if one.smallest is not None]
        notes.append(said % {"sizes": words.listed(sizes)})
    return tuple(notes)


def _table(title: str, found: list[Against]) -> Table:
    several = any(one.cafe for one in found)
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for one in found:
        share, mean = one.share, one.mean
        difference, is_alike = best(one)
        cells.append(
            (
                *((one.cafe or _("all cafés"),) if several else ()),
                str(one.measure.label),
                words.percent(share.now.share if share else None),
                words.percent(share.before.share if share else None),
                "–"
                if share is None
                else words.from_to(*map(_points, (share.interval.low, share.interval.high))),
                one.measure.shown(float(mean.now)) if mean else words.NONE,
                one.measure.shown(float(mean.before)) if mean else words.NONE,
                words.NONE if difference is None else one.measure.apart(float(difference.difference)),
                words.NONE if difference is None else apart(one, difference),
            )
        )
        of_share: tuple[float | None, ...] = (None,) * 5
        if share is not None:
            of_share = (share.now.share, share.before.share, share.difference, *_both(share.interval))
        of_mean = (None,) * 2 if mean is None else (mean.now, mean.before)
        of_like = (None,) * 3 if difference is None else (difference.difference, *_both(difference.interval))
        numbers.append(
            (
                one.cafe, one.measure.key, mean.n_now if mean else None, mean.n_before if mean else None,
                *map(words.exact, (*of_share, *of_mean, *of_like)), is_alike, words.exact(one.smallest),
            )
        )  # fmt: skip
    head = (
        *((_("Café"),) if several else ()), _("What"), _("Inside now"), _("Inside before"),
        _("Change, of 100 (95 %)"), _("Mean now"), _("Mean before"), _("Change, like with like"),
        _("Interval (95 %)"),
    )  # fmt: skip
    csv_head = (
        "cafe", "measure", "brews", "brews_before", "share", "share_before", "share_change", "share_change_low_95",
        "share_change_high_95", "mean", "mean_before", "change", "change_low_95", "change_high_95", "like_with_like",
        "smallest_that_matters",
    )  # fmt: skip
    return Table("change", title, head, tuple(cells), csv_head, tuple(numbers))


def _both(interval: Any) -> tuple[float, float]:
    return interval.low, interval.high


def _points(value: float) -> str:
    """A difference of shares, in points of 100: +4, −12."""
    size = words.fixed(abs(100 * float(value)), 0)
    return size if size == "0" else f"{'+' if value > 0 else '−'}{size}"


# --- day by day


def of_days(moved: Moved) -> tuple[Section, ...]:
    bars = moved.bars
    several = len(moved.ground.asked.cafes) > 1
    if len(bars) > MOST_DAYS_FIGURES:
        bars = tuple(bar for bar in bars if bar.step is not None)[:MOST_DAYS_FIGURES]
    place = {cafe.pk: n for n, cafe in enumerate(moved.ground.asked.cafes, start=1)}
    return tuple(
        _of_bar(moved, bar, f"days-{place[bar.cafe.pk]}" if several else "days", several) for bar in bars
    )


def _of_bar(moved: Moved, bar: Bar, key: str, several: bool) -> Section:
    title = _("Day by day: %(recipe)s") % {"recipe": bar.recipe.name}
    if several:
        title = _("Day by day: %(recipe)s at %(cafe)s") % {"recipe": bar.recipe.name, "cafe": bar.cafe.name}
    points = _points_of(bar, moved.ground.asked.first)
    first = moved.ground.asked.first
    marks = tuple((one.day, one.says) for one in bar.changed if one.day >= first)
    figure = Days(key, _("TDS by day"), _("TDS, %"), 2, False, points, _bands(moved, bar), marks)
    return Section(
        key, title, (day_says(bar),), figure, _table_of_days(key, title, bar, points), _day_notes(bar)
    )


def _points_of(bar: Bar, first: date) -> tuple[Point, ...]:
    effects, usual, noise = bar.reckoned.effects, bar.reckoned.usual, bar.reckoned.noise
    low, high = effects.limits(noise.df if noise else 1.0)
    known = not usual.reason
    return tuple(
        Point(
            date.fromordinal(ordinal),
            float(effects.values[t]),
            float(low[t]),
            float(high[t]),
            float(effects.level + usual.low[t]) if known else None,
            float(effects.level + usual.high[t]) if known else None,
            bool(usual.outside[t]),
        )
        for t, ordinal in enumerate(effects.day.tolist())
        if ordinal >= first.toordinal()
    )


def _bands(moved: Moved, bar: Bar) -> tuple[tuple[date, date, float, float], ...]:
    """What held from day to day, days that aim alike as one."""
    found: list[tuple[date, date, float, float]] = []
    for day, aims in aims_by_day(moved.ground, bar):
        if aims.tds_target is None:
            continue
        low, high = (float(aims.tds_target + sign * aims.tds_tolerance) for sign in (-1, 1))
        if found and found[-1][2:] == (low, high):
            found[-1] = (found[-1][0], day, low, high)
        else:
            found.append((day, day, low, high))
    return tuple(found)


def day_says(bar: Bar) -> str:
    """What the days say, in one sentence."""
    step, n = bar.step, len(bar.days)
    if step is not None:
        return stepped(bar, step)
    if bar.reckoned.usual.reason:
        said = ngettext(
            "It is too early to say whether a day was unusual: there is %(n)d day.",
            "It is too early to say whether a day was unusual: there are %(n)d days.",
            n,
        )
        return said % {"n": n}
    if bar.outside:
        said = ngettext(
            "%(n)d day of %(all)d lies beyond what days here usually do: %(days)s.",
            "%(n)d days of %(all)d lie beyond what days here usually do: %(days)s.",
            len(bar.outside),
        )
        named = words.listed([dates.day(day, weekday=True) for day in bar.outside[-3:]])
        return said % {"n": len(bar.outside), "all": n, "days": named}
    if bar.perhaps is not None:
        return _(
            "It may have become %(size)s %(way)s from about %(day)s on, but chance alone often looks like that."
        ) % _of_step(bar.perhaps)
    return _("Each of the %(n)d days is what days here usually are.") % {"n": n}


def stepped(bar: Bar, step: Step) -> str:
    """That it moved, how far, since when, and what was changed about then."""
    near = bar.near(step)
    about = (
        _("About then: %(what)s.") % {"what": "; ".join(near[:3])}
        if near
        else _("Nothing that was changed about then is on record.")
    )
    said = _("From about %(day)s on it was %(size)s %(way)s (%(between)s).") % _of_step(step)
    return f"{said} {about}"


def _of_step(step: Step) -> dict[str, str]:
    return {
        "day": dates.day(date.fromordinal(step.day), weekday=True),
        "size": TDS.said(step.size),
        "way": TDS.way(step.size),
        "between": words.from_to(TDS.apart(step.low), TDS.apart(step.high)),
    }


def _day_notes(bar: Bar) -> tuple[str, ...]:
    usual = bar.reckoned.usual
    notes = []
    if bar.reckoned.adjusted:
        notes.append(_("Each day is told apart from who was on."))
    if usual.reason:
        notes.append(usual.reason)
    else:
        notes.append(_("What is usual is learnt from these days and those of the span before."))
    if bar.step is not None:
        notes.append(_("Of 100 spans in which nothing moves, at most 6 are told that something did."))
    return tuple(notes)


def _table_of_days(key: str, title: str, bar: Bar, points: tuple[Point, ...]) -> Table:
    by_day: dict[date, list[str]] = {}
    for one in bar.changed:
        by_day.setdefault(one.day, []).append(one.says)
    effects = bar.reckoned.effects
    brews = [round(float(n)) for n in effects.brews[effects.day >= points[0].day.toordinal()]]
    shown = TDS.shown
    cells = tuple(
        (
            dates.day(point.day, weekday=True),
            shown(point.value),
            words.from_to(shown(point.low), shown(point.high)),
            words.NONE
            if point.usual_low is None or point.usual_high is None
            else words.from_to(shown(point.usual_low), shown(point.usual_high)),
            _("beyond") if point.is_outside else "",
            words.number(n),
            "; ".join(by_day.get(point.day, ())),
        )
        for point, n in zip(points, brews, strict=True)
    )
    numbers = tuple(
        (
            point.day.isoformat(),
            *map(words.exact, (point.value, point.low, point.high, point.usual_low, point.usual_high)),
            point.is_outside,
            n,
        )
        for point, n in zip(points, brews, strict=True)
    )
    head = (
        _("Day"), _("TDS, %"), _("Interval (95 %)"), _("Days here are usually"), _("Beyond"), _("Brews"), _("Changed"),
    )  # fmt: skip
    csv_head = ("day", "tds_pct", "low_95", "high_95", "usual_low", "usual_high", "is_beyond", "brews")
    return Table(key, title, head, cells, csv_head, numbers)
