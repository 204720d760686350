"""Strength and time of each brew, and the box that is aimed at."""

from __future__ import annotations

from django.utils.translation import gettext as _

from brewbar import dates
from calibration import scatter
from calibration.charts.table import Cell, Table, text_cell
from calibration.drift import MEASURES
from calibration.figures import GREEN, GREY, VERMILION, Figure, axis_of, layout, points


def figure(seen: scatter.Seen) -> Figure:
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


def table(seen: scatter.Seen) -> Table:
    named = not seen.is_means and any(point.person for point in seen.points)
    words = {
        True: ("inside", _("in the box")),
        False: ("outside", _("outside")),
        None: ("none", _("not judged")),
    }
    rows, csv = [], []
    for point in seen.points:
        shape, said = words[point.inside]
        cells = [text_cell(dates.day(point.day, weekday=True), href=str(point.uuid or ""))]
        if named:
            cells.append(text_cell(point.person))
        cells += [
            Cell(MEASURES["tds"].shown(point.tds)),
            Cell(MEASURES["time"].shown(point.time_s)),
            text_cell(said, shape),
            Cell(point.n),
        ]
        rows.append(tuple(cells))
        csv.append(
            (point.day.isoformat(), point.version, round(point.tds, 4), round(point.time_s, 1), said, point.n)
        )
    return Table(
        _("Strength and time"),
        (
            (_("Day"), False),
            *([(_("Barista"), False)] if named else []),
            (_("TDS, %"), True),
            (_("Brew time"), True),
            (_("Against the target"), False),
            (_("Brews"), True),
        ),
        tuple(rows),
        (_("day"), _("version"), _("TDS %"), _("brew time s"), _("against the target"), _("brews")),
        csv,
    )
