"""A whole import taken back: its readings are voided with all that corrected them, its batches retired or deleted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Min
from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.crew.models import User
from calibration import beds, duty, signals
from calibration.bringing_in.noted import noted
from calibration.models import Import, Reading
from recipes import catalogue
from recipes.models import Coffee, RoastBatch


class NotUndone(Exception):
    """It was left as it is; the text is the sentence to show."""


@dataclass(frozen=True)
class Undone:
    """voided: readings of the spreadsheet; corrections: of them that were voided too; before: that had been voided
    already; deleted, retired, kept: coffees and batches."""

    voided: int = 0
    corrections: int = 0
    before: int = 0
    deleted: int = 0
    retired: int = 0
    kept: int = 0

    @property
    def says(self) -> str:
        return " ".join(self._says())

    def _says(self) -> Iterator[str]:
        for count, one, more in (
            (self.voided, _("%(n)d reading is voided."), _("%(n)d readings are voided.")),
            (self.corrections, _("So is %(n)d correction of them."), _("So are %(n)d corrections of them.")),
            (self.before, _("%(n)d had been voided before."), _("%(n)d had been voided before.")),
            (
                self.deleted,
                _("%(n)d coffee or batch is deleted."),
                _("%(n)d coffees and batches are deleted."),
            ),
            (
                self.retired,
                _("%(n)d was brewed with already, and is retired."),
                _("%(n)d were brewed with already, and are retired."),
            ),
            (
                self.kept,
                _("%(n)d is on a board, and stays."),
                _("%(n)d are on a board or in use, and stay."),
            ),
        ):
            if count:
                yield (one if count == 1 else more) % {"n": count}


@transaction.atomic
def undo(brought: Import, by: User, why: str, now: datetime) -> Undone:
    """Take back all that ``brought`` has brought. Raises NotUndone if that was done before."""
    brought = (
        Import.objects.select_for_update(of=("self",)).select_related("cafe__company").get(pk=brought.pk)
    )
    if brought.undone_at is not None:
        said = _("This import was undone already, on %(day)s.")
        raise NotUndone(said % {"day": dates.day(brought.undone_at.astimezone(brought.cafe.zone), year=True)})
    brought.undone_at, brought.undone_by, brought.undone_why = now, by, why
    brought.save(update_fields=["undone_at", "undone_by", "undone_why"])
    undone = _lots(brought, by) if brought.kind == Import.Kind.LOTS else _readings(brought, by, why, now)
    noted(brought, by, _("undone"), {_("what became of it"): undone.says}, why=why)
    return undone


def _readings(brought: Import, by: User, why: str, now: datetime) -> Undone:
    voided = {"voided_at": now, "voided_by": by, "void_reason": why}
    own = Reading.objects.filter(brought_in=brought)
    # Whoever corrects one of them takes turns with this, as brews of one barista do.
    list(User.objects.select_for_update(no_key=True).filter(pk__in=own.values("barista")).order_by("pk"))
    corrections = list(_corrections(own))
    touched = Reading.objects.filter(pk__in=corrections) | own
    found_beds = _beds_of(touched)
    first_days: dict[int, date] = dict(
        touched.filter(voided_at=None, kind=Reading.Kind.CHECK)
        .order_by()
        .values_list("version__recipe")
        .annotate(first=Min("business_day"))
    )
    before = own.exclude(voided_at=None).count()
    count = own.filter(voided_at=None).update(**voided)
    corrected = Reading.objects.filter(pk__in=corrections, voided_at=None).update(**voided)
    transaction.on_commit(lambda: beds.refit_beds(found_beds), robust=True)
    duty.many_taken_back(brought.cafe, brought.at)
    signals.many_changed(
        brought.cafe, first_days, _("The spreadsheet %(name)s was taken back.") % {"name": brought}
    )
    return Undone(voided=count, corrections=corrected, before=before)


def _corrections(rows: Any) -> Iterator[int]:
    """Keys of what corrects them, and of what corrects that."""
    while found := list(Reading.objects.filter(corrects__in=rows).values_list("pk", flat=True)):
        yield from found
        rows = found


def _beds_of(rows: Any) -> set[beds.Bed]:
    """One reading of each is enough to know it by."""
    same = ("roast_batch__coffee", "grinder", "grind_setting", "version")
    firsts = rows.order_by().values(*same).annotate(first=Min("pk")).values_list("first", flat=True)
    readings = Reading.objects.filter(pk__in=list(firsts)).select_related("version", "roast_batch")
    return {bed for bed in map(beds.bed_of, readings) if bed}


def _lots(brought: Import, by: User) -> Undone:
    counts: Counter[str] = Counter()
    for model, name in ((RoastBatch, "batches"), (Coffee, "coffees")):
        rows: Any = model.objects.filter(pk__in=brought.made.get(name, []))
        used = _used(rows)
        counts["deleted"] += rows.exclude(pk__in=used).delete()[0]
        for row in rows.filter(pk__in=used):
            counts[_retired(row, by)] += 1
    return Undone(**counts)


def _used(rows: Any) -> set[int]:
    """Keys of those that something else names."""
    keys = list(rows.values_list("pk", flat=True))
    found: set[int] = set()
    for relation in rows.model._meta.related_objects:
        name = relation.field.name
        naming = relation.related_model._base_manager.filter(**{f"{name}__in": keys})
        found.update(naming.order_by().values_list(name, flat=True).distinct())
    return found


def _retired(row: Coffee | RoastBatch, by: User) -> str:
    if row.retired_at is not None:
        return "kept"
    try:
        catalogue.retire(row, by)
    except catalogue.NotDone:
        return "kept"
    return "retired"
