"""What one café has of its own about a recipe that all share: where its grinder stands, and what it aims at.

Rows are added and ended, never changed: what held on a day is what that day's readings are judged by.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, User
from brewbar.crew.tenancy import CafeRows
from recipes.models.recipe import Recipe

QUANTITIES = (
    ("tds_target", "tds_tolerance"),
    ("ey_target", "ey_tolerance"),
    ("brew_time_s", "brew_time_tolerance_s"),
)
"""What may be aimed at, with its tolerance: both or neither."""


class OwnRows(CafeRows):
    def standing(self) -> Self:
        return self.filter(ended_at=None)


class OwnOfCafe(models.Model):
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="+")
    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    """When another took its place, or it was taken back."""
    ended_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = OwnRows.as_manager()

    class Meta:
        abstract = True
        ordering = ["-set_at", "-pk"]

    def held_at(self, moment: datetime) -> bool:
        return self.set_at <= moment and (self.ended_at is None or moment < self.ended_at)


class GrindNote(OwnOfCafe):
    """How a recipe is ground here: 'two clicks finer than the quay, the burrs are newer'."""

    says = models.CharField(_("grind here"), max_length=80)

    class Meta(OwnOfCafe.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["cafe", "recipe"], condition=Q(ended_at=None), name="one_grind_note_stands"
            ),
        ]

    def __str__(self) -> str:
        return self.says


class CafeTarget(OwnOfCafe):
    """What a café aims at instead of what a recipe's versions say; a quantity left empty is as they say."""

    tds_target = models.DecimalField(
        _("TDS"),
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(10)],
    )
    tds_tolerance = models.DecimalField(
        _("TDS tolerance"),
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.01")), MaxValueValidator(2)],
    )
    ey_target = models.DecimalField(
        _("extraction yield"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(40)],
    )
    ey_tolerance = models.DecimalField(
        _("extraction yield tolerance"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(10)],
    )
    brew_time_s = models.PositiveSmallIntegerField(
        _("brew time"), null=True, blank=True, validators=[MinValueValidator(10), MaxValueValidator(3600)]
    )
    brew_time_tolerance_s = models.PositiveSmallIntegerField(
        _("brew time tolerance"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(600)],
    )
    why = models.CharField(_("why"), max_length=200)

    class Meta(OwnOfCafe.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["cafe", "recipe"], condition=Q(ended_at=None), name="one_cafe_target_stands"
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{target: None, tolerance: None})
                    | Q(**{f"{target}__isnull": False, f"{tolerance}__isnull": False}),
                    name=f"cafe_target_{target}_with_tolerance",
                )
                for target, tolerance in QUANTITIES
            ),
            models.CheckConstraint(
                condition=Q(tds_target__isnull=False)
                | Q(ey_target__isnull=False)
                | Q(brew_time_s__isnull=False),
                name="cafe_target_says_something",
            ),
            models.CheckConstraint(condition=~Q(why=""), name="cafe_target_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.cafe}: {self.recipe}"
