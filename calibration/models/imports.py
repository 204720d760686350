"""Spreadsheets that were brought in: what each brought, and that it was taken back."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, User
from brewbar.crew.tenancy import CafeRows


class Import(models.Model):
    """One spreadsheet brought into a café. Its rows name it; to undo it is to void or retire them all."""

    class Kind(models.TextChoices):
        READINGS = "readings", _("readings")
        LOTS = "lots", _("coffees and batches")

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="imports")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    filename = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    mapping = models.JSONField(default=dict)
    """Which column was taken for what, and the answers that were given."""
    rows = models.PositiveIntegerField()
    brought_in = models.PositiveIntegerField()
    left_out = models.PositiveIntegerField()
    made = models.JSONField(default=dict)
    """Keys of the coffees and batches that it made; readings name it themselves."""
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    undone_why = models.CharField(_("why"), max_length=200, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(undone_at=None, undone_by=None, undone_why="")
                | (Q(undone_at__isnull=False, undone_by__isnull=False) & ~Q(undone_why="")),
                name="import_undone_by_somebody_for_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.filename
