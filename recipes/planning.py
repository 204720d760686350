"""What a head barista sees while planning a board: what would change, what is on offer, what is usual.

Nothing here writes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, IntegerField, Q, Value, When, prefetch_related_objects
from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from brewbar.crew.models import Station
from recipes import matches
from recipes.aims import in_words, set_by
from recipes.at_cafe import Own, own_of
from recipes.authoring import findings_at, what_blocks
from recipes.brewing.plan import Finding, Severity
from recipes.grinds import Converted, convert
from recipes.models import (
    Board,
    Grinder,
    Kettle,
    Recipe,
    RecipeVersion,
    RoastBatch,
    Slot,
    SlotSetting,
)
from recipes.readiness import findings

PLANNED = ("planned_by", "setting__roast_batch__coffee", "version__based_on")


@dataclass(frozen=True)
class Change:
    """A station's recipe before and after the next publishing; one of ``live`` and ``planned`` is there."""

    live: Slot | None
    planned: Slot | None
    findings: tuple[Finding, ...] = ()
    newer: RecipeVersion | None = None
    """A version of the live recipe that is on offer and newer."""
    on_offer: bool = False
    """Whether what is planned could be planned again as it stands."""
    own: Own | None = None
    """What the café has of its own for what is planned, or else for what is live."""

    @property
    def kind(self) -> str:
        if self.live is None:
            return "new"
        if self.planned is not None:
            return "adjusted" if self.planned.version_id == self.live.version_id else "replaced"
        return "leaves" if self.live.leaving else "stays"

    @property
    def aims_elsewhere(self) -> str:
        """What the version says of the quantities that the café aims at itself; "" where it has no own target."""
        target = self.own.target if self.own else None
        version = self.planned.version if self.planned else None
        if target is None or version is None:
            return ""
        return in_words(version, set_by(target)) or _("no target for it")

    @property
    def moved_unfollowed(self) -> tuple[str, str] | None:
        """What the live version said and the planned one says, where that moves and the café's own target stays."""
        target = self.own.target if self.own else None
        if target is None or self.live is None or self.planned is None:
            return None
        was, becomes = (in_words(slot.version, set_by(target)) for slot in (self.live, self.planned))
        return (was or _("none"), becomes or _("none")) if was != becomes else None

    @property
    def is_ready(self) -> bool:
        return not any(finding.severity is Severity.ERROR for finding in self.findings)


@dataclass(frozen=True)
class PlanAt:
    station: Station
    changes: tuple[Change, ...]


def plan_of(board: Board, offered: Sequence[RecipeVersion] = ()) -> list[PlanAt]:
    """The whole board, station by station, also those that have nothing on them."""
    slots = list(board.slots.filter(withdrawn_at=None).for_card().select_related(*PLANNED))
    cards: dict[int, dict[int, dict[str, Slot]]] = {}
    for slot in slots:
        at_station = cards.setdefault(slot.card.station_id, {})
        at_station.setdefault(slot.card_id, {})["live" if slot.published_at else "planned"] = slot
    stations = board.cafe.stations.all()
    own = own_of(board.cafe, [slot.version for slot in slots])
    return [
        PlanAt(station, tuple(_change(offered, own, **there) for there in cards.get(station.pk, {}).values()))
        for station in stations
        if station.pk in cards or station.retired_at is None
    ]


def _change(
    offered: Sequence[RecipeVersion],
    own: Mapping[int, Own],
    live: Slot | None = None,
    planned: Slot | None = None,
) -> Change:
    looked_at = planned or live
    here = own[looked_at.version_id] if looked_at else None
    newer = [
        version
        for version in offered
        if live and version.recipe_id == live.card.recipe_id and version.number > live.version.number
    ]
    return Change(
        live,
        planned,
        findings=findings(planned, here.aims if here else None) if planned else (),
        newer=max(newer, key=lambda version: version.number, default=None),
        on_offer=planned is not None and planned.version in offered,
        own=here,
    )


@dataclass(frozen=True)
class Blocked:
    """A draft that cannot go on a board yet, and why."""

    version: RecipeVersion
    reasons: tuple[str, ...]


def on_offer(member: Member) -> tuple[list[RecipeVersion], list[Blocked]]:
    """The versions that can be planned, under their recipes' names, and the drafts that cannot."""
    versions = list(
        RecipeVersion.objects.for_member(member)
        .filter(retired_at=None, recipe__retired_at=None, recipe__coffee__retired_at=None)
        .select_related("recipe__coffee", "kettle", "based_on")
        .order_by("recipe__name", "recipe", "-number")
    )
    drafts = [version for version in versions if version.is_draft]
    prefetch_related_objects(drafts, "pours")
    own, blocked = own_of(member.cafe, drafts), {}
    for draft in drafts:
        plan = own[draft.pk].aims.onto(draft.plan())
        kettle = draft.kettle if draft.kettle and draft.kettle.cafe_id == member.cafe.pk else None
        if reasons := what_blocks(draft, findings_at(plan, kettle, member.cafe)):
            blocked[draft] = Blocked(draft, tuple(reasons))
    return [version for version in versions if version not in blocked], list(blocked.values())


@dataclass(frozen=True)
class Elsewhere:
    """Where a recipe stands, or stood last, when that is another station with another grinder.

    converted: that setting on the grinders of the café that were compared with that one.
    """

    setting: SlotSetting
    is_live: bool
    converted: tuple[tuple[Grinder, Converted], ...]


@dataclass(frozen=True)
class Usual:
    """What a slot would most likely be planned with; None or "" where nothing suggests itself."""

    roast_batch: RoastBatch | None
    grinder: Grinder | None
    grind_setting: str
    kettle: Kettle | None
    elsewhere: Elsewhere | None = None
    """Where the setting was carried over from, or would be if the two grinders had been compared."""


def usual(board: Board, station: Station, version: RecipeVersion) -> Usual:
    """What this recipe, or else its coffee, last ran with: at this station, or else in this café.

    Where the recipe stands at another station, its setting there counts, carried over to this station's grinder.
    """
    recipe = version.recipe
    nearness = Case(
        When(slot__card__station=station, slot__card__recipe=recipe, then=Value(0)),
        When(slot__card__station=station, then=Value(1)),
        When(slot__card__recipe=recipe, then=Value(2)),
        default=Value(3),
        output_field=IntegerField(),
    )
    last = (
        SlotSetting.objects.filter(slot__board=board, slot__card__recipe__coffee=recipe.coffee_id)
        .select_related("roast_batch", "grinder", "slot__kettle")
        .order_by(nearness, "-pk")
        .first()
    )
    batches = list(recipe.coffee.batches.in_use().order_by("roasted_on"))
    grinders, kettles = list(board.cafe.grinders.in_use()), list(board.cafe.kettles.in_use())
    grinder = _likely(grinders, last.grinder if last else None)
    setting = last.grind_setting if last and last.grinder == grinder else ""
    elsewhere = _elsewhere(board, station, recipe, grinders)
    if elsewhere:
        own, there, carried = _grinder_of(board, station), elsewhere.setting, dict(elsewhere.converted)
        if own not in grinders:
            elsewhere = None
        elif own == there.grinder:
            grinder, setting, elsewhere = own, there.grind_setting, None
        elif own in carried:
            grinder, setting = own, carried[own].setting
        elif own != grinder:
            grinder, setting = own, ""
    return Usual(
        # The oldest roast goes first, unless another batch is already open here.
        roast_batch=_likely(batches, last.roast_batch if last else None) or (batches[0] if batches else None),
        grinder=grinder,
        grind_setting=setting,
        kettle=_likely(kettles, version.kettle) or _likely(kettles, last.slot.kettle if last else None),
        elsewhere=elsewhere,
    )


def _elsewhere(board: Board, station: Station, recipe: Recipe, grinders: list[Grinder]) -> Elsewhere | None:
    """Where the recipe stands, or stood last, unless that is this station."""
    here, stands = Q(slot__card__station=station), Q(slot__withdrawn_at=None)
    newest = (
        SlotSetting.objects.filter(slot__board=board, slot__card__recipe=recipe)
        .annotate(stands=Case(When(stands, then=Value(0)), default=Value(1), output_field=IntegerField()))
        .annotate(away=Case(When(here, then=Value(0)), default=Value(1), output_field=IntegerField()))
        .select_related("grinder", "slot__card__station")
        .order_by("stands", Case(When(stands, then="away"), default=Value(0)), "-pk")
        .first()
    )
    if newest is None or newest.slot.card.station_id == station.pk:
        return None
    found = matches.standing(board.cafe)
    converted = [(to, convert(newest.grind_setting, newest.grinder, to, found)) for to in grinders]
    return Elsewhere(
        newest, newest.slot.withdrawn_at is None, tuple((to, one) for to, one in converted if one is not None)
    )


def _grinder_of(board: Board, station: Station) -> Grinder | None:
    """The grinder that a station was last brewed from."""
    last = (
        SlotSetting.objects.filter(slot__board=board, slot__card__station=station)
        .select_related("grinder")
        .order_by("-pk")
        .first()
    )
    return last.grinder if last else None


def _likely(there: list[Any], wish: Any) -> Any:
    """The wish if it is there, or the only thing there is."""
    return wish if wish in there else there[0] if len(there) == 1 else None
