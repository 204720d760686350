"""All readings of a sheet are written in one transaction, which is as short as can be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, User
from calibration import attempts, beds, duty, signals
from calibration.bringing_in.looking import Look, Tell
from calibration.bringing_in.noted import NotBroughtIn, brought_words, kept_answers, noted
from calibration.bringing_in.ready import Ready
from calibration.bringing_in.spool import Spool
from calibration.bringing_in.uploads import Upload
from calibration.bulk import Table
from calibration.models import Drop, Import, Reading

_ATTEMPTS = [value for value, _label in Reading.Attempt.choices]


@dataclass(frozen=True)
class Before:
    """What there was when the rows began to be looked at: they were held against that."""

    imports: frozenset[int]
    newest: int

    @classmethod
    def of(cls, cafe: Cafe) -> Before:
        return cls(_imports(cafe), Reading.objects.aggregate(newest=Max("pk"))["newest"] or 0)


def _imports(cafe: Cafe) -> frozenset[int]:
    return frozenset(Import.objects.filter(cafe=cafe).values_list("pk", flat=True))


@transaction.atomic
def write(
    upload: Upload, look: Look, before: Before, ready: Ready, spool: Spool, by: User, tell: Tell
) -> Import:
    """Raises NotBroughtIn if somebody has entered the same meanwhile."""
    cafe, now = ready.cafe, ready.now
    # Spreadsheets of one café take turns, and so do brews of one barista, so that one of them is the first of the day.
    Cafe.objects.select_for_update(no_key=True).get(pk=cafe.pk)
    list(User.objects.select_for_update(no_key=True).filter(pk__in=ready.whose).order_by("pk"))
    if _imports(cafe) != before.imports:
        raise NotBroughtIn(
            _("Another spreadsheet was brought in meanwhile. Look at the rows again: nothing was brought in.")
        )
    made = Import.objects.create(
        cafe=cafe,
        kind=Import.Kind.READINGS,
        filename=upload.filename,
        sha256=upload.sha256,
        mapping=kept_answers(upload),
        rows=ready.rows + ready.left_out,
        brought_in=ready.rows,
        left_out=ready.left_out,
        by=by,
        at=now,
    )
    look.slots.save(by, now, upload.filename)
    # Before the attempts: whoever is drawn to brew twice is drawn as they come on.
    duty.many_brewed(cafe, ((ready.whose[user], day) for user, day in sorted(ready.days)), now)
    attempt = _attempts(ready)
    done, writer = 0, _Writer(made, ready)
    for batch in spool.batches():
        writer.write(batch, attempt[done : done + len(batch)].tolist())
        done += len(batch)
        tell(ready.rows + done, 2 * ready.rows)
    _refuse_doubles(made, before)
    noted(made, by, _("brought in"), brought_words(made))
    # Fits and signals are made of readings alone: nobody needs to wait for them with an entry.
    transaction.on_commit(lambda: beds.refit_beds(ready.beds), robust=True)
    signals.many_changed(cafe, ready.first_days)
    return made


def _attempts(ready: Ready) -> np.ndarray[Any, Any]:
    """Which attempt each row is: told in the order in which they were brewed, whatever the order of the sheet."""
    keys, of_key = list(ready.keys), np.array(ready.checks)
    days = attempts.Days.of(ready.cafe, ready.keys)
    said = np.zeros(len(of_key), dtype=np.int8)
    order = np.lexsort((np.array(ready.brewed_at), of_key))
    for row in order[of_key[order] >= 0].tolist():
        said[row] = _ATTEMPTS.index(days.next(keys[of_key[row]]))
    return said


def _refuse_doubles(made: Import, before: Before) -> None:
    """What was entered while the rows were looked at, they were not held against."""
    entered = Reading.objects.standing().filter(cafe=made.cafe, pk__gt=before.newest, brought_in=None)
    same = ("barista", "brewed_at", "dose_g", "water_g", "brew_time_s")
    for one in entered.order_by().values(*same):
        if made.readings.filter(**one).exists():
            raise NotBroughtIn(
                _("One of these brews was entered meanwhile. Look at the rows again: nothing was brought in.")
            )


class _Writer:
    """Writes batches of rows, each with its drops."""

    def __init__(self, made: Import, ready: Ready) -> None:
        self._made, self._slots = made.pk, [one.slot.pk for one in ready.slots]
        self._readings, self._drops = Table(Reading), Table(Drop)
        at = self._readings.place
        self._at = at("brought_in"), at("source"), at("attempt"), at("slot")

    def write(self, batch: list[Any], said: list[int]) -> None:
        brought_in, source, attempt, slot = self._at
        reading = self._drops.place("reading")
        keys = self._readings.keys(len(batch))
        rows, drops = [], []
        for key, (values, place, of_this), which in zip(keys, batch, said, strict=True):
            values[brought_in], values[source] = self._made, Reading.Source.IMPORT.value
            values[attempt] = _ATTEMPTS[which]
            if place >= 0:
                values[slot] = self._slots[place]
            rows.append([key, *values])
            drops += [(key, drop) for drop in of_this]
        self._readings.write(rows)
        laid = []
        for key, (of, drop) in zip(self._drops.keys(len(drops)), drops, strict=True):
            laid.append(row := [key, *drop])
            row[1 + reading] = of
        self._drops.write(laid)
