"""The one place that says which rows a member may reach."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import Q
from django.utils import timezone

if TYPE_CHECKING:
    from brewbar.crew.access import Place


def of_cafe(member: Place, path: str = "cafe") -> Q:
    """Rows of the member's own café; of all the company's cafés for an owner. ``path`` leads to the café."""
    return Q(**{f"{path}__company": member.company}) if member.is_owner else Q(**{path: member.cafe})


def of_company(member: Place, path: str = "company") -> Q:
    """Rows of the member's company. ``path`` leads to the company."""
    return Q(**{path: member.company})


class CafeRows(models.QuerySet[Any]):
    """Rows that belong to a café through their field ``cafe``."""

    def for_member(self, member: Place) -> Self:
        return self.filter(of_cafe(member))

    def in_use(self) -> Self:
        return self.filter(retired_at=None)


class CompanyRows(models.QuerySet[Any]):
    """Rows that belong to a company through their field ``company``."""

    def for_member(self, member: Place) -> Self:
        return self.filter(of_company(member))

    def in_use(self) -> Self:
        return self.filter(retired_at=None)


class Retirable(models.Model):
    """Something that may leave service but is never deleted once it was used."""

    retired_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        abstract = True

    def retire(self) -> None:
        self.retired_at = timezone.now()
        self.save(update_fields=["retired_at"])

    def bring_back(self) -> None:
        self.retired_at = None
        self.save(update_fields=["retired_at"])
