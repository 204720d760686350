"""Coffees, their batches and the equipment over time: saved, marked, retired, brought back. Nothing is deleted.

What stands on a board, or is planned for one, cannot be retired under it; and a board that shows what was changed
counts a change of its own, so that the crew sees the new name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date

from django.db import IntegrityError, models, transaction
from django.db.models import F, QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from brewbar.crew.models import Change, Company, User
from brewbar.crew.record import note, snapshot
from brewbar.crew.tenancy import Retirable
from recipes.models import (
    Board,
    Brewer,
    BrewWater,
    Coffee,
    Grinder,
    Kettle,
    Paper,
    Recipe,
    RoastBatch,
    Slot,
)

WAY_FROM_A_SLOT: dict[type[models.Model], str] = {
    Coffee: "card__recipe__coffee",
    RoastBatch: "setting__roast_batch",
    Brewer: "version__brewer",
    Paper: "version__paper",
    Kettle: "kettle",
    Grinder: "setting__grinder",
    Recipe: "card__recipe",
}

OLDEST_ROAST_YEARS = 10
"""A roast date before that is a slip of the year, such as 0026."""


class NotDone(Exception):
    """What was asked for cannot be done as things stand; its text is the sentence to show."""


class NameTaken(NotDone):
    """Somebody else gave this name a moment ago."""


class OnABoard(NotDone):
    """A board shows it, or is going to."""


class InUse(NotDone):
    """The bar brews with it now."""


ABOUT: dict[type[models.Model], str] = {
    Coffee: Change.About.COFFEE,
    RoastBatch: Change.About.COFFEE,
    Recipe: Change.About.RECIPE,
}
"""Where the record keeps what was changed; all else is equipment."""


def save(row: Retirable, by: User) -> None:
    """Save a coffee, a batch, a piece of equipment or a recipe's name, new or changed. Raises NameTaken."""
    try:
        with transaction.atomic():
            before = told(type(row)._default_manager.get(pk=row.pk)) if row.pk else None
            row.save()
            noted_change(row, by, before)
            if before is not None:
                shown_on = _slots_with(row).filter(published_at__isnull=False).values("board")
                Board.objects.filter(pk__in=shown_on).update(revision=F("revision") + 1)
    except IntegrityError as error:
        raise NameTaken(_("%(name)s exists already.") % {"name": row}) from error


def retire(row: Retirable, by: User) -> None:
    """Take something out of use; whatever was brewed with it stays. Raises OnABoard, or InUse of a water."""
    with transaction.atomic():
        # Nobody plans or publishes with it between the look and the write.
        list(
            Board.objects.select_for_update(of=("self",))
            .filter(cafe__company=_company_of(row))
            .order_by("pk")
        )
        slots = _slots_with(row).select_related("card__station__cafe", "card__recipe")
        if there := ", ".join(dict.fromkeys(place_of(slot) for slot in slots)):
            raise OnABoard(
                _("%(name)s is on the board, or planned for it: %(there)s. Change that first.")
                % {"name": name_of(row), "there": there}
            )
        if isinstance(row, BrewWater) and BrewWater.objects.select_for_update().get(pk=row.pk).in_use_since:
            raise InUse(
                _("The bar brews with %(name)s now. Say first what it brews with instead.") % {"name": row}
            )
        row.retire()
        noted(row, _("retired"), by)


def bring_back(row: Retirable, by: User) -> None:
    """Have something in use again that was retired."""
    with transaction.atomic():
        row.bring_back()
        noted(row, _("brought back"), by)


def told(row: models.Model) -> dict[str, str]:
    """What people fill in of ``row``, for the record; which café it stands in is said there anyway."""
    filled_in = (field for field in row._meta.concrete_fields if field.editable and not field.primary_key)
    return snapshot(row, [field.name for field in filled_in if field.name not in {"cafe", "company"}])


def noted_change(row: models.Model, by: User, before: Mapping[str, str] | None) -> None:
    """Add to the record that ``row`` was added, or what of it differs from ``before`` now."""
    after = told(row)
    if before is None:
        noted(row, _("added"), by, after=after)
    elif before != after:
        noted(row, _("changed"), by, before, after)


def noted(
    row: models.Model,
    what: str,
    by: User,
    before: Mapping[str, str] | None = None,
    after: Mapping[str, str] | None = None,
    why: str = "",
) -> None:
    """Add a change of a coffee or of equipment to the record."""
    note(
        company=_company_of(row),
        cafe=getattr(row, "cafe", None),
        about=ABOUT.get(type(row), Change.About.EQUIPMENT),
        what=what,
        subject=row,
        by=by,
        before=before,
        after=after,
        why=why,
    )


def place_of(slot: Slot) -> str:
    return _("%(station)s at %(cafe)s") % {"station": slot.card.station, "cafe": slot.card.station.cafe}


def name_of(row: models.Model) -> str:
    return row.label if isinstance(row, RoastBatch) else str(row)


def shows(slot: Slot, row: models.Model) -> bool:
    """Whether ``slot`` names ``row``; the slot comes with its version and setting."""
    way = WAY_FROM_A_SLOT.get(type(row))
    if way is None:
        return False
    *steps, last = way.split("__")
    at: object = slot
    for step in steps:
        at = getattr(at, step)
    return bool(getattr(at, f"{last}_id") == row.pk)


def _slots_with(row: models.Model) -> QuerySet[Slot]:
    """Live and planned slots that show ``row``; of no use for what no slot names."""
    slots: QuerySet[Slot] = Slot.objects.filter(withdrawn_at=None)
    way = WAY_FROM_A_SLOT.get(type(row))
    return slots.filter(**{way: row}) if way else slots.none()


def _company_of(row: models.Model) -> Company:
    for owner in ("cafe", "coffee"):
        if hasattr(row, owner):
            row = getattr(row, owner)
    company: Company = row.company  # type: ignore[attr-defined]  # every way up ends at a company
    return company


# --- what becomes of a batch

MARKS: dict[str, str | Promise] = {
    "opened_on": gettext_lazy("opened"),
    "frozen_on": gettext_lazy("frozen"),
    "thawed_on": gettext_lazy("thawed"),
    "used_up_on": gettext_lazy("used up"),
}


def next_marks(batch: RoastBatch) -> list[str]:
    """What can happen next to a batch. It is frozen once at most: frozen again, it would not be the same coffee."""
    if batch.retired_at or batch.used_up_on:
        return []
    if batch.frozen_on and not batch.thawed_on:
        return ["thawed_on"]
    marks = [] if batch.opened_on else ["opened_on"]
    return [*marks, "used_up_on"] if batch.frozen_on else [*marks, "frozen_on", "used_up_on"]


def mark(batch: RoastBatch, what: str, today: date, by: User) -> None:
    """Write down that ``what`` happened to a batch today. Raises NotDone."""
    with transaction.atomic():
        batch = RoastBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
        before = snapshot(batch, [what])
        words = {"label": batch.label, "what": MARKS[what]}
        if what not in next_marks(batch):
            raise NotDone(_("%(label)s cannot be marked %(what)s now. This is how it stands.") % words)
        setattr(batch, what, today)
        if wrong := dict(out_of_order(dates_of(batch), today)):
            raise NotDone(wrong.get(what) or next(iter(wrong.values())))
        batch.save(update_fields=[what])
        noted(batch, str(MARKS[what]), by, before, snapshot(batch, [what]))


DATES = ("roasted_on", "received_on", "opened_on", "frozen_on", "thawed_on", "used_up_on")


def dates_of(batch: RoastBatch) -> dict[str, date | None]:
    return {name: getattr(batch, name) for name in DATES}


def out_of_order(dates: Mapping[str, date | None], today: date) -> Iterator[tuple[str, str]]:
    """(field, sentence) of every date of a batch that cannot be; one a field."""
    roasted, received, opened, frozen, thawed, _used_up = (dates.get(name) for name in DATES)
    not_before = {
        "received_on": [(roasted, _("It cannot be received before it was roasted."))],
        "opened_on": [
            (roasted, _("It cannot be opened before it was roasted.")),
            (received, _("It cannot be opened before it was received.")),
        ],
        "frozen_on": [(roasted, _("It cannot be frozen before it was roasted."))],
        "thawed_on": [(frozen, _("It cannot be thawed before it was frozen."))],
        "used_up_on": [
            (roasted, _("It cannot be used up before it was roasted.")),
            (received, _("It cannot be used up before it was received.")),
            (opened, _("It cannot be used up before it was opened.")),
            (frozen, _("It cannot be used up before it was frozen.")),
            (thawed, _("It cannot be used up before it was thawed.")),
        ],
    }
    if roasted and roasted.year < today.year - OLDEST_ROAST_YEARS:
        yield "roasted_on", _("That is more than ten years ago. Check the year.")
    if thawed and not frozen:
        yield "frozen_on", _("It was thawed, so when was it frozen?")
    for name in DATES:
        day = dates.get(name)
        if day is None:
            continue
        if day > today:
            yield name, _("This day is still to come.")
            continue
        for earlier, sentence in not_before.get(name, ()):
            if earlier and day < earlier:
                yield name, sentence
                break
