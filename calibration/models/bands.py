"""Which published band a company compares its cups with, if any."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from django.db import models

from brewbar.crew.models import Company
from brewbar.crew.tenancy import of_company
from recipes.brewing.bands import PUBLISHED_BANDS, PublishedBand

if TYPE_CHECKING:
    from brewbar.crew.access import Member


class BandChoiceRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_company(member))


class BandChoice(models.Model):
    """A company without a row, or with a blank key, has chosen none."""

    company = models.OneToOneField(Company, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=20, blank=True)

    objects = BandChoiceRows.as_manager()

    def __str__(self) -> str:
        return self.key

    @property
    def band(self) -> PublishedBand | None:
        return next((band for band in PUBLISHED_BANDS if band.key == self.key), None)
