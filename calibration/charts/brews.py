"""Every brew with all that was read of it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _

from calibration import instrument_spans, judging
from calibration.charts.table import Table
from calibration.drift import Asked
from calibration.instrument_spans import Span, State
from calibration.models import Reading
from recipes.aims import Aims


def table(asked: Asked, readings: list[Reading], spans: Iterable[Span]) -> Table:
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
