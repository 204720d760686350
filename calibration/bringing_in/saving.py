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
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe, Change, User
from brewbar.crew.record import note
from calibration import attempts, beds, duty, recording, signals
from calibration.bringing_in.looking import BAD, GOOD, Look, Looked, Tell
from calibration.bringing_in.slots import Made
from calibration.bringing_in.spool import Spool
from calibration.bringing_in.turning import With
from calibration.bringing_in.uploads import Upload, sheet_of
from calibration.bringing_in.verdict_file import laying_down
from calibration.bulk import Prepare, Table, remembered
from calibration.entry import Entry
from calibration.models import Drop, Import, Reading
from recipes import happenings

TOGETHER = 1000
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

    def take_with(self, made_with: With) -> None:
        """With what some rows were brewed; their slot, where it is to be made, has a place afterwards."""
        entry, made = made_with.entry, made_with.made
        same = {"version": entry.slot.version, "roast_batch": entry.roast_batch, "grinder": entry.grinder}
        if bed := beds.bed_of(Reading(cafe=self.cafe, grind_setting=entry.grind_setting, **same)):
            self.beds.add(bed)
        if made is not None and made.place < 0:
            made.place = len(self.slots)
            self.slots.append(made)

    def take(self, entry: Entry, day: date) -> None:
        barista = entry.barista.pk
        self.whose.setdefault(barista, entry.barista)
        self.days.add((barista, day))
        self.rows += 1
        if entry.kind != Reading.Kind.CHECK:
            self.checks.append(-1)
            return
        recipe = entry.slot.version.recipe_id
        self.checks.append(self.keys.setdefault((barista, recipe, day), len(self.keys)))
        if day < self.first_days.setdefault(recipe, day):
            self.first_days[recipe] = day


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
    ready, brewed_at, table, drop = _Ready(cafe, now), array("d"), Table(Reading), _drops()
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
                entry, made_with, at = one.entry, one.made_with, one.entry.brewed_at
                assert made_with is not None
                assert at is not None
                if not made_with.columns:
                    made_with.columns = table.new(recording.with_what(entry, by, now))
                    ready.take_with(made_with)
                said = recording.cup(entry) | recording.computed(entry)
                said["brewed_at"], said["business_day"] = at, cafe.business_day(at)
                said["brew_water"] = waters[place - 1][1] if (place := bisect_right(since, at)) else None
                said["fingerprint"] = f"{upload.sha256[:48]}{one.number:016x}"
                ready.take(entry, said["business_day"])
                row = made_with.columns.copy()
                table.fill(row, said)
                slot = -1 if made_with.made is None else made_with.made.place
                sample = entry.sample_temperature_C
                laid.append((row, slot, [drop((*one, sample)) for one in enumerate(entry.drops, start=1)]))
                brewed_at.append(at.timestamp())
            spool.add(laid)
        if not ready.rows:
            raise NotBroughtIn(_("There is no row that can be brought in."))
        return _write(upload, look, ready, np.array(brewed_at), spool, by, tell)


def _drops() -> Prepare:
    """(order, TDS, temperature) -> a row of the table of drops; those of many brews are alike."""
    table = Table(Drop)
    return remembered(lambda one: table.new(zip(("order", "tds", "sample_temperature_C"), one, strict=True)))


def _refuse(one: Looked, only_good: bool, sure: bool) -> None:
    if one.state == BAD and not only_good:
        said = _("Row %(row)d cannot be brought in: %(says)s Nothing was brought in.")
        raise NotBroughtIn(said % {"row": one.number, "says": one.problems[0].says})
    if one.doubts and not sure:
        said = _("Row %(row)d is doubtful: %(says)s Nothing was brought in.")
        raise NotBroughtIn(said % {"row": one.number, "says": one.doubts[0].says})


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
