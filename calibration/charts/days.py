"""Has the cup moved? Each day, whoever was on."""

from __future__ import annotations

from django.utils.translation import gettext as _

from brewbar import dates
from calibration import days
from calibration.charts.table import Cell, Table, exact, text_cell
from calibration.figures import (
    BLUE,
    FIXED,
    GREEN,
    GREY,
    ORANGE,
    VERMILION,
    Figure,
    axis_of,
    axis_of_days,
    band,
    layout,
    noon,
    points,
)
from calibration.markers import KINDS, Marker

PURPLE = "#CC79A7"
MARKS = {
    "batch": ("square", ORANGE),
    "version": ("star", PURPLE),
    "grind": ("diamond", BLUE),
    "event": ("cross", VERMILION),
    "instrument": ("hexagon", GREEN),
    "signal": ("triangle-up", VERMILION),
}


def _kinds() -> dict[str, str]:
    return {
        "batch": _("batch"),
        "version": _("version"),
        "grind": _("grind"),
        "event": _("at the bar"),
        "instrument": _("instrument"),
        "signal": _("signal"),
    }


def figure(seen: days.Seen) -> Figure:
    """Each day with its interval, what days usually do, the target, and what was changed when."""
    measure = seen.asked.measure
    rows = seen.days
    edges = [edge for row in rows for edge in (row.low, row.high, row.usual_low, row.usual_high)]
    edges += [edge for target in seen.targets for edge in (target.low, target.high)]
    return {
        "data": [*_usual(seen), *_effects(seen), *_marks(seen.markers)],
        "layout": layout(
            height=620,
            xaxis=axis_of_days(seen.asked.first, seen.asked.last) | {"anchor": "y2"},
            yaxis=axis_of(measure, edges) | {"domain": [0.32, 1]},
            yaxis2={
                "domain": [0, 0.27],
                "tickvals": list(range(len(KINDS))),
                "ticktext": [_kinds()[kind] for kind in KINDS[::-1]],
                "range": [-0.6, len(KINDS) - 0.4],
                **FIXED,
                "tickfont": {"size": 12},
            },
            shapes=[
                band(x0=noon(t.first, -1), x1=noon(t.last, 0), y0=t.low, y1=t.high) for t in seen.targets
            ],
            annotations=[
                {
                    "x": noon(target.first, -1),
                    "y": target.high,
                    "text": target.label,
                    "showarrow": False,
                    "xanchor": "left",
                    "yanchor": "bottom",
                    "font": {"size": 12},
                }
                for target in seen.targets
            ],
        ),
    }


def _usual(seen: days.Seen) -> list[Figure]:
    rows = [row for row in seen.days if row.usual_low is not None]
    if not rows:
        return []
    x = [row.day.isoformat() for row in rows]
    line = {"color": GREY, "width": 1.5, "shape": "hvh"}
    common = {"type": "scatter", "mode": "lines", "x": x, "hoverinfo": "skip", "legendgroup": "usual"}
    name = _("what days usually do")
    return [
        common | {"name": name, "y": [row.usual_low for row in rows], "line": line | {"dash": "dash"}},
        common
        | {
            "name": name,
            "y": [row.usual_high for row in rows],
            "line": line | {"dash": "dash"},
            "showlegend": False,
        },
        common | {"name": _("their middle"), "y": list(seen.centre), "line": line | {"width": 1}},
    ]


def _effects(seen: days.Seen) -> list[Figure]:
    found = []
    for outside, name, colour, symbol in (
        (False, _("a day, with its interval (95 %)"), BLUE, "circle"),
        (True, _("a day beyond"), VERMILION, "diamond"),
    ):
        rows = [row for row in seen.days if row.is_outside is outside]
        if not rows:
            continue
        found.append(
            points(
                name,
                [row.day.isoformat() for row in rows],
                [row.value for row in rows],
                [_told_of_day(seen, row) for row in rows],
                {"color": colour, "symbol": symbol, "size": 9 if not outside else 12},
                error_y={
                    "type": "data",
                    "symmetric": False,
                    "array": [row.high - row.value for row in rows],
                    "arrayminus": [row.value - row.low for row in rows],
                    "color": colour,
                    "thickness": 1.2,
                    "width": 0,
                },
            )
        )
    return found


def _told_of_day(seen: days.Seen, row: days.Day) -> str:
    measure = seen.asked.measure
    figures = _("%(value)s (%(low)s to %(high)s)") % {
        "value": measure.shown(row.value),
        "low": measure.shown(row.low),
        "high": measure.shown(row.high),
    }
    brews = _("n = %(n)d, people: %(people)d") % {"n": row.brews, "people": row.people}
    return "<br>".join([dates.day(row.day, weekday=True), figures, brews, *(m.says for m in row.markers)])


def _marks(markers: tuple[Marker, ...]) -> list[Figure]:
    names = _kinds()
    traces = []
    for place, kind in enumerate(KINDS[::-1]):
        of_kind = [marker for marker in markers if marker.kind == kind]
        if not of_kind:
            continue
        symbol, colour = MARKS[kind]
        traces.append(
            points(
                names[kind],
                [marker.day.isoformat() for marker in of_kind],
                [place] * len(of_kind),
                [f"{dates.day(marker.day, weekday=True)}<br>{marker.says}" for marker in of_kind],
                {
                    "color": colour,
                    "symbol": [symbol if marker.known else f"{symbol}-open" for marker in of_kind],
                    "size": 10,
                },
                yaxis="y2",
                showlegend=False,
            )
        )
    return traces


def table(seen: days.Seen) -> Table:
    measure = seen.asked.measure
    unit = f"{measure.label} {measure.unit}"
    state = {True: ("outside", _("beyond")), False: ("inside", _("usual"))}
    rows, csv = [], []
    for row in seen.days[::-1]:
        is_known = row.usual_low is not None
        judged = state[row.is_outside] if is_known else ("none", _("not known yet"))
        said = "; ".join(marker.says for marker in row.markers)
        rows.append(
            (
                text_cell(dates.day(row.day, weekday=True)),
                Cell(measure.shown(row.value)),
                Cell(f"{measure.shown(row.low)} – {measure.shown(row.high)}"),
                Cell(
                    f"{measure.shown(row.usual_low)} – {measure.shown(row.usual_high)}" if is_known else "–"
                ),
                text_cell(judged[1], judged[0]),
                Cell(row.brews),
                Cell(row.people),
                text_cell(said or "–"),
            )
        )
        csv.append(
            (
                row.day.isoformat(),
                *(exact(v, measure) for v in (row.value, row.low, row.high, row.usual_low, row.usual_high)),
                judged[1],
                row.brews,
                row.people,
                said,
            )
        )
    return Table(
        _("Days"),
        (
            (_("Day"), False),
            (str(measure.label), True),
            (_("Interval (95 %)"), True),
            (_("Usual"), True),
            (_("Verdict"), False),
            (_("Brews"), True),
            (_("People"), True),
            (_("What was changed"), False),
        ),
        tuple(rows),
        (
            _("day"),
            _("%(what)s, whoever was on") % {"what": unit},
            _("low (95 %)"),
            _("high (95 %)"),
            _("usual from"),
            _("usual to"),
            _("verdict"),
            _("brews"),
            _("people"),
            _("what was changed"),
        ),
        csv,
    )
