"""A small invented company for tests that need all of it: two cafés, a crew, a recipe on the board, a reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from brewbar.crew.models import Cafe, Role, User
from recipes.models import RecipeVersion, Slot
from tests import factories as make

ROW_OF = {
    "crew:tablet_revoke": "tablet",
    "crew:unlock": "membership",
    "crew:pin": "membership",
    "crew:pin_new": "membership",
    "crew:person": "membership",
    "crew:role": "membership",
    "crew:further": "membership",
    "crew:training": "membership",
    "crew:new_password": "membership",
    "crew:end": "membership",
    "crew:link_withdraw": "link",
    "crew:cafe": "cafe",
    "crew:key_revoke": "access_key",
    "recipes:slot": "slot",
    "recipes:slot_grind": "slot",
    "recipes:slot_leave": "slot",
    "recipes:slot_off": "slot",
    "recipes:slot_seen": "slot",
    "recipes:slot_keep": "slot",
    "recipes:slot_drop": "planned",
    "recipes:board_station": "station",
    "recipes:board_station_retire": "station",
    "recipes:board_station_return": "station",
    "recipes:card": "slot",
    "recipes:card_svg": "slot",
    "recipes:card_pdf": "slot",
    "recipes:recipe": "recipe",
    "recipes:api_recipe": "recipe",
    "recipes:api_version": "version",
    "recipes:recipe_revise": "recipe",
    "recipes:recipe_rename": "recipe",
    "recipes:recipe_retire": "recipe",
    "recipes:at_cafe": "recipe_at_a_cafe",
    "recipes:at_cafe_grind": "recipe_at_a_cafe",
    "recipes:at_cafe_target": "recipe_at_a_cafe",
    "recipes:version": "version",
    "recipes:version_edit": "draft",
    "recipes:version_preview": "draft",
    "recipes:version_discard": "draft",
    "recipes:version_everywhere": "version",
    "recipes:version_copy": "version",
    "recipes:version_scale": "version",
    "recipes:coffee": "coffee",
    "recipes:coffee_edit": "coffee",
    "recipes:coffee_retire": "coffee",
    "recipes:batch_new": "coffee",
    "recipes:batch": "batch",
    "recipes:batch_mark": "batch",
    "recipes:batch_retire": "batch",
    "recipes:water_use": "water",
    "recipes:event_take_back": "event",
    "recipes:match_take_back": "match",
    "recipes:kettle_measure": "kettle",
    "recipes:kettle_point_new": "kettle",
    "recipes:kettle_figure": "kettle",
    "recipes:kettle_point_take_back": "point",
    "calibration:person_chart": "brewer_of_a_reading",
    "calibration:person_chart_figure": "brewer_of_a_reading",
    "calibration:person_chart_csv": "brewer_of_a_reading",
    "calibration:instrument": "refractometer",
    "calibration:check_new": "refractometer",
    "calibration:instrument_checks": "refractometer",
    "calibration:instrument_figure": "refractometer",
    "calibration:instrument_csv": "refractometer",
    "calibration:instrument_retire": "refractometer",
    "calibration:signal": "signal",
    "calibration:signal_chart": "signal",
    "calibration:signal_try": "signal",
    "calibration:brought": "import",
    "calibration:import_rest": "import",
    "calibration:import_undo": "import",
}
"""Which row of the world an address names by its pk."""
for thing in ("brewer", "paper", "kettle", "water", "grinder", "server"):
    ROW_OF |= {f"recipes:{thing}": thing, f"recipes:{thing}_retire": thing}
OF_A_PERSON = {
    "calibration:signal",
    "calibration:signal_chart",
    "calibration:person_chart",
    "calibration:person_chart_figure",
    "calibration:person_chart_csv",
}
"""What a barista finds only if it is about themselves: here it is about the world's barista."""
COMPANY_WIDE = {"recipe", "version", "draft", "coffee", "batch", "brewer", "paper"}


@dataclass(frozen=True)
class World:
    cafe: Cafe
    barista: User
    head: User
    owner: User
    slot: Slot
    tablet_key: str
    link_key: str
    draft: RecipeVersion
    rows: dict[str, Any]

    @classmethod
    def build(cls) -> World:
        cafe = make.cafe(time_zone="Europe/Lisbon")
        head = make.person(Role.HEAD, cafe)
        barista = make.person(Role.BARISTA, cafe)
        instrument = make.refractometer(cafe)
        make.unclear_check(instrument, by=head)
        server = make.server(cafe)
        slot = make.live_slot(cafe, by=head)
        reading = make.reading(slot, barista, server=server, refractometer=instrument)
        tablet, tablet_key = make.tablet(slot.station, by=head)
        link, link_key = make.link(cafe, by=head)
        planned = make.planned_slot(cafe, by=head)
        gone = make.live_slot(cafe, by=head)
        gone.withdrawn_at, gone.withdrawn_by, gone.withdrawn_why = timezone.now(), head, "out of coffee"
        gone.replaced_by = slot
        gone.save()
        access_key, _secret = make.access_key(barista)
        draft = make.version(make.recipe(cafe.company, by=head))
        return cls(
            cafe=cafe,
            barista=barista,
            head=head,
            owner=make.person(Role.OWNER, company=cafe.company),
            slot=slot,
            tablet_key=tablet_key,
            link_key=link_key,
            draft=draft,
            rows={
                "slot": slot,
                "planned": planned,
                "gone": gone,
                "version": slot.version,
                "draft": draft,
                "recipe": slot.version.recipe,
                "recipe_at_a_cafe": slot.version.recipe,
                "coffee": slot.version.recipe.coffee,
                "batch": slot.setting.roast_batch,
                "brewer": slot.version.brewer,
                "paper": slot.version.paper,
                "kettle": slot.kettle,
                "grinder": slot.setting.grinder,
                "server": server,
                "water": make.water(cafe),
                "event": make.event(cafe, by=head, grinder=slot.setting.grinder),
                "match": make.match(slot.setting.grinder, "24", planned.setting.grinder, "22", by=head),
                "point": make.breakup_point(slot.kettle, 4, 120, by=head),
                "refractometer": instrument,
                "cafe": cafe,
                "station": slot.station,
                "tablet": tablet,
                "link": link,
                "access_key": access_key,
                "membership": barista.memberships.get(),
                "reading": reading,
                "brewer_of_a_reading": barista,
                "signal": make.signal(cafe, barista, recipe=slot.version.recipe),
                "run": make.run(slot, barista),
                "import": make.brought(cafe, by=head),
                "upload": make.upload(cafe, by=head),
            },
        )

    def key(self, name: str, key: str) -> Any:
        """What the address ``name`` wants for its part ``key``."""
        if key == "pk":
            return self.rows[ROW_OF[name]].pk
        if key == "cafe":
            return self.cafe.pk
        if key == "draft":
            # A file is not brought back with the rows, when a test has deleted it.
            if not self.rows["upload"].path.exists():
                self.rows["upload"] = make.upload(self.cafe, by=self.head)
            return self.rows["upload"].token
        if key == "key":
            return self.link_key
        if key == "uuid":
            return self.rows["run" if name.startswith("calibration:check_") else "reading"].uuid
        if key == "code":
            return self.slot.card.code
        if key == "printed":
            return self.slot.version.number
        raise KeyError(f"tests/world.py does not know what {name} wants for {key}")

    @staticmethod
    def is_company_wide(name: str) -> bool:
        return ROW_OF.get(name) in COMPANY_WIDE

    def of_another_company(self) -> dict[str, User]:
        return self._crew_of(make.cafe())

    def of_another_cafe(self) -> dict[str, User]:
        """An owner is of every café, so there is none here."""
        crew = self._crew_of(make.cafe(self.cafe.company))
        return {role: user for role, user in crew.items() if role != Role.OWNER}

    @staticmethod
    def _crew_of(cafe: Cafe) -> dict[str, User]:
        return {role: make.person(role, cafe) for role in Role.values}
