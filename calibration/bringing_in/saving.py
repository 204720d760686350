"""All good rows of a sheet become readings.

Whatever can be reckoned beforehand is: rows are looked at, made and laid aside first, and then written at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, User
from calibration.bringing_in import writing
from calibration.bringing_in.looking import BAD, Look, Looked, Tell
from calibration.bringing_in.noted import NotBroughtIn
from calibration.bringing_in.ready import Laying, Ready
from calibration.bringing_in.spool import Spool
from calibration.bringing_in.uploads import Upload, sheet_of
from calibration.bringing_in.verdict_file import laying_down, write_rest
from calibration.models import Import

TOGETHER = 1000


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
    """The import that came of it; what was left out then lies beside the upload. Raises NotBroughtIn: for rows that are
    not good unless ``only_good``, for doubtful ones unless ``sure``."""
    before, look, ready = writing.Before.of(cafe), Look.at(upload, cafe, now), Ready(cafe, now)
    laying = Laying(ready, by, upload.sha256)
    with Spool() as spool:
        with sheet_of(upload) as sheet:
            rows = look.rows(sheet, lambda done, of: tell(done, 2 * of))
            for batch in _together(laying_down(upload, rows)):
                for one in batch:
                    _refuse(one, only_good, sure)
                    ready.left_out += one.state == BAD
                spool.add(list(laying.laid(batch)))
        if not ready.rows:
            raise NotBroughtIn(_("There is no row that can be brought in."))
        if ready.left_out:
            write_rest(upload)
        return writing.write(upload, look, before, ready, spool, by, tell)


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
