"""Who is off? Each person against the others of the same days."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext as _

from brewbar import dates
from calibration import staff
from calibration.charts.table import Cell, Table, exact, text_cell
from calibration.figures import GREY, STATES, Figure, axis_apart, band, layout, points


def figure(seen: staff.Seen) -> Figure:
    """A line for each person: single days as dots, the estimate and its interval over them, what matters as a band."""
    measure = seen.asked.measure
    drawn = seen.drawn[::-1]
    place = {person.key: row for row, person in enumerate(drawn)}
    edges: list[float | None] = [limit for person in drawn for limit in person.standing.limits]
    data = []
    if seen.dots is not None and len(seen.dots.who):
        x = seen.dots.deviation.tolist()
        edges += x
        rows = [place[who] + 0.22 for who in seen.dots.who.tolist()]
        named = {day: dates.day(date.fromordinal(day), weekday=True) for day in set(seen.dots.day.tolist())}
        told = [
            f"{named[day]}<br>{measure.apart(value)}"
            for day, value in zip(seen.dots.day.tolist(), x, strict=True)
        ]
        marker = {"color": GREY, "symbol": "circle", "size": 5, "opacity": 0.6}
        data.append(points(_("one day"), x, rows, told, marker))
    for state, name in _states().items():
        chosen = [person for person in drawn if person.state == state]
        if chosen:
            data.append(_standings(seen, state, name, chosen, place))
    shapes = []
    if seen.smallest is not None:
        edges += [-seen.smallest, seen.smallest]
        shapes.append(band(x0=-seen.smallest, x1=seen.smallest, y0=0, y1=1, yref="paper"))
    if seen.band is not None:
        low, high = seen.band
        edges += [low, high]
        shapes.append(band(GREY, 0.25, "dot", x0=low, x1=high, y0=0, y1=1, yref="paper"))
    return {
        "data": data,
        "layout": layout(
            height=170 + 44 * max(2, len(drawn)),
            xaxis=axis_apart(measure, _("above or below the others"), edges) | {"zeroline": True},
            yaxis={
                "tickvals": list(range(len(drawn))),
                "ticktext": [person.name for person in drawn],
                "range": [-0.6, len(drawn) - 0.4],
                "automargin": True,
                "fixedrange": True,
            },
            shapes=shapes,
        ),
    }


def _states() -> dict[str, str]:
    return {
        "high": _("off, high"),
        "low": _("off, low"),
        "inside": _("not off"),
        "close": _("too close to call"),
        "few": _("too few to say"),
        "none": _("not held against anything"),
    }


def _standings(
    seen: staff.Seen, state: str, name: str, chosen: list[staff.Person], place: dict[int, int]
) -> Figure:
    measure = seen.asked.measure
    colour, symbol = STATES[state]
    middles = [person.standing.best or 0.0 for person in chosen]
    limits = [person.standing.limits for person in chosen]
    # How often somebody brewed is on the roster, and would name them.
    says = _("%(name)s: %(size)s (%(low)s to %(high)s), n = %(n)d")
    if not seen.sight.by_day:
        says = _("%(name)s: %(size)s (%(low)s to %(high)s)")
    told = [
        says
        % {
            "name": person.name,
            "size": measure.apart(middle),
            "low": measure.apart(low),
            "high": measure.apart(high),
            "n": person.standing.brews,
        }
        for person, middle, (low, high) in zip(chosen, middles, limits, strict=True)
    ]
    return points(
        name,
        middles,
        [place[person.key] for person in chosen],
        told,
        {"color": colour, "symbol": symbol, "size": 12, "line": {"color": colour, "width": 2}},
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [(high or 0.0) - m for m, (_low, high) in zip(middles, limits, strict=True)],
            "arrayminus": [m - (low or 0.0) for m, (low, _high) in zip(middles, limits, strict=True)],
            "color": colour,
            "thickness": 2,
            "width": 6,
        },
    )


def table(seen: staff.Seen) -> Table:
    measure = seen.asked.measure
    words = _state_words()
    rows, csv = [], []
    # How often somebody brewed is on the roster, and would name them.
    counts = seen.sight.by_day
    for person in seen.people:
        one = person.standing
        brewed = (one.brews, one.days, one.alone) if counts else ()
        low, high = one.limits
        shape, said = words[person.state]
        interval = "–" if low is None else f"{measure.apart(low)} – {measure.apart(high)}"
        rows.append(
            (
                text_cell(person.name, href=str(person.key) if seen.leads_on else ""),
                text_cell(said, shape),
                Cell(measure.apart(one.best)),
                Cell(interval),
                Cell(measure.apart(one.raw)),
                *map(Cell, brewed),
            )
        )
        csv.append(
            (
                person.name,
                said,
                *(exact(v, measure) for v in (one.best, low, high, one.raw, one.raw_low, one.raw_high)),
                *brewed,
            )
        )
    return Table(
        _("People"),
        (
            (_("Barista"), False),
            (_("Verdict"), False),
            (_("Estimate"), True),
            (_("Interval (95 %)"), True),
            (_("Plain difference"), True),
            *(((_("Brews"), True), (_("Days"), True), (_("Brewed alone"), True)) if counts else ()),
        ),
        tuple(rows),
        (
            _("barista"),
            _("verdict"),
            _("above or below the others, %(unit)s") % {"unit": measure.unit},
            _("low (95 %)"),
            _("high (95 %)"),
            _("plain difference"),
            _("its low"),
            _("its high"),
            *(
                (_("brews beside others"), _("days"), _("brews that nobody else brewed beside"))
                if counts
                else ()
            ),
        ),
        csv,
    )


def _state_words() -> dict[str, tuple[str, str]]:
    return {
        "high": ("high", _("off, high")),
        "low": ("low", _("off, low")),
        "inside": ("inside", _("not off")),
        "close": ("close", _("too close to call")),
        "few": ("none", _("too few to say")),
        "none": ("none", _("not judged")),
    }
