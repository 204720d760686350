"""That everything was handed out is on record, for everybody whom it concerns to read."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.models import Change, Company, User


def note(company: Company, by: User | None) -> None:
    with transaction.atomic():
        record.note(
            company=company,
            about=Change.About.SETTING,
            what=_("exported everything of"),
            subject=company,
            by=by,
        )
