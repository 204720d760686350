"""What changed under a card since each barista last read or brewed it, and who has read it.

A change is another version than the one that stood before under the same code, or a recipe new to the station. It
stands for as long as its version does: a new batch or kettle is no change of recipe, and another version is the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import OuterRef, Subquery

from brewbar.crew.access import Member, Place
from brewbar.crew.models import Cafe, Membership, Role, User
from recipes.models import RecipeVersion, Seen, Slot


@dataclass(frozen=True)
class News:
    """What somebody has not read about a slot; ``before`` is the version they know, None if there was none."""

    slot: Slot
    before: RecipeVersion | None
    versions: tuple[RecipeVersion, ...]
    """Those since then, newest first; each says what it changed and why."""

    @property
    def is_back(self) -> bool:
        """Whether an earlier version has come back."""
        return self.before is not None and self.before.number > self.slot.version.number


@dataclass(frozen=True)
class Readers:
    """Which baristas have read what changed with a slot, and which have not yet."""

    seen: tuple[Seen, ...]
    not_yet: tuple[User, ...]

    @property
    def count(self) -> int:
        return len(self.seen) + len(self.not_yet)


@dataclass(frozen=True)
class _Change:
    slot: Slot
    before: Slot | None

    def holds(self, then: Slot) -> bool:
        """Whether what was read of ``then`` was this change."""
        same = (then.card_id, then.version_id) == (self.slot.card_id, self.slot.version_id)
        return same and (self.before is None or _since(then) > _since(self.before))


def mark_seen(slot: Slot, user: User, now: datetime) -> None:
    """Remember that ``user`` has read what changed with a published slot, or has brewed it."""
    Seen.objects.get_or_create(slot=slot, user=user, defaults={"seen_at": now})


def news_for(place: Place, slots: Sequence[Slot], now: datetime) -> dict[int, News]:
    """What changed under live ``slots``, by their pk, for the one who looks.

    For a barista all that they have not read; on a tablet that nobody is signed in on what is new today; nothing
    for others, nor of what stood before a barista came or was put on by themselves.
    """
    if isinstance(place, Member):
        if not place.is_barista:
            return {}
        user, since = place.user, place.membership.started_at
        new = [slot for slot in slots if _since(slot) >= since and slot.published_by_id != user.pk]
        read = Seen.objects.filter(user=user, slot__card__in=[slot.card_id for slot in new])
        known = [row.slot for row in read.select_related("slot__version")] if new else []
    else:
        today = place.cafe.business_day(now)
        new = [slot for slot in slots if place.cafe.business_day(_since(slot)) == today]
        known = []
    unread = [change for change in _changes(new) if not any(map(change.holds, known))]
    return _told(unread, known)


def _told(unread: list[_Change], known: list[Slot]) -> dict[int, News]:
    """Each change since the version that is known of its card, or else since the one that stood before."""
    versions = list(
        RecipeVersion.objects.published()
        .filter(recipe__in=[change.slot.card.recipe_id for change in unread])
        .order_by("-number")
        if unread
        else ()
    )
    told = {}
    for change in unread:
        slot, of_card = change.slot, [then for then in known if then.card_id == change.slot.card_id]
        last = max(of_card, key=_since, default=None) or change.before
        # Who knows this very version knows it from before another one stood here.
        if last is not None and last.version_id == slot.version_id:
            last = change.before
        before = last.version if last else None
        low, high = before.number if before else slot.version.number - 1, slot.version.number
        between = [v for v in versions if v.recipe_id == slot.version.recipe_id and low < v.number <= high]
        told[slot.pk] = News(slot, before, tuple(between))
    return told


def readers_of(cafe: Cafe, slots: Sequence[Slot]) -> dict[int, Readers]:
    """Of each live slot, by its pk, which of the café's baristas have read what changed with it."""
    crew = list(
        Membership.objects.active()
        .filter(cafe=cafe, role=Role.BARISTA)
        .select_related("user")
        .order_by("user__name")
    )
    rows = Seen.objects.filter(
        slot__card__in=[slot.card_id for slot in slots], user__in=[one.user_id for one in crew]
    )
    read = list(rows.select_related("slot", "user"))
    found = {}
    for change in _changes(slots):
        first = {row.user_id: row for row in reversed(read) if change.holds(row.slot)}
        asked = [one.user for one in crew if _is_asked(one, change.slot) or one.user_id in first]
        found[change.slot.pk] = Readers(
            seen=tuple(first[user.pk] for user in asked if user.pk in first),
            not_yet=tuple(user for user in asked if user.pk not in first),
        )
    return found


def _is_asked(membership: Membership, slot: Slot) -> bool:
    return membership.started_at <= _since(slot) and membership.user_id != slot.published_by_id


def _changes(slots: Iterable[Slot]) -> list[_Change]:
    """Each slot with the last one that had another version under its code."""
    slots = list(slots)
    if not slots:
        return []
    earlier = Slot.objects.filter(card=OuterRef("card"), published_at__lt=OuterRef("published_at"))
    other = earlier.exclude(version=OuterRef("version")).order_by("-published_at")
    here = Slot.objects.filter(pk__in=[slot.pk for slot in slots])
    pks = dict(here.annotate(before=Subquery(other.values("pk")[:1])).values_list("pk", "before"))
    before = Slot.objects.select_related("version").in_bulk([pk for pk in pks.values() if pk])
    return [_Change(slot, before.get(pks[slot.pk])) for slot in slots]


def _since(slot: Slot) -> datetime:
    assert slot.published_at is not None, "only what was published can be read"
    return slot.published_at
