"""Coffees and batches of a spreadsheet: made where they are new, left as they are where they are known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe, User
from calibration.bringing_in.looking import BAD, GOOD, OUT, Looked, Tell
from calibration.bringing_in.noted import NotBroughtIn, kept_answers, noted
from calibration.bringing_in.uploads import Upload, sheet_of
from calibration.bringing_in.verdict_file import laying_down, write_rest
from calibration.importing import settling
from calibration.importing.headings import plain
from calibration.importing.raw import address
from calibration.importing.reading import Sheet
from calibration.importing.said import Said
from calibration.importing.verdicts import Row, Verdicts
from calibration.models import Import
from recipes.catalogue import out_of_order
from recipes.models import Coffee, RoastBatch

DAYS = ("roasted_on", "received_on", "opened_on", "frozen_on", "thawed_on", "used_up_on")
OF_COFFEE = ("origin", "process", "roast_level", "density_g_l", "note")


@dataclass
class Lots:
    """coffees: by their plain name; batches: by coffee and plain label; new ones have no key yet."""

    cafe: Cafe
    today: date
    coffees: dict[str, Coffee] = field(default_factory=dict)
    batches: dict[tuple[str, str], RoastBatch] = field(default_factory=dict)

    @classmethod
    def at(cls, cafe: Cafe, now: datetime) -> Lots:
        coffees = {plain(one.name): one for one in Coffee.objects.filter(company=cafe.company_id)}
        rows = RoastBatch.objects.filter(coffee__company=cafe.company_id).select_related("coffee")
        batches = {(plain(one.coffee.name), plain(one.label)): one for one in rows}
        return cls(cafe, cafe.business_day(now), coffees, batches)

    def rows(self, sheet: Sheet, upload: Upload, tell: Tell = lambda done, of: None) -> Iterator[Looked]:
        mapping = upload.columns
        self._places = {one.field: one.place for one in reversed(mapping.columns)}
        settled = settling.settle(sheet, mapping, self.today)
        for done, row in enumerate(Verdicts(sheet, mapping, settled, {}, self.today), start=1):
            yield self._looked(row)
            if done % 500 == 0:
                tell(done, sheet.count)

    def _looked(self, row: Row) -> Looked:
        if row.left_out:
            return Looked(row.number, OUT, left_out=row.left_out)
        if row.problems:
            return Looked(row.number, BAD, row.problems, row.remarks)
        values = row.values
        days = {name: values.get(name) for name in DAYS}
        dates = {name: day if isinstance(day, date) else None for name, day in days.items()}
        if wrong := [self._said(row, *one) for one in out_of_order(dates, self.today)]:
            return Looked(row.number, BAD, tuple(wrong), row.remarks)
        name, label = str(values["coffee"]), str(values["batch"])
        key = (plain(name), plain(label))
        if (there := self.batches.get(key)) is not None:
            return self._known(row, there, dates)
        coffee = self.coffees.get(key[0])
        if coffee is None:
            coffee = Coffee(company=self.cafe.company, name=name)
            for part in OF_COFFEE:
                if values.get(part) is not None:
                    setattr(coffee, part, values[part])
            self.coffees[key[0]] = coffee
        self.batches[key] = RoastBatch(coffee=coffee, label=label, **dates)
        return Looked(row.number, GOOD, (), row.remarks)

    def _known(self, row: Row, there: RoastBatch, dates: dict[str, date | None]) -> Looked:
        says = _("%(batch)s of %(coffee)s is known already, and is left as it is.")
        said = says % {"batch": there.label, "coffee": there.coffee.name}
        if differing := [name for name, day in dates.items() if day and day != getattr(there, name)]:
            names = ", ".join(str(RoastBatch._meta.get_field(name).verbose_name) for name in differing)  # type: ignore[union-attr]
            said = _("%(said)s Its days differ here: %(names)s.") % {"said": said, "names": names}
        return Looked(row.number, OUT, (), row.remarks, left_out=said)

    def _said(self, row: Row, about: str, says: str) -> Said:
        place = self._places.get(about)
        return Said(f"{row.number}" if place is None else address(row.number, place), about, says)


def bring_in(
    upload: Upload,
    cafe: Cafe,
    by: User,
    now: datetime,
    *,
    only_good: bool = False,
    tell: Tell = lambda done, of: None,
) -> Import:
    """The import that came of it. Raises NotBroughtIn."""
    lots, counts = Lots.at(cafe, now), Counter[str]()
    with sheet_of(upload) as sheet:
        for one in laying_down(upload, lots.rows(sheet, upload, tell)):
            counts[one.state] += 1
            if one.state == BAD and not only_good:
                said = _("Row %(row)d cannot be brought in: %(says)s Nothing was brought in.")
                raise NotBroughtIn(said % {"row": one.number, "says": one.problems[0].says})
    if not counts[GOOD]:
        raise NotBroughtIn(_("There is no row that can be brought in."))
    if counts[BAD]:
        write_rest(upload)
    try:
        return _write(upload, lots, cafe, by, now, counts)
    except IntegrityError as error:
        said = _(
            "A coffee or batch of these was entered meanwhile. Look at the rows again: nothing was brought in."
        )
        raise NotBroughtIn(said) from error


def _write(upload: Upload, lots: Lots, cafe: Cafe, by: User, now: datetime, counts: Counter[str]) -> Import:
    with transaction.atomic():
        coffees = [one for one in lots.coffees.values() if one._state.adding]
        batches = [one for one in lots.batches.values() if one._state.adding]
        Coffee.objects.bulk_create(coffees)
        RoastBatch.objects.bulk_create(batches)
        made = Import.objects.create(
            cafe=cafe,
            kind=Import.Kind.LOTS,
            filename=upload.filename,
            sha256=upload.sha256,
            mapping=kept_answers(upload),
            rows=counts[GOOD] + counts[BAD],
            brought_in=counts[GOOD],
            left_out=counts[BAD],
            made={"coffees": [one.pk for one in coffees], "batches": [one.pk for one in batches]},
            by=by,
            at=now,
        )
        noted(made, by, _("brought in"), _words(coffees, batches))
    return made


def _words(coffees: list[Any], batches: list[Any]) -> dict[str, str]:
    return {
        _("coffees"): ngettext("%(n)d coffee", "%(n)d coffees", len(coffees)) % {"n": len(coffees)},
        _("batches"): ngettext("%(n)d batch", "%(n)d batches", len(batches)) % {"n": len(batches)},
    }
