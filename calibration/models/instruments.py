"""Refractometers. Each belongs to a café."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, User
from brewbar.crew.tenancy import CafeRows, Retirable, of_cafe

if TYPE_CHECKING:
    from brewbar.crew.access import Member


class Refractometer(Retirable):
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="refractometers")
    name = models.CharField(_("name"), max_length=40)
    resolution_tds = models.DecimalField(
        _("smallest step of the display"),
        max_digits=4,
        decimal_places=2,
        default=0.01,
        validators=[MinValueValidator(Decimal("0.01")), MaxValueValidator(1)],
    )
    repeatability_tds = models.DecimalField(
        _("repeatability"),
        max_digits=5,
        decimal_places=3,
        default=0.010,
        validators=[MinValueValidator(0), MaxValueValidator(1)],
        help_text=_(
            "Standard deviation of drops of one sample, % TDS. If the maker states a limit, halve it."
        ),
    )
    accuracy_tds = models.DecimalField(
        _("stated accuracy, ±"),
        max_digits=4,
        decimal_places=2,
        default=0.03,
        validators=[MinValueValidator(0), MaxValueValidator(1)],
    )
    filters_samples = models.BooleanField(
        _("samples are filtered before the prism"),
        default=False,
        help_text=_(
            "The sample steps on the entry page say so. Change it for everybody at once or not at all."
        ),
    )
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["cafe", "name"], name="refractometer_name_once_a_cafe"),
            models.CheckConstraint(
                condition=Q(resolution_tds__gt=0, repeatability_tds__gte=0, accuracy_tds__gte=0),
                name="refractometer_numbers_make_sense",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class CheckRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_cafe(member, "refractometer__cafe"))


class InstrumentCheck(models.Model):
    """A look at whether a refractometer reads right: on distilled water, or on a solution of known strength."""

    class Kind(models.TextChoices):
        ZERO = "zero", _("distilled water")
        STANDARD = "standard", _("check standard")

    refractometer = models.ForeignKey(Refractometer, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(_("read on"), max_length=8, choices=Kind.choices)
    expected_tds = models.DecimalField(
        _("should read"),
        max_digits=6,
        decimal_places=3,
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(30)],
    )
    read_tds = models.DecimalField(
        _("reads"),
        max_digits=5,
        decimal_places=2,
        validators=[MinValueValidator(Decimal("-5")), MaxValueValidator(30)],
    )
    passed = models.BooleanField()
    """As it was judged when it was entered, by the accuracy the instrument then stated."""
    unclear = models.BooleanField(default=False)
    """Neither passed nor failed: within what its own uncertainty leaves open, so it wants a fresh preparation."""
    u_tds = models.FloatField(null=True, blank=True)
    """Standard uncertainty of the difference, % TDS; None for checks from before it was reckoned."""
    as_found = models.BooleanField(_("before it was set to zero"), default=True)
    starts_over = models.BooleanField(default=False)
    """Back from service, or set otherwise: what it shows of sugar is learnt anew from this standard on."""
    sucrose_g = models.DecimalField(_("sucrose"), max_digits=6, decimal_places=2, null=True, blank=True)
    solution_g = models.DecimalField(
        _("solution, water and all"), max_digits=7, decimal_places=2, null=True, blank=True
    )
    checked_at = models.DateTimeField()
    checked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = CheckRows.as_manager()

    class Meta:
        ordering = ["-checked_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.refractometer}: {self.read_tds} %"
