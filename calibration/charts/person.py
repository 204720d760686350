"""One person, day by day."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext as _

from brewbar import dates
from calibration import staff
from calibration.charts.table import Cell, Table, exact, text_cell
from calibration.figures import BLUE, GREY, Figure, axis_apart, axis_of_days, band, layout, points


def figure(page: staff.Page) -> Figure:
    """Each day's deviation, the moving average, and about what it is expected."""
    measure, followed = page.asked.measure, page.followed
    if followed is None:
        return {"data": [], "layout": layout()}
    x = [date.fromordinal(day).isoformat() for day in followed.day.tolist()]
    edges = [*followed.deviation.tolist(), *followed.low.tolist(), *followed.high.tolist()]
    limit = {"type": "scatter", "mode": "lines", "x": x, "hoverinfo": "skip", "legendgroup": "limits"}
    line = {"color": GREY, "width": 1.5, "dash": "dash"}
    shapes = []
    if page.smallest is not None:
        edges += [-page.smallest, page.smallest]
        shapes.append(band(xref="paper", x0=0, x1=1, y0=-page.smallest, y1=page.smallest))
    told = [
        f"{dates.day(date.fromordinal(day), weekday=True)}<br>{measure.apart(value)}"
        for day, value in zip(followed.day.tolist(), followed.deviation.tolist(), strict=True)
    ]
    marker = {"color": GREY, "symbol": "circle", "size": 7, "opacity": 0.7}
    return {
        "data": [
            points(_("one day"), x, followed.deviation.tolist(), told, marker),
            limit | {"name": _("where it usually stays"), "y": followed.low.tolist(), "line": line},
            limit | {"name": "", "y": followed.high.tolist(), "line": line, "showlegend": False},
            {
                "type": "scatter",
                "mode": "lines",
                "name": _("moving average"),
                "x": x,
                "y": followed.z.tolist(),
                "line": {"color": BLUE, "width": 3},
                "hoverinfo": "skip",
            },
        ],
        "layout": layout(
            xaxis=axis_of_days(page.asked.first, page.asked.last),
            yaxis=axis_apart(measure, _("above or below the others"), edges) | {"zeroline": True},
            shapes=shapes,
        ),
    }


def table(seen: staff.Page) -> Table:
    measure = seen.asked.measure
    rows = tuple(
        (text_cell(dates.day(day, weekday=True)), Cell(measure.apart(d)), Cell(measure.apart(z)), Cell(n))
        for day, d, z, n in seen.days
    )
    return Table(
        _("Days"),
        (
            (_("Day"), False),
            (_("Above or below the others"), True),
            (_("Moving average"), True),
            (_("Brews"), True),
        ),
        rows,
        (
            _("day"),
            _("above or below the others, %(unit)s") % {"unit": measure.unit},
            _("moving average"),
            _("brews"),
        ),
        [(day.isoformat(), exact(d, measure), exact(z, measure), n) for day, d, z, n in seen.days],
    )
