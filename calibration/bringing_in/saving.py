"""All good rows of a sheet become readings, in one transaction that is as short as can be.

Whatever can be reckoned beforehand is: rows are looked at, made and laid aside first, and then written in batches.
"""

from __future__ import annotations

from array import array
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Model
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe, Change, User
from brewbar.crew.record import note
from calibration import attempts, beds, duty, recording, signals
from calibration.bringing_in.bulk import Table
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
_AS_NEW = {
    field.name: field.get_default() for field in Reading._meta.concrete_fields if not field.primary_key
}
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
    _seen: set[tuple[Any, ...]] = field(default_factory=set)

    def take(self, entry: Entry, said: dict[str, Any], made: Made | None) -> int:
        """The place of the slot that is to be made for it, -1 where it has one."""
        self.whose.setdefault(entry.barista.pk, entry.barista)
        day = said["business_day"]
        self.days.add((entry.barista.pk, day))
        self._take_bed(entry)
        if entry.kind == Reading.Kind.CHECK:
            recipe = entry.slot.card.recipe_id
            self.checks.append(self.keys.setdefault((entry.barista.pk, recipe, day), len(self.keys)))
            self.first_days[recipe] = min(self.first_days.get(recipe, day), day)
        else:
            self.checks.append(-1)
        self.rows += 1
        if made is None:
            return -1
        if made.place < 0:
            made.place = len(self.slots)
            self.slots.append(made)
        return made.place

    def _take_bed(self, entry: Entry) -> None:
        same = (entry.slot.version_id, entry.roast_batch.pk, entry.grinder.pk, entry.grind_setting)
        if same not in self._seen:
            self._seen.add(same)
            reading = Reading(
                cafe=self.cafe,
                version=entry.slot.version,
                roast_batch=entry.roast_batch,
                grinder=entry.grinder,
                grind_setting=entry.grind_setting,
            )
            if (bed := beds.bed_of(reading)) is not None:
                self.beds.add(bed)


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
    ready, brewed_at, table = _Ready(cafe, now), array("d"), Table(Reading)
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
                entry = one.entry
                said = recording.said(entry, by, now, _water(waters, since, entry))
                place = ready.take(entry, said, one.made)
                said |= recording.computed(entry)
                said["fingerprint"] = f"{upload.sha256[:48]}{one.number:016x}"
                values = [_plain(value) for value in (_AS_NEW | said).values()]
                laid.append((table.prepare(values), place, entry.drops, entry.sample_temperature_C))
                brewed_at.append(said["brewed_at"].timestamp())
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
    attempt = _Attempts(ready, brewed_at).said
    done, writer = 0, _Writer(made, ready)
    for batch in spool.batches():
        writer.write(batch, attempt[done : done + len(batch)].tolist())
        done += len(batch)
        tell(ready.rows + done, 2 * ready.rows)
    noted(made, by, _("brought in"), brought_words(made))
    beds.refit_beds(ready.beds)
    signals.many_changed(cafe, ready.first_days)
    return made


class _Writer:
    """Writes batches of rows, each with its drops."""

    def __init__(self, made: Import, ready: _Ready) -> None:
        self._made, self._slots = made.pk, [one.slot.pk for one in ready.slots]
        self._readings, self._drops = Table(Reading), Table(Drop)
        at = self._readings.place
        self._at = at("brought_in"), at("source"), at("attempt"), at("slot")

    def write(self, batch: list[Any], said: list[int]) -> None:
        brought_in, source, attempt, slot = self._at
        keys = self._readings.keys(len(batch))
        rows, drops = [], []
        for key, (values, place, tds, sample), which in zip(keys, batch, said, strict=True):
            values[brought_in], values[source] = self._made, Reading.Source.IMPORT.value
            values[attempt] = _ATTEMPTS[which]
            if place >= 0:
                values[slot] = self._slots[place]
            rows.append([key, *values])
            drops += [(key, order, one, sample) for order, one in enumerate(tds, start=1)]
        self._readings.write(rows)
        prepared, keys = self._drops.prepare, self._drops.keys(len(drops))
        self._drops.write([[key, *prepared(list(drop))] for key, drop in zip(keys, drops, strict=True)])


def _plain(value: Any) -> Any:
    return value.pk if isinstance(value, Model) else value


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
