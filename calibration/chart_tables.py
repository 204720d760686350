"""What a chart shows, as a table: lines for a page, and the same for a spreadsheet with more figures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from brewbar import dates
from calibration import days, heat, instrument_spans, judging, people_share, scatter, staff
from calibration.drift import MEASURES, Asked, Measure
from calibration.instrument_spans import Span, State
from calibration.models import Reading
from recipes.aims import Aims


@dataclass(frozen=True)
class Cell:
    """text; state: a shape to stand before it, if any; href: where it leads; is_number: whether it stands right."""

    text: Any
    state: str = ""
    href: str = ""
    is_number: bool = True


@dataclass(frozen=True)
class Table:
    """head: (words, whether numbers stand below); rows: of cells, the first names its line."""

    caption: str
    head: tuple[tuple[str, bool], ...]
    rows: tuple[tuple[Cell, ...], ...]
    csv_head: tuple[str, ...]
    csv_rows: Iterable[tuple[Any, ...]]


def _words(text: Any, state: str = "", href: str = "") -> Cell:
    return Cell(text, state, href, is_number=False)


def _exact(value: float | None, measure: Measure) -> float | None:
    return None if value is None else round(value, measure.decimals + 2)


def _head(*columns: tuple[str, bool]) -> tuple[tuple[str, bool], ...]:
    return columns


def of_days(seen: days.Seen) -> Table:
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
                _words(dates.day(row.day, weekday=True)),
                Cell(measure.shown(row.value)),
                Cell(f"{measure.shown(row.low)} – {measure.shown(row.high)}"),
                Cell(
                    f"{measure.shown(row.usual_low)} – {measure.shown(row.usual_high)}" if is_known else "–"
                ),
                _words(judged[1], judged[0]),
                Cell(row.brews),
                Cell(row.people),
                _words(said or "–"),
            )
        )
        csv.append(
            (
                row.day.isoformat(),
                *(_exact(v, measure) for v in (row.value, row.low, row.high, row.usual_low, row.usual_high)),
                judged[1],
                row.brews,
                row.people,
                said,
            )
        )
    return Table(
        _("Days"),
        _head(
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


def _state_words() -> dict[str, tuple[str, str]]:
    return {
        "high": ("high", _("off, high")),
        "low": ("low", _("off, low")),
        "inside": ("inside", _("not off")),
        "close": ("close", _("too close to call")),
        "few": ("none", _("too few to say")),
        "none": ("none", _("not judged")),
    }


def of_staff(seen: staff.Seen) -> Table:
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
                _words(person.name, href=str(person.key) if seen.leads_on else ""),
                _words(said, shape),
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
                *(_exact(v, measure) for v in (one.best, low, high, one.raw, one.raw_low, one.raw_high)),
                *brewed,
            )
        )
    return Table(
        _("People"),
        _head(
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


def of_person(seen: staff.Page) -> Table:
    measure = seen.asked.measure
    rows = tuple(
        (_words(dates.day(day, weekday=True)), Cell(measure.apart(d)), Cell(measure.apart(z)), Cell(n))
        for day, d, z, n in seen.days
    )
    return Table(
        _("Days"),
        _head(
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
        [(day.isoformat(), _exact(d, measure), _exact(z, measure), n) for day, d, z, n in seen.days],
    )


def of_share(seen: people_share.Seen) -> Table:
    measure = seen.asked.measure
    rows, csv = [], []
    for part in seen.parts:
        found = part.found
        sds = (
            "–"
            if found.sd_low is None
            else f"{measure.spread(found.sd_low)} – {measure.spread(found.sd_high)}"
        )
        rows.append(
            (
                _words(part.label),
                Cell(people_share.percent(part)),
                Cell(measure.spread(found.sd)),
                Cell(sds),
                Cell("–" if found.levels is None else found.levels),
            )
        )
        sizes = (found.share, found.share_low, found.share_high, found.sd, found.sd_low, found.sd_high)
        csv.append((part.label, *(None if v is None else round(v, 4) for v in sizes), found.levels))
    return Table(
        _("Parts of the spread"),
        _head(
            (_("Part"), False),
            (_("Share (95 %)"), True),
            (_("Standard deviation, %(unit)s") % {"unit": measure.unit}, True),
            (_("Interval (95 %)"), True),
            (_("How many"), True),
        ),
        tuple(rows),
        (
            _("part"),
            _("share"),
            _("share, low (95 %)"),
            _("share, high (95 %)"),
            _("standard deviation, %(unit)s") % {"unit": measure.unit},
            _("low (95 %)"),
            _("high (95 %)"),
            _("how many"),
        ),
        csv,
    )


def of_heat(seen: heat.Seen) -> Table:
    measure = seen.asked.measure
    headings = [seen.heading(column) for column in seen.columns]
    rows = tuple(
        (
            _words(line.name),
            Cell(measure.apart(line.mean)),
            *(Cell("·" if value is None else measure.apart(value)) for value in line.values),
        )
        for line in seen.lines
    )
    head = ((_("Barista"), False), (_("All"), True), *((heading, True) for heading in headings))
    csv_head = (_("barista"), _("all"), *(column.isoformat() for column in seen.columns))
    csv = [
        (line.name, _exact(line.mean, measure), *(_exact(value, measure) for value in line.values))
        for line in seen.lines
    ]
    return Table(_("People by day"), head, rows, csv_head, csv)


def of_scatter(seen: scatter.Seen) -> Table:
    named = not seen.is_means and any(point.person for point in seen.points)
    words = {
        True: ("inside", _("in the box")),
        False: ("outside", _("outside")),
        None: ("none", _("not judged")),
    }
    rows, csv = [], []
    for point in seen.points:
        shape, said = words[point.inside]
        cells = [_words(dates.day(point.day, weekday=True), href=str(point.uuid or ""))]
        if named:
            cells.append(_words(point.person))
        cells += [
            Cell(MEASURES["tds"].shown(point.tds)),
            Cell(MEASURES["time"].shown(point.time_s)),
            _words(said, shape),
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


# --- every brew


def of_brews(asked: Asked, readings: list[Reading], spans: Iterable[Span]) -> Table:
    """Every brew with all that was read of it, for a spreadsheet."""
    head = (
        _("day"),
        _("brewed at"),
        _("barista"),
        _("recipe"),
        _("version"),
        _("grind setting"),
        _("TDS %"),
        _("U of TDS % (relative, k = 2)"),
        _("extraction yield %"),
        _("U of yield % (absolute, k = 2)"),
        _("brew time s"),
        _("dose g"),
        _("brew water g"),
        _("beverage g"),
        _("beverage"),
        _("taste"),
        _("strength"),
        _("yield"),
        _("time"),
        _("marks"),
    )
    states = instrument_spans.states_of(readings, spans)
    own = judging.own_aims(readings)
    rows = (
        _brew(asked, reading, state, judging.aims_of(reading, own))
        for reading, state in zip(readings, states, strict=True)
    )
    return Table("", (), (), head, rows)


def _brew(asked: Asked, reading: Reading, state: State, aims: Aims) -> tuple[Any, ...]:
    return (
        reading.business_day.isoformat(),
        reading.brewed_at.astimezone(asked.cafe.zone).isoformat(timespec="minutes"),
        reading.barista.name,
        reading.version.recipe.name,
        reading.version.number,
        reading.grind_setting,
        reading.tds.normalize(),
        round(2 * reading.u_tds_relative, 4),
        round(reading.ey, 2),
        round(2 * reading.u_ey_absolute, 2),
        reading.brew_time_s,
        reading.dose_g,
        reading.water_g,
        reading.beverage_g,
        reading.get_beverage_source_display(),
        reading.taste,
        *(verdict.state for verdict in judging.against_recipe(reading, aims)),
        "; ".join(str(mark.word) for mark in judging.marks(reading, instrument=state)),
    )
