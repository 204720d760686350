"""What the entry page knows before anything is typed: from the recipe, the board, and the last reading here.

Never what has to be measured anew: weight, time, drops, temperatures, taste.
"""

from __future__ import annotations

from typing import Any

from django.db.models import Case, Value, When

from brewbar.crew.access import Member
from calibration.models import CheckRun, Reading
from recipes.models import Slot


def from_station(member: Member, slot: Slot) -> dict[str, Any]:
    """For a new brew: the plan's masses, what the board says, how this person last weighed and read."""
    version, setting = slot.version, slot.setting
    assert setting is not None, "a slot is planned together with its first setting"
    last: Reading | None = (
        Reading.objects.for_member(member)
        .filter(station=slot.card.station_id)
        .select_related("server", "refractometer")
        .order_by(Case(When(barista=member.user, then=Value(0)), default=Value(1)), "-entered_at")
        .first()
    )
    known: dict[str, Any] = {
        "kind": Reading.Kind.CHECK,
        "dose_g": version.dose_g,
        "water_g": version.water_g,
        "bypass_g": version.bypass_g,
        "ice_g": version.ice_g,
        "kettle": slot.kettle_id,
        "grinder": setting.grinder_id,
        "grind_setting": setting.grind_setting,
        "roast_batch": setting.roast_batch_id,
        "barista": member.user.pk,
    }
    if last is not None:
        if last.beverage_source != Reading.Beverage.ESTIMATED:
            known["beverage_source"] = last.beverage_source
        known |= {
            name: piece.pk
            for name, piece in (("server", last.server), ("refractometer", last.refractometer))
            if piece is not None and piece.retired_at is None
        }
    return known


TYPED_TIME = ("minutes", "seconds")


def from_run(run: CheckRun) -> dict[str, Any]:
    """Of a check under way: its time by the timer, and what was typed of it so far."""
    # A browser sends no box that is not ticked.
    was_served = "was_served" in run.typed if run.typed else run.was_served
    known: dict[str, Any] = {"uuid": run.uuid, "kind": run.kind, "was_served": was_served}
    if run.brew_time_s is not None:
        known |= {"minutes": str(run.brew_time_s // 60), "seconds": f"{run.brew_time_s % 60:02d}"}
    return known | {
        name: value for name, value in run.typed.items() if name not in known or name in TYPED_TIME
    }


def from_reading(reading: Reading) -> dict[str, Any]:
    """For the correction of a typo: everything as it was typed."""
    columns = (
        *("kind", "beverage_source", "dose_g", "water_g", "bypass_g", "ice_g", "grind_setting", "taste"),
        *("was_served", "brewed_at", "slurry_temperature_C"),
    )
    links = ("kettle", "grinder", "roast_batch", "server", "refractometer", "barista")
    drops = list(reading.drops.all())
    weight = {
        Reading.Beverage.SERVER: reading.gross_g,
        Reading.Beverage.ALONE: reading.beverage_g,
        Reading.Beverage.ESTIMATED: None,
    }[Reading.Beverage(reading.beverage_source)]
    return (
        {name: getattr(reading, name) for name in columns}
        | {name: getattr(reading, f"{name}_id") for name in links}
        | {f"drop_{drop.order}": drop.tds for drop in drops}
        | {
            "weight_g": weight,
            "minutes": str(reading.brew_time_s // 60),
            "seconds": f"{reading.brew_time_s % 60:02d}",
            "sample_temperature_C": drops[0].sample_temperature_C if drops else None,
            "rinse_left_in": {True: "yes", False: "no", None: ""}[reading.rinse_left_in],
        }
    )
