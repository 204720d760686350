"""With what a brew may have been made, by whom and as what: the same for everybody who enters one, by whatever way."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from brewbar.crew.access import Member
from brewbar.crew.models import Membership, Role, User
from calibration.models import Reading
from recipes.models import CardCode, RoastBatch, Slot, SlotSetting


def crew_of(member: Member) -> QuerySet[User]:
    """Whose brews ``member`` may enter: a head barista anybody's who brews at the café, a barista their own."""
    if member.is_barista:
        return User.objects.filter(pk=member.user.pk)
    if not member.is_head:
        return User.objects.none()
    brewing = Membership.objects.active().filter(cafe=member.cafe).exclude(role=Role.OWNER)
    return User.objects.filter(pk__in=brewing.values("user"))


def kinds_for(member: Member) -> set[str]:
    """A practice brew is declared before it is brewed, so only a head barista may call it that afterwards."""
    Kind = Reading.Kind
    return {Kind.CHECK, Kind.SERVED} | ({Kind.PRACTICE} if member.is_head else set())


def batches_of(member: Member, slot: Slot) -> QuerySet[Any]:
    rows: QuerySet[Any] = RoastBatch.objects.for_member(member).filter(coffee=slot.card.recipe.coffee_id)
    return rows


def slot_at(card: CardCode, at: datetime) -> Slot | None:
    """What stood on the board under the card at that hour."""
    stood = Q(withdrawn_at=None) | Q(withdrawn_at__gt=at)
    rows = Slot.objects.for_card().filter(stood, card=card, published_at__lte=at)
    found: Slot | None = rows.order_by("published_at", "pk").last()
    return found


def setting_at(slot: Slot, at: datetime | None) -> SlotSetting | None:
    """Batch, grinder and setting of a brew entered late, as they were at its hour; what holds now otherwise.

    What holds now may be of the slot that came in the place of ``slot``, and planned while that still stood. Of the
    first hours it is the first that was said.
    """
    now = slot.setting
    if at is None or now is None:
        return now
    of = now.slot_id if slot.withdrawn_at and at >= slot.withdrawn_at else slot.pk
    if of == now.slot_id and at >= now.set_at:
        return now
    rows = SlotSetting.objects.filter(slot=of).select_related("roast_batch", "grinder")
    then: SlotSetting | None = rows.filter(set_at__lte=at).first() or rows.last()
    return then
