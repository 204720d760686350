"""What is said of an import, to whoever brings it in and in the record of changes."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Change, User
from brewbar.crew.record import note
from calibration.bringing_in.uploads import Upload
from calibration.models import Import


class NotBroughtIn(Exception):
    """Nothing was saved; the text is the sentence to show."""


def kept_answers(upload: Upload) -> dict[str, Any]:
    """What was answered about the file, for whoever asks later why a row was read as it was.

    Not what people were called in it: names of those who leave could not be found there again.
    """
    names = {field: meant for field, meant in upload.names.items() if field != "barista"}
    return {"sheet": upload.sheet, "columns": upload.mapping, "given": upload.given, "names": names}


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
