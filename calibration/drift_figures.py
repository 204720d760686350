"""Days and people as plotly figures: plain dicts. What is told by colour is told by shape too."""

from __future__ import annotations

from datetime import date
from math import ceil

from django.utils.translation import gettext as _

from brewbar import dates
from calibration import days, heat, people_share, scatter, staff
from calibration.drift import MEASURES
from calibration.figures import (
    BLUE,
    FIXED,
    GREEN,
    GREY,
    MOST_TICKS,
    ORANGE,
    STATES,
    VERMILION,
    Figure,
    axis_apart,
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
STEPS = 3
SHADES = {
    3: VERMILION,
    2: "#E8945C",
    1: "#F5CBB0",
    0: "#EDEDED",
    -1: "#B3D4EA",
    -2: "#66A9D5",
    -3: "#3391C9",
}
"""Of the heat map, from far above to far below; black can be read on each."""
MOST_WRITTEN = 10
"""So many columns of a heat map leave room for numbers on a phone; of more, what is far off has its sign."""


def kinds() -> dict[str, str]:
    return {
        "batch": _("batch"),
        "version": _("version"),
        "grind": _("grind"),
        "event": _("at the bar"),
        "instrument": _("instrument"),
        "signal": _("signal"),
    }


# --- has the cup moved?


def of_days(seen: days.Seen) -> Figure:
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
                "ticktext": [kinds()[kind] for kind in KINDS[::-1]],
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
    names = kinds()
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


# --- who is off?


def of_staff(seen: staff.Seen) -> Figure:
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


def of_person(page: staff.Page) -> Figure:
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


# --- is it the people?


def of_share(seen: people_share.Seen) -> Figure:
    """A bar for each part of the spread, with the interval of its share."""
    parts = seen.parts[::-1]
    x = [100 * part.share for part in parts]
    lows = [part.found.share_low for part in parts]
    highs = [part.found.share_high for part in parts]
    colours = {"people": VERMILION, "days": BLUE, "both": ORANGE, "brews": GREY}
    shapes = {"people": "/", "days": "", "both": "x", "brews": "."}
    return {
        "data": []
        if not parts
        else [
            {
                "type": "bar",
                "orientation": "h",
                "x": x,
                "y": [part.label for part in parts],
                "marker": {
                    "color": [colours[part.key] for part in parts],
                    "pattern": {"shape": [shapes[part.key] for part in parts], "size": 6},
                },
                "text": [people_share.percent(part) for part in parts],
                "textposition": "none",
                "hovertemplate": "%{y}: %{text}<extra></extra>",
                "error_x": {
                    "type": "data",
                    "symmetric": False,
                    "array": [
                        max(0.0, 100 * (high or 0.0) - v) if high else 0.0
                        for v, high in zip(x, highs, strict=True)
                    ],
                    "arrayminus": [
                        max(0.0, v - 100 * low) if low is not None else 0.0
                        for v, low in zip(x, lows, strict=True)
                    ],
                    "color": GREY,
                    "thickness": 2,
                    "width": 8,
                },
            }
        ],
        "layout": layout(
            height=120 + 60 * max(2, len(parts)),
            margin={"l": 8, "r": 8, "t": 16, "b": 8},
            showlegend=False,
            xaxis={"title": {"text": _("share of the spread, %")}, "range": [0, 100], **FIXED},
            yaxis={"type": "category", "automargin": True, "fixedrange": True},
        ),
    }


# --- who and when


def of_heat(seen: heat.Seen) -> Figure:
    """A row for each person, a column for each day: above is red and +, below blue and −.

    Each step of colour is one outline of all its cells: the library's own heat map wants styles that a page refuses.
    """
    measure = seen.asked.measure
    lines = seen.lines[::-1]
    cells = [
        (column, row, value)
        for row, line in enumerate(lines)
        for column, value in enumerate(line.values)
        if value is not None
    ]
    step = seen.furthest / STEPS or 1.0
    data = []
    for k in range(STEPS, -STEPS - 1, -1):
        chosen = [(column, row) for column, row, value in cells if round(value / step) == k]
        if chosen:
            low, high = measure.apart((k - 0.5) * step), measure.apart((k + 0.5) * step)
            data.append(_cells(_("%(low)s to %(high)s") % {"low": low, "high": high}, SHADES[k], chosen))
    if cells:
        data.append(_numbers(seen, cells, [line.name for line in lines]))
    columns = range(0, len(seen.columns), max(1, ceil(len(seen.columns) / MOST_TICKS)))
    return {
        "data": data,
        "layout": layout(
            height=170 + (26 if len(lines) > 20 else 44) * max(2, len(lines)),
            xaxis={
                "tickvals": list(columns),
                "ticktext": [seen.heading(seen.columns[column]) for column in columns],
                "range": [-0.6, max(len(seen.columns), 1) - 0.4],
                "showgrid": False,
                **FIXED,
            },
            yaxis={
                "tickvals": list(range(len(lines))),
                "ticktext": [line.name for line in lines],
                "range": [-0.6, max(len(lines), 1) - 0.4],
                "showgrid": False,
                **FIXED,
            },
        ),
    }


def _cells(name: str, colour: str, chosen: list[tuple[int, int]]) -> Figure:
    x: list[float | None] = []
    y: list[float | None] = []
    for column, row in chosen:
        left, right, low, high = column - 0.47, column + 0.47, row - 0.45, row + 0.45
        x += [left, right, right, left, left, None]
        y += [low, low, high, high, low, None]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": x,
        "y": y,
        "fill": "toself",
        "fillcolor": colour,
        "line": {"color": colour, "width": 1},
        "hoverinfo": "skip",
    }


def _numbers(seen: heat.Seen, cells: list[tuple[int, int, float]], names: list[str]) -> Figure:
    measure = seen.asked.measure
    told = [
        f"{names[row]}, {seen.heading(seen.columns[column])}: {measure.apart(value)}"
        for column, row, value in cells
    ]
    written = len(seen.columns) <= MOST_WRITTEN
    step = seen.furthest / STEPS or 1.0
    signs = ["+" if v > 1.5 * step else "−" if v < -1.5 * step else "" for _column, _row, v in cells]
    return {
        "type": "scatter",
        "mode": "text",
        "x": [column for column, _row, _value in cells],
        "y": [row for _column, row, _value in cells],
        "text": [measure.apart(value) for _column, _row, value in cells] if written else signs,
        "customdata": told,
        "hovertemplate": "%{customdata}<extra></extra>",
        "textfont": {"size": 11, "color": "#000000"},
        "showlegend": False,
    }


# --- strength and time


def of_scatter(seen: scatter.Seen) -> Figure:
    """Brew time to the right, TDS upward, and the box that is aimed at."""
    tds, time = MEASURES["tds"], MEASURES["time"]
    boxes = [*seen.targets, *([seen.crew] if seen.crew else [])]
    y = axis_of(tds, [*(p.tds for p in seen.points), *(edge for box in boxes for edge in box.tds or ())])
    x = axis_of(
        time, [*(p.time_s for p in seen.points), *(edge for box in boxes for edge in box.time_s or ())]
    )
    outline = []
    for box in boxes:
        is_crew = box is seen.crew
        left, right = box.time_s or x["range"]
        low, high = box.tds or y["range"]
        outline.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": box.label,
                "x": [left, right, right, left, left],
                "y": [low, low, high, high, low],
                "line": {
                    "color": GREY if is_crew else GREEN,
                    "width": 2,
                    "dash": "dot" if is_crew else "solid",
                },
                "fill": "toself",
                "fillcolor": "rgba(138,138,138,0.14)" if is_crew else "rgba(0,158,115,0.16)",
                "hoverinfo": "skip",
            }
        )
    names = {True: _("in the box"), False: _("outside it"), None: _("not held against anything")}
    shapes = {True: (GREEN, "circle"), False: (VERMILION, "diamond"), None: (GREY, "circle-open")}
    traces = []
    for inside, name in names.items():
        chosen = [point for point in seen.points if point.inside is inside]
        if chosen:
            colour, symbol = shapes[inside]
            told = [
                " · ".join(
                    part
                    for part in (
                        dates.day(point.day, weekday=True),
                        point.person,
                        f"{tds.shown(point.tds)} %",
                        time.shown(point.time_s),
                        _("n = %(n)d") % {"n": point.n} if point.n > 1 else "",
                    )
                    if part
                )
                for point in chosen
            ]
            marker = {"color": colour, "symbol": symbol, "size": 8, "opacity": 0.7}
            traces.append(points(name, [p.time_s for p in chosen], [p.tds for p in chosen], told, marker))
    return {"data": [*outline, *traces], "layout": layout(height=520, xaxis=x, yaxis=y)}
