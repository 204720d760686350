"""One version for several cafés: how its recipe stands in each, and what the version would be there.

Where the recipe is live, its stations would take the version and keep what they are brewed with; where it is not,
somebody says where and with what. Nothing here writes, but that what was due goes live: see `publishing_in_cafes`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from brewbar.crew.access import Member, Place
from brewbar.crew.models import Cafe, Company, Station
from recipes import aims
from recipes.authoring import findings_at
from recipes.brewing.plan import Finding, Severity
from recipes.brewing.water import boiling_point_C
from recipes.models import (
    Board,
    CafeTarget,
    CardCode,
    Grinder,
    GrindNote,
    Kettle,
    RecipeVersion,
    RoastBatch,
    Slot,
    SlotSetting,
)
from recipes.planning import Usual, usual
from recipes.publishing import board_as_it_stands, plan_mark
from recipes.readiness import findings


@dataclass(frozen=True)
class New:
    """Where and with what a version is brewed in a café that does not brew its recipe yet."""

    station: Station
    roast_batch: RoastBatch
    grinder: Grinder
    grind_setting: str
    kettle: Kettle


@dataclass(frozen=True)
class Taking:
    """A station where the recipe is live, and what is wrong or doubtful with the version there."""

    live: Slot
    findings: tuple[Finding, ...]
    has_it: bool
    """It brews this very version already."""


@dataclass(frozen=True)
class There:
    """How a recipe stands in one café before a version of it comes."""

    place: Member
    board: Board
    mark: str
    """Names all that was looked at; see `publishing_in_cafes.Chosen`."""
    takings: tuple[Taking, ...]
    planned: tuple[Slot, ...]
    """What is planned of the recipe: it stays planned."""
    usual: Usual | None
    """Where it is not live: what it would most likely be brewed with."""
    station: Station | None
    """Where it is not live: the station it stood at last, or the only one."""
    own_target: CafeTarget | None
    grind_note: GrindNote | None
    boils_at_C: float

    @property
    def cafe(self) -> Cafe:
        return self.place.cafe

    @property
    def is_live(self) -> bool:
        return bool(self.takings)

    @property
    def stands(self) -> bool:
        """Whether there is nothing left to do."""
        return self.is_live and all(taking.has_it for taking in self.takings)

    @property
    def wrong(self) -> bool:
        """Whether something at a station where it is live keeps the version off."""
        return any(
            finding.severity is Severity.ERROR for taking in self.takings for finding in taking.findings
        )


def headed(places: Iterable[Place], company: Company) -> list[Member]:
    """Those of somebody's ``places`` where they are head barista in ``company``."""
    mine = [
        place
        for place in places
        if isinstance(place, Member) and place.is_head and place.company == company and not place.by_pin
    ]
    return sorted(mine, key=lambda place: (place.cafe.name, place.cafe.pk))


def stand(version: RecipeVersion, places: Sequence[Member], now: datetime) -> list[There]:
    """How the recipe stands in each café, after whatever was due there has gone live."""
    return [_there(version, place, board_as_it_stands(place.cafe, now)) for place in places]


def _there(version: RecipeVersion, place: Member, board: Board) -> There:
    live = live_of(board, version)
    rows = board.slots.planned().for_card().filter(card__recipe=version.recipe)
    station = None if live else _likely_station(board, version)
    some = station or board.cafe.stations.in_use().first()
    return There(
        place=place,
        board=board,
        mark=mark_of(board, version),
        takings=tuple(
            Taking(slot, findings(coming(board, version, slot)), slot.version_id == version.pk)
            for slot in live
        ),
        planned=tuple(rows),
        usual=usual(board, some, version) if some and not live else None,
        station=station,
        own_target=aims.standing(board.cafe, version).own,
        grind_note=GrindNote.objects.standing().filter(cafe=board.cafe, recipe=version.recipe).first(),
        boils_at_C=boiling_point_C(board.cafe.altitude_m),
    )


def live_of(board: Board, version: RecipeVersion) -> list[Slot]:
    return list(board.slots.live().for_card().filter(card__recipe=version.recipe))


def _likely_station(board: Board, version: RecipeVersion) -> Station | None:
    stations = list(board.cafe.stations.in_use())
    last = board.slots.filter(card__recipe=version.recipe, card__station__in=stations).order_by("-pk").first()
    if last:
        return next(station for station in stations if station.pk == last.card.station_id)
    return stations[0] if len(stations) == 1 else None


def mark_of(board: Board, version: RecipeVersion) -> str:
    return f"{plan_mark(board)}.{version.revision}"


def coming(board: Board, version: RecipeVersion, at: Slot | New) -> Slot:
    """The slot as it would be, not saved: in place of a live one, or where and with what somebody says."""
    if isinstance(at, Slot):
        return Slot(board=board, card=at.card, version=version, kettle=at.kettle, setting=at.setting)
    setting = SlotSetting(roast_batch=at.roast_batch, grinder=at.grinder, grind_setting=at.grind_setting)
    card = CardCode(station=at.station, recipe=version.recipe)
    return Slot(board=board, card=card, version=version, kettle=at.kettle, setting=setting)


def findings_with(there: There, version: RecipeVersion, new: New | None) -> tuple[Finding, ...]:
    """What is wrong or doubtful in a café where it would be new; all that is known before ``new`` is said."""
    if new is not None:
        return findings(coming(there.board, version, new))
    plan = aims.standing(there.cafe, version).onto(version.plan())
    kettle = there.usual.kettle if there.usual else None
    return findings_at(plan, kettle, there.cafe, version.brewer)
