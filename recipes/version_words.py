"""A draft in the words of the record of changes: what its author wrote, and a line for each pour."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Model
from django.utils.translation import gettext as _

from brewbar.crew.record import snapshot
from brewbar.units import AS_KEPT, clock, degrees, trimmed, written_as
from recipes.models import Pour, RecipeVersion

TIMES = ("brew_time_s",)


def label(model: type[Model], field: str) -> str:
    return str(model._meta.get_field(field).verbose_name)  # type: ignore[union-attr]  # only called for columns


def told(version: RecipeVersion, fields: Iterable[str], pours: Iterable[Pour]) -> dict[str, str]:
    """{what a number or a pour is called: what a page would write}, for `brewbar.crew.record.note`."""
    fields = tuple(fields)
    said = snapshot(version, fields)
    for name in TIMES:
        seconds = getattr(version, name)
        if name in fields and seconds is not None:
            said[label(RecipeVersion, name)] = clock(seconds)
    with written_as(AS_KEPT):
        for number, pour in enumerate(pours, start=1):
            said[_("pour %(number)d") % {"number": number}] = told_pour(pour)
    return said


def told_pour(pour: Pour) -> str:
    """Such as "0:40 to 150 g, circle, 5 g/s, 60 mm, then swirl"; what is open is left out."""
    start = "" if pour.starts_at_s is None else clock(pour.starts_at_s)
    weight = "" if pour.to_g is None else _("to %(weight)s g") % {"weight": trimmed(pour.to_g, 1)}
    parts = [
        " ".join(part for part in (start, weight) if part),
        str(Pour.Pattern(pour.pattern).label),
        "" if pour.flow_g_s is None else f"{trimmed(pour.flow_g_s, 1)} g/s",
        "" if pour.spout_height_mm is None else f"{pour.spout_height_mm} mm",
        "" if pour.temperature_C is None else degrees(pour.temperature_C),
        _("then %(what)s") % {"what": Pour.After(pour.after).label} if pour.after else "",
        pour.note,
    ]
    return ", ".join(part for part in parts if part)
