"""All good rows of a sheet become readings, in one transaction that is as short as can be.

Whatever can be reckoned beforehand is: rows are looked at, made and laid aside first, and then written in batches.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe, Change, User
from brewbar.crew.record import note
from calibration import attempts, beds, duty, recording, signals
from calibration.bringing_in.looking import BAD, GOOD, Look, Looked, Tell
from calibration.bringing_in.slots import Made
from calibration.bringing_in.spool import Spool
from calibration.bringing_in.uploads import Upload, sheet_of
from calibration.bringing_in.verdict_file import laying_down
from calibration.entry import Entry
from calibration.models import Drop, Import, Reading
from recipes import happenings
from recipes.models import BrewWater

TOGETHER = 1000
_COLUMNS = [field.attname for field in Reading._meta.concrete_fields]
_AT = {name: place for place, name in enumerate(_COLUMNS)}
_ATTEMPTS = [value for value, _label in Reading.Attempt.choices]


class NotBroughtIn(Exception):
    """Nothing was saved; the text is the sentence to show."""


@dataclass
class _Ready:
    """What was laid aside, and what must be known of all rows together before the first is written."""

    cafe: Cafe
    now: datetime
    keys: dict[attempts.Key, int] = field(default_factory=dict)
    slots: list[Made] = field(default_factory=list)
    whose: dict[int, User] = field(default_factory=dict)
    days: set[tuple[int, date]] = field(default_factory=set)
    beds: set[beds.Bed] = field(default_factory=set)
    first_days: dict[int, date] = field(default_factory=dict)
    rows: int = 0
    left_out: int = 0
    checks: list[int] = field(default_factory=list)
    """The key of each row, -1 for one that is no check."""

    def take(self, entry: Entry, reading: Reading, made: Made | None) -> tuple[Any, ...]:
        """What is written of a row, once its slot has a key."""
        self.whose.setdefault(entry.barista.pk, entry.barista)
        self.days.add((entry.barista.pk, reading.business_day))
        if (bed := beds.bed_of(reading)) is not None:
            self.beds.add(bed)
        if reading.kind == Reading.Kind.CHECK:
            recipe = entry.slot.card.recipe_id
            key = (entry.barista.pk, recipe, reading.business_day)
            self.checks.append(self.keys.setdefault(key, len(self.keys)))
            day = self.first_days.setdefault(recipe, reading.business_day)
            self.first_days[recipe] = min(day, reading.business_day)
        else:
            self.checks.append(-1)
        self.rows += 1
        place = -1
        if made is not None:
            if made not in self.slots:
                self.slots.append(made)
            place = self.slots.index(made)
        kept = [getattr(reading, name) for name in _COLUMNS]
        return kept, place, entry.drops, entry.sample_temperature_C


class _Attempts:
    """Which attempt each row is: told in the order in which they were brewed, whatever the order of the sheet."""

    def __init__(self, ready: _Ready, brewed_at: np.ndarray[Any, Any]) -> None:
        keys = list(ready.keys)
        days = attempts.Days.of(ready.cafe, ready.keys)
        of_key = np.array(ready.checks, dtype=np.int32)
        self.said = np.zeros(len(of_key), dtype=np.int8)
        for row in np.lexsort((brewed_at, of_key)).tolist():
            if of_key[row] >= 0:
                self.said[row] = _ATTEMPTS.index(days.next(keys[of_key[row]]))


def bring_in(
    upload: Upload,
    cafe: Cafe,
    by: User,
    now: datetime,
    *,
    only_good: bool = False,
    sure: bool = False,
    tell: Tell = lambda done, of: None,
) -> Import:
    """The import that came of it. Raises NotBroughtIn: for rows that are not good unless ``only_good``, for doubtful
    ones unless ``sure``."""
    look = Look.at(upload, cafe, now)
    ready, brewed_at = _Ready(cafe, now), []
    waters = happenings.waters_of(cafe)
    since = [at for at, _water in waters]
    with Spool() as spool, sheet_of(upload) as sheet:
        rows = look.rows(sheet, lambda done, of: tell(done, 2 * of))
        for batch in _together(laying_down(upload, rows)):
            laid = []
            for one in batch:
                _refuse(one, only_good, sure)
                if one.state != GOOD or one.entry is None:
                    ready.left_out += one.state == BAD
                    continue
                reading = recording.made(one.entry, by, now, _water(waters, since, one.entry))
                reading.source = Reading.Source.IMPORT
                laid.append(ready.take(one.entry, reading, one.made))
                brewed_at.append(reading.brewed_at.timestamp())
            spool.add(laid)
        if not ready.rows:
            raise NotBroughtIn(_("There is no row that can be brought in."))
        return _write(upload, look, ready, np.array(brewed_at), spool, by, tell)


def _refuse(one: Looked, only_good: bool, sure: bool) -> None:
    if one.state == BAD and not only_good:
        said = _("Row %(row)d cannot be brought in: %(says)s Nothing was brought in.")
        raise NotBroughtIn(said % {"row": one.number, "says": one.problems[0].says})
    if one.doubts and not sure:
        said = _("Row %(row)d is doubtful: %(says)s Nothing was brought in.")
        raise NotBroughtIn(said % {"row": one.number, "says": one.doubts[0].says})


def _water(waters: list[tuple[datetime, BrewWater]], since: list[datetime], entry: Entry) -> BrewWater | None:
    place = bisect_right(since, entry.brewed_at or since[-1]) if waters else 0
    return waters[place - 1][1] if place else None


def _together(rows: Iterator[Looked]) -> Iterator[list[Looked]]:
    batch: list[Looked] = []
    for row in rows:
        batch.append(row)
        if len(batch) == TOGETHER:
            yield batch
            batch = []
    yield batch


@transaction.atomic
def _write(
    upload: Upload,
    look: Look,
    ready: _Ready,
    brewed_at: np.ndarray[Any, Any],
    spool: Spool,
    by: User,
    tell: Tell,
) -> Import:
    cafe, now = ready.cafe, ready.now
    # As for one brew: those of one barista take turns, so that one of them is the first of the day.
    list(User.objects.select_for_update(no_key=True).filter(pk__in=ready.whose).order_by("pk"))
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
    said = _Attempts(ready, brewed_at).said
    done = 0
    for batch in spool.batches():
        _insert(batch, made, ready, said[done : done + len(batch)].tolist())
        done += len(batch)
        tell(ready.rows + done, 2 * ready.rows)
    noted(made, by, _("brought in"), brought_words(made))
    beds.refit_beds(ready.beds)
    signals.many_changed(cafe, ready.first_days)
    return made


def _insert(batch: list[Any], made: Import, ready: _Ready, said: list[int]) -> None:
    readings = []
    for (values, place, _drops, _sample), attempt in zip(batch, said, strict=True):
        values[_AT["brought_in_id"]] = made.pk
        values[_AT["attempt"]] = _ATTEMPTS[attempt]
        if place >= 0:
            values[_AT["slot_id"]] = ready.slots[place].slot.pk
        readings.append(Reading(*values))
    Reading.objects.bulk_create(readings)
    Drop.objects.bulk_create(
        Drop(reading=reading, order=order, tds=tds, sample_temperature_C=sample)
        for reading, (_values, _place, drops, sample) in zip(readings, batch, strict=True)
        for order, tds in enumerate(drops, start=1)
    )


def kept_answers(upload: Upload) -> dict[str, Any]:
    """What was answered about the file, for whoever asks later why a row was read as it was."""
    return {"sheet": upload.sheet, "columns": upload.mapping, "given": upload.given, "names": upload.names}


def brought_words(made: Import) -> dict[str, str]:
    said = ngettext("%(rows)d reading", "%(rows)d readings", made.brought_in) % {"rows": made.brought_in}
    left = ngettext("%(rows)d row", "%(rows)d rows", made.left_out) % {"rows": made.left_out}
    return {_("brought in"): said, **({_("left out"): left} if made.left_out else {})}


def noted(
    made: Import,
    by: User,
    what: str,
    after: dict[str, str],
    before: dict[str, str] | None = None,
    why: str = "",
) -> None:
    is_lots = made.kind == Import.Kind.LOTS
    note(
        company=made.cafe.company,
        cafe=made.cafe,
        about=Change.About.COFFEE if is_lots else Change.About.READING,
        what=what,
        subject=_("the spreadsheet %(name)s") % {"name": made.filename},
        row=made,
        by=by,
        before=before,
        after=after,
        why=why,
    )
