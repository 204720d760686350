"""Who changed what: rows are added, in the transaction of the change itself, and never altered."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from brewbar.crew.access import Member
from brewbar.crew.models.companies import Cafe, Company
from brewbar.crew.models.people import User
from brewbar.crew.tenancy import of_company


class ChangeRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        """An owner's whole company; for a crew its own café and what belongs to every café."""
        rows = self.filter(of_company(member))
        return rows if member.is_owner else rows.filter(Q(cafe=member.cafe) | Q(cafe=None))


class Change(models.Model):
    """One change: ``what`` happened to ``subject``, with the values it had before and has after.

    ``before`` and ``after`` map the names of fields to what a page would write for them.
    """

    class About(models.TextChoices):
        RECIPE = "recipe", _("recipes")
        BOARD = "board", _("board")
        COFFEE = "coffee", _("coffees")
        EQUIPMENT = "equipment", _("equipment")
        READING = "reading", _("readings")
        CREW = "crew", _("crew and roles")
        SETTING = "setting", _("settings")
        SIGN_IN = "sign-in", _("signing in")
        EXPORT = "export", _("exports of everything")

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="+")
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    """None for what every café of the company shares."""
    at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    """None where nobody was signed in, or where it was done on the server's own console."""
    by_name = models.CharField(max_length=60)
    """The name as it was then."""
    through = models.CharField(max_length=80, blank=True)
    """The tablet it came from; blank for a person's own device."""
    about = models.CharField(max_length=10, choices=About.choices)
    what = models.CharField(max_length=200)
    subject = models.CharField(max_length=200)
    row = models.CharField(max_length=40, blank=True)
    """Which row the subject is, whatever it is called later: see `brewbar.crew.record.row_key`."""
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    why = models.CharField(max_length=300, blank=True)
    words = models.TextField()
    """All of it in small letters, for searching."""

    objects = ChangeRows.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [
            models.Index(fields=["company", "-at"], name="change_company_time"),
            models.Index(fields=["company", "row"], name="change_company_row"),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by_name}: {self.what} {self.subject}"
