"""One brew as somebody entered it: parsed, not yet judged or saved.

A form makes one of these, and so can anything else that brings readings in.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Model

from brewbar.crew.models import Cafe, User
from calibration.models import Reading, Refractometer
from recipes.brewing import extraction
from recipes.models import Grinder, Kettle, RoastBatch, Server, Slot

MINUTES_TO_CORRECT = 10
FEWEST_DROPS, MOST_DROPS = 2, 5
MASS_BOUNDS_G = {
    "weight_g": (0, 9999),
    "dose_g": (1, 200),
    "water_g": (10, 4000),
    "bypass_g": (0, 2000),
    "ice_g": (0, 2000),
}
"""Beyond which no scale of a bar goes, or no brew."""

ANSWERS = frozenset({"sure", "no_more_drops", "written_down"})
"""Parts of an entry that answer a question of ours and say nothing about the brew."""


@dataclass(frozen=True)
class Entry:
    """What one person says about one brew. Masses in g, temperatures in °C, drops in % TDS.

    weight_g: what the scale showed, of the server with its coffee or of the beverage alone as
    ``beverage_source`` says; None when it was not weighed. brewed_at: None when it was brewed just now.
    rinse_left_in: None until asked. was_served: that the check went to a guest. sure: doubts that were answered
    'yes, really'. no_more_drops: that no further drop can be taken. corrects: the reading whose typo this one corrects.
    written_down: that it is taken from what was written down at the time: it comes late, and one drop may be all there
    was.
    """

    uuid: UUID
    slot: Slot
    barista: User
    kind: str
    drops: tuple[Decimal, ...]
    brew_time_s: int
    beverage_source: str
    dose_g: Decimal
    water_g: Decimal
    roast_batch: RoastBatch
    grinder: Grinder
    grind_setting: str
    kettle: Kettle
    refractometer: Refractometer
    weight_g: Decimal | None = None
    server: Server | None = None
    tare_g: Decimal | None = None
    bypass_g: Decimal = Decimal(0)
    ice_g: Decimal = Decimal(0)
    brewed_at: datetime | None = None
    sample_temperature_C: Decimal | None = None
    slurry_temperature_C: Decimal | None = None
    taste: str = ""
    rinse_left_in: bool | None = None
    was_served: bool = False
    corrects: Reading | None = None
    no_more_drops: bool = False
    written_down: bool = False
    sure: frozenset[str] = field(default_factory=frozenset)

    def with_cup(self, cup: Mapping[str, Any]) -> Entry:
        """As ``replace``, for very many: what isn't in ``cup`` is not gone through part by part."""
        made = object.__new__(Entry)
        made.__dict__.update(self.__dict__)
        made.__dict__.update(cup)
        return made

    @property
    def cafe(self) -> Cafe:
        return self.slot.board.cafe

    @property
    def is_weighed(self) -> bool:
        return self.beverage_source != Reading.Beverage.ESTIMATED

    @property
    def weighed_beverage_g(self) -> Decimal | None:
        """Beverage by the scale; None when it was left open, or when the server's tare is not known."""
        if not self.is_weighed or self.weight_g is None:
            return None
        if self.beverage_source == Reading.Beverage.ALONE:
            return self.weight_g
        return None if self.tare_g is None else self.weight_g - self.tare_g

    def beverage_for(self, tds_pct: float) -> float:
        """Beverage by the scale, or from the liquid retained. Raises ValueError if the bed keeps it all."""
        weighed = self.weighed_beverage_g
        if weighed is not None:
            return float(weighed)
        return extraction.estimated_beverage(
            float(self.dose_g), float(self.water_g), tds_pct, float(self.bypass_g), float(self.ice_g)
        ).value_g

    @property
    def fingerprint(self) -> str:
        """A hash of what is said about the brew. 1.4 and 1,40 say the same."""
        said = {
            part.name: _plain(getattr(self, part.name)) for part in fields(self) if part.name not in ANSWERS
        }
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, Model):
        return value.pk
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, datetime):
        return value.timestamp()
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    return value if isinstance(value, str | int | bool | None) else str(value)
