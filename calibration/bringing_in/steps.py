"""What the pages ask for: look at all rows, and bring them in."""

from __future__ import annotations

import logging
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe, User
from calibration.bringing_in import lots, saving, uploads
from calibration.bringing_in import verdict_file as verdicts
from calibration.bringing_in.looking import Look, Tell
from calibration.bringing_in.uploads import Upload, sheet_of
from calibration.bringing_in.verdict_file import Summary
from calibration.importing.fields import Kind
from calibration.models import Import

logger = logging.getLogger(__name__)


def look_at(upload: Upload, cafe: Cafe, now: datetime, tell: Tell = lambda done, of: None) -> Summary:
    """Every row's verdict, laid down beside the upload. Raises Unreadable."""
    summary = Summary()
    with sheet_of(upload) as sheet:
        summary.notes = [note for note in (sheet.says, *sheet.notes) if note]
        if upload.kind == Kind.LOTS:
            rows = lots.Lots.at(cafe, now).rows(sheet, upload, tell)
            summary.count_all(verdicts.laying_down(upload, rows))
        else:
            look = Look.at(upload, cafe, now)
            summary.count_all(verdicts.laying_down(upload, look.rows(sheet, tell)))
            unknown = look.known.unknown(sheet, look.mapping)
            summary.unknown = {
                field: {name: list(offers) for name, offers in names.items()}
                for field, names in unknown.items()
            }
            summary.slots = [
                ngettext(
                    "%(n)d brew at %(station)s is of a time before this board: it is put with %(version)s.",
                    "%(n)d brews at %(station)s are of a time before this board: they are put with %(version)s.",
                    one.rows,
                )
                % {"n": one.rows, "station": one.slot.card.station, "version": one.slot.version}
                for one in look.slots.made.values()
                if one.rows
            ]
    verdicts.keep_summary(upload, summary)
    return summary


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
    """Bring in what is good, and forget the file. Raises NotBroughtIn."""
    if upload.kind == Kind.LOTS:
        made = lots.bring_in(upload, cafe, by, now, only_good=only_good, tell=tell)
    else:
        made = saving.bring_in(upload, cafe, by, now, only_good=only_good, sure=sure, tell=tell)
    try:
        if made.left_out:
            verdicts.keep_rest(upload, made)
        uploads.forget(upload)
    except OSError:
        logger.exception("The import %s was brought in, but its files could not be put away.", made.pk)
    return made


def same_before(upload: Upload, cafe: Cafe) -> Import | None:
    """The very file, brought in before and not undone."""
    rows = Import.objects.filter(cafe=cafe, sha256=upload.sha256, undone_at=None).select_related("by")
    found: Import | None = rows.first()
    return found


def name_of_kind(kind: str) -> str:
    return _("Coffees and batches") if kind == Kind.LOTS else _("Readings")
