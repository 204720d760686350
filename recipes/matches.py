"""Settings of two grinders that grind alike, and what stands on one station carried to the grinder of another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import OuterRef, Q, QuerySet, Subquery
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, User
from recipes.catalogue import NotDone, noted
from recipes.grinds import Converted, convert, same_setting
from recipes.models import BarEvent, Grinder, GrinderMatch, Slot


def add(
    grinder: Grinder, setting: str, other: Grinder, other_setting: str, note: str, by: User, now: datetime
) -> GrinderMatch:
    """Write down that ``setting`` of one grinder grinds like ``other_setting`` of the other. Raises NotDone."""
    if grinder == other:
        raise NotDone(_("Choose two different grinders."))
    if grinder.cafe_id != other.cafe_id:
        raise NotDone(_("These grinders stand in different cafés."))
    with transaction.atomic():
        match = GrinderMatch.objects.create(
            cafe=grinder.cafe,
            grinder=grinder,
            setting=setting,
            other=other,
            other_setting=other_setting,
            note=note,
            found_at=now,
            found_by=by,
        )
        noted(match, _("found to grind alike"), by, after={_("note"): note} if note else None)
        return match


def take_back(match: GrinderMatch, by: User, now: datetime) -> None:
    """Have a wrong match count for nothing; it stays to be seen. Raises NotDone if it was taken back before."""
    with transaction.atomic():
        rows = GrinderMatch.objects.select_for_update(of=("self",)).select_related("cafe", "grinder", "other")
        match = rows.get(pk=match.pk)
        if match.taken_back_at:
            raise NotDone(_("This was taken back already."))
        match.taken_back_at, match.taken_back_by = now, by
        match.save(update_fields=["taken_back_at", "taken_back_by"])
        noted(match, _("taken back"), by)


def standing(cafe: Cafe) -> list[GrinderMatch]:
    """What was found in a café and not taken back, newest first."""
    return list(found_in(GrinderMatch.objects.filter(cafe=cafe, taken_back_at=None)))


def found_in(rows: QuerySet[GrinderMatch]) -> QuerySet[GrinderMatch]:
    """``rows`` with who and what, and ``burrs_at``: when the burrs of either grinder were last touched since."""
    touched = BarEvent.objects.filter(
        Q(grinder=OuterRef("grinder")) | Q(grinder=OuterRef("other")),
        kind__in=[BarEvent.Kind.BURRS, BarEvent.Kind.ALIGNED],
        taken_back_at=None,
        happened_at__gt=OuterRef("found_at"),
    ).order_by("-happened_at")
    with_all = rows.select_related("cafe", "grinder", "other", "found_by", "taken_back_by")
    return with_all.annotate(burrs_at=Subquery(touched.values("happened_at")[:1]))


@dataclass(frozen=True)
class Beside:
    """Another station that brews the same recipe now, and what the setting of this one is there.

    ``converted`` is None where both use one grinder, or where nobody has compared theirs; ``setting`` is "" then
    in the second case.
    """

    slot: Slot
    setting: str
    converted: Converted | None

    @property
    def stands_so(self) -> bool:
        """Whether that station stands where this one's setting would put it."""
        now = self.slot.setting
        return bool(now and self.setting and same_setting(now.grind_setting, self.setting))


def beside(slot: Slot) -> list[Beside]:
    """The other stations of the board where a live slot's recipe is brewed too."""
    others = list(
        slot.board.slots.live()
        .filter(card__recipe=slot.card.recipe_id)
        .exclude(pk=slot.pk)
        .select_related("card__station", "setting__grinder", "setting__roast_batch")
    )
    found = standing(slot.board.cafe) if others else []
    return [_beside(slot, other, found) for other in others]


def _beside(slot: Slot, other: Slot, found: Sequence[GrinderMatch]) -> Beside:
    here, there = slot.setting, other.setting
    assert here is not None, "a slot is planned together with its first setting"
    assert there is not None, "a slot is planned together with its first setting"
    if here.grinder_id == there.grinder_id:
        return Beside(other, here.grind_setting, None)
    converted = convert(here.grind_setting, here.grinder, there.grinder, found)
    return Beside(other, converted.setting if converted else "", converted)
