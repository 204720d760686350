"""What is known by measuring: where a kettle's stream breaks, how a bed drains, what a refractometer can tell apart.

Breakup points are entered by people. Fits of beds and reaches of instruments are written by calibration, from its
readings and checks.
"""

from __future__ import annotations

from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, User
from brewbar.crew.tenancy import CafeRows, of_cafe
from recipes.brewing import drawdown, plan, stream
from recipes.models.coffee import Coffee
from recipes.models.equipment import Brewer, Grinder, Kettle, Paper


class PointRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_cafe(member, "kettle__cafe"))

    def standing(self) -> Self:
        return self.filter(taken_back_at=None)


class BreakupPoint(models.Model):
    """A kettle at a held flow, raised until its stream broke or the ruler ended. A wrong one is taken back."""

    kettle = models.ForeignKey(Kettle, on_delete=models.PROTECT, related_name="breakup_points")
    flow_g_s = models.DecimalField(
        _("flow"),
        max_digits=4,
        decimal_places=1,
        validators=[MinValueValidator(1), MaxValueValidator(50)],
    )
    temperature_C = models.DecimalField(
        _("temperature of the water"),
        max_digits=4,
        decimal_places=1,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    height_mm = models.PositiveSmallIntegerField(
        _("height of the spout"), validators=[MinValueValidator(10), MaxValueValidator(300)]
    )
    broke = models.BooleanField(_("the stream broke"), default=True)
    """False: it was still whole at this height, and breaks somewhere above."""
    note = models.CharField(_("note"), max_length=120, blank=True)
    measured_at = models.DateTimeField()
    measured_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    objects = PointRows.as_manager()

    class Meta:
        ordering = ["-measured_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(flow_g_s__gt=0, height_mm__gt=0), name="breakup_point_possible"
            )
        ]

    def __str__(self) -> str:
        return f"{self.kettle}: {self.flow_g_s} g/s, {self.height_mm} mm"

    def observation(self) -> stream.Observation:
        return stream.Observation(
            float(self.flow_g_s), float(self.temperature_C), float(self.height_mm), self.broke
        )


class BedFit(models.Model):
    """How the bed of one coffee drains at one grinder setting, through one paper, in one brewer, at one dose."""

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="bed_fits")
    coffee = models.ForeignKey(Coffee, on_delete=models.PROTECT, related_name="bed_fits")
    grinder = models.ForeignKey(Grinder, on_delete=models.PROTECT, related_name="bed_fits")
    grind_setting = models.CharField(max_length=12)
    paper = models.ForeignKey(Paper, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    brewer = models.ForeignKey(Brewer, on_delete=models.PROTECT, related_name="+")
    dose_g = models.PositiveSmallIntegerField()
    """To the nearest gram: a deeper bed drains more slowly."""
    conductance_m2_s = models.FloatField(null=True, blank=True)
    u_relative = models.FloatField(null=True, blank=True)
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    next_low = models.FloatField(null=True, blank=True)
    next_high = models.FloatField(null=True, blank=True)
    scatter = models.FloatField()
    brews = models.PositiveIntegerField()
    left_out = models.PositiveIntegerField()
    newest_brew_at = models.DateTimeField()

    FIGURES = (
        "conductance_m2_s",
        "u_relative",
        "low",
        "high",
        "next_low",
        "next_high",
        "scatter",
        "brews",
        "left_out",
    )

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["-newest_brew_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["coffee", "grinder", "grind_setting", "paper", "brewer", "dose_g"],
                condition=Q(paper__isnull=False),
                name="bed_fit_once",
            ),
            models.UniqueConstraint(
                fields=["coffee", "grinder", "grind_setting", "brewer", "dose_g"],
                condition=Q(paper=None),
                name="bed_fit_once_without_paper",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.coffee}, {self.grinder} {self.grind_setting}"

    def fit(self) -> drawdown.BedFit:
        return drawdown.BedFit(**{name: getattr(self, name) for name in self.FIGURES})


class InstrumentReach(models.Model):
    """What a café's refractometer can tell apart. Calibration writes it; a recipe's targets are checked against it."""

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="instrument_reaches")
    name = models.CharField(max_length=40)
    relative_U_tds = models.FloatField()
    """Expanded uncertainty (k = 2) of a mean of two drops, % TDS, for comparisons on this instrument."""
    checked_at = models.DateTimeField(null=True, blank=True)
    """When it was last looked whether it reads right, and how that went."""
    check_passed = models.BooleanField(null=True, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["-relative_U_tds"]
        constraints = [models.UniqueConstraint(fields=["cafe", "name"], name="reach_name_once_a_cafe")]

    def __str__(self) -> str:
        return self.name

    def limits(self) -> plan.Instrument:
        return plan.Instrument(self.name, self.relative_U_tds)
