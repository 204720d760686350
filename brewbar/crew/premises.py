"""The company's settings and its cafés, kept with a note of what changed."""

from __future__ import annotations

from collections.abc import Mapping

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.founding import FIRST_STATION
from brewbar.crew.models import Cafe, Change, Company, NamingChange, Station, User


@transaction.atomic
def save_company(company: Company, by: User) -> None:
    """Keep what was set for the company. Raises ValidationError where another has its name by now."""
    kept = Company.objects.select_for_update(no_key=True).get(pk=company.pk)
    before = record.snapshot(kept)
    try:
        with transaction.atomic():
            company.save()
    except IntegrityError as taken:
        raise ValidationError({"name": _("Another company here has this name.")}) from taken
    was, becomes = kept.people_shown_to_owners, company.people_shown_to_owners
    if was != becomes:
        NamingChange.objects.create(company=company, at=timezone.now(), by=by, was=was, becomes=becomes)
    _note(company, None, _("settings changed"), by, before)


@transaction.atomic
def save_cafe(cafe: Cafe, by: User) -> None:
    """Add a café with its first station, or keep what was changed about one.

    Business days that are saved already stay as they are. Raises ValidationError where its name is taken by now.
    """
    is_new = cafe.pk is None
    before = None if is_new else record.snapshot(Cafe.objects.select_for_update(no_key=True).get(pk=cafe.pk))
    try:
        with transaction.atomic():
            cafe.save()
    except IntegrityError as taken:
        raise ValidationError({"name": _("There is a café of this name already.")}) from taken
    if is_new:
        Station.objects.create(cafe=cafe, name=FIRST_STATION)
    _note(cafe, cafe, _("added") if is_new else _("changed"), by, before)


def _note(
    row: Company | Cafe, cafe: Cafe | None, what: str, by: User, before: Mapping[str, str] | None
) -> None:
    after = record.snapshot(row)
    if before == after:
        return
    record.note(
        company=row if isinstance(row, Company) else row.company,
        cafe=cafe,
        about=Change.About.SETTING,
        what=what,
        subject=row,
        by=by,
        before=before,
        after=after,
    )
