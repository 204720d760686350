"""Who and when: people by day."""

from __future__ import annotations

from math import ceil

from django.utils.translation import gettext as _

from calibration import heat
from calibration.charts.table import Cell, Table, exact, text_cell
from calibration.figures import FIXED, MOST_TICKS, VERMILION, Figure, layout

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


def figure(seen: heat.Seen) -> Figure:
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


def table(seen: heat.Seen) -> Table:
    measure = seen.asked.measure
    headings = [seen.heading(column) for column in seen.columns]
    rows = tuple(
        (
            text_cell(line.name),
            Cell(measure.apart(line.mean)),
            *(Cell("·" if value is None else measure.apart(value)) for value in line.values),
        )
        for line in seen.lines
    )
    head = ((_("Barista"), False), (_("All"), True), *((heading, True) for heading in headings))
    csv_head = (_("barista"), _("all"), *(column.isoformat() for column in seen.columns))
    csv = [
        (line.name, exact(line.mean, measure), *(exact(value, measure) for value in line.values))
        for line in seen.lines
    ]
    return Table(_("People by day"), head, rows, csv_head, csv)
