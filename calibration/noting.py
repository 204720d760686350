"""Readings corrected and voided, as the record of changes keeps them."""

from __future__ import annotations

from django.utils.translation import gettext as _

from brewbar.crew.models import Change, User
from brewbar.crew.record import note, snapshot
from calibration.models import Reading

TOLD = (
    *("kind", "barista", "roast_batch", "grinder", "grind_setting", "kettle", "refractometer", "server"),
    *("dose_g", "water_g", "bypass_g", "ice_g", "beverage_source", "gross_g", "beverage_g", "brew_time_s"),
    *("slurry_temperature_C", "taste", "tds"),
)


def corrected(old: Reading, new: Reading, by: User) -> None:
    _noted(old, _("corrected"), by, _said(old), _said(new))


def voided(reading: Reading, by: User) -> None:
    _noted(reading, _("voided"), by, _said(reading), {}, reading.void_reason)


def _said(reading: Reading) -> dict[str, str]:
    drops = [f"{drop.tds} %" for drop in reading.drops.all()]
    when = f"{reading.brewed_at.astimezone(reading.cafe.zone):%Y-%m-%d %H:%M}"
    return {_("brewed"): when, _("drops"): " · ".join(drops), **snapshot(reading, TOLD)}


def _noted(
    reading: Reading, what: str, by: User, before: dict[str, str], after: dict[str, str], why: str = ""
) -> None:
    """The subject names nobody and no number: owners who are shown no names read that and not more."""
    said = {"recipe": reading.version.recipe.name, "day": reading.business_day.isoformat()}
    note(
        company=reading.company,
        cafe=reading.cafe,
        about=Change.About.READING,
        what=what,
        subject=_("%(recipe)s, %(day)s") % said,
        row=reading,
        by=by,
        before=before,
        after=after,
        why=why,
    )
