"""The published band that a company has chosen to compare its cups with: a convention, and none unless chosen."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from brewbar import units
from brewbar.crew import record
from brewbar.crew.access import Member
from brewbar.crew.models import Change, Company, User
from brewbar.units import AS_KEPT, written_as
from calibration.models import BandChoice
from recipes.brewing.bands import PublishedBand


def chosen(member: Member) -> PublishedBand | None:
    row: BandChoice | None = BandChoice.objects.for_member(member).first()
    return row.band if row else None


def named(band: PublishedBand) -> str:
    """Who published it, and in what."""
    return _("%(body)s (%(document)s)") % {"body": band.body, "document": _(band.document)}


def figures_of(band: PublishedBand) -> str:
    tds, ey = band.tds_pct, band.ey_pct
    return _("TDS %(tds_low)s to %(tds_high)s %%, extraction yield %(ey_low)s to %(ey_high)s %%") % {
        "tds_low": units.fixed(tds[0], 2),
        "tds_high": units.fixed(tds[1], 2),
        "ey_low": units.trimmed(ey[0], 1),
        "ey_high": units.trimmed(ey[1], 1),
    }


@transaction.atomic
def choose(company: Company, band: PublishedBand | None, by: User) -> None:
    """Compare the cups of ``company`` with ``band`` from now on, with none where it is None. Noted if it differs."""
    # Two who choose at once take turns, so that the record tells which came last.
    Company.objects.select_for_update(no_key=True).get(pk=company.pk)
    row = BandChoice.objects.filter(company=company).first() or BandChoice(company=company)
    before = row.band
    if before == band:
        return
    row.key = band.key if band else ""
    row.save()
    record.note(
        company=company,
        about=Change.About.SETTING,
        what=_("published band chosen") if band else _("published band taken away"),
        subject=company,
        by=by,
        before=_written(before),
        after=_written(band),
    )


@written_as(AS_KEPT)
def _written(band: PublishedBand | None) -> dict[str, str]:
    return {_("published band"): f"{named(band)}: {figures_of(band)}"} if band else {}
