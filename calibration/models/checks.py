"""The shift check: what a café asks of its crew, who is on, and checks that are being brewed."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, Station, User
from brewbar.crew.tenancy import CafeRows, of_cafe
from calibration.models.readings import Reading
from recipes.models import Recipe, Slot

if TYPE_CHECKING:
    from brewbar.crew.access import Place


class CheckPlan(models.Model):
    """What a café asks of its crew. One without a row has not said anything yet: the defaults here hold."""

    cafe = models.OneToOneField(Cafe, on_delete=models.PROTECT, related_name="check_plan")
    recipe = models.ForeignKey(
        Recipe,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("check recipe"),
    )
    recipe_since = models.DateField(null=True, blank=True, editable=False)
    """From this business day on the recipe is the check; what was brewed before is no missed check."""
    every_days = models.PositiveSmallIntegerField(
        _("days between a barista's checks"),
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(31)],
    )
    drops = models.PositiveSmallIntegerField(
        _("drops of each brew"), default=2, validators=[MinValueValidator(2), MaxValueValidator(5)]
    )
    twice_share = models.DecimalField(
        _("share of checks brewed twice"),
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.20"),
        validators=[MinValueValidator(0), MaxValueValidator(1)],
    )
    instrument_window_h = models.PositiveSmallIntegerField(
        _("hours an instrument check holds"),
        default=36,
        validators=[MinValueValidator(1), MaxValueValidator(24 * 31)],
    )
    standard_every_days = models.PositiveSmallIntegerField(
        _("days between check standards"),
        default=7,
        validators=[MinValueValidator(1), MaxValueValidator(92)],
    )
    smallest_tds = models.DecimalField(
        _("smallest difference in TDS that matters"),
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.01")), MaxValueValidator(2)],
    )
    """In % TDS; None means half the tolerance of the recipe that was brewed."""
    smallest_time_s = models.PositiveSmallIntegerField(
        _("smallest difference in brew time that matters"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(600)],
    )
    false_alarms_a_month = models.DecimalField(
        _("false alarms a month"),
        max_digits=3,
        decimal_places=1,
        default=Decimal("1.0"),
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(20)],
    )
    minutes_a_check = models.PositiveSmallIntegerField(
        _("minutes of a check"), default=6, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    coffee_price_kg = models.DecimalField(
        _("price of a kilogram of coffee"),
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    currency = models.CharField(_("currency"), max_length=4, blank=True)

    objects = CafeRows.as_manager()

    def __str__(self) -> str:
        return f"{self.cafe}: {self.recipe or '–'}"


class OnDuty(models.Model):
    """That somebody brews at a café on a business day: signed in, brewed, or marked on by a head barista."""

    class How(models.TextChoices):
        SIGNED_IN = "signed-in", _("signed in")
        BREWED = "brewed", _("brewed")
        MARKED = "marked", _("marked on")

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="+")
    business_day = models.DateField()
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    since = models.DateTimeField()
    how = models.CharField(max_length=10, choices=How.choices)
    marked_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    asked_twice = models.BooleanField(default=False)
    """Drawn when the row is made: whether this day's check is brewed a second time."""
    off_since = models.DateTimeField(null=True, blank=True)
    """A head barista took the mark back: not due after all. Before ``since``: they had opened the wrong board."""
    too_busy_at = models.DateTimeField(null=True, blank=True)
    too_busy_note = models.CharField(_("what kept you"), max_length=120, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["business_day", "since"]
        constraints = [
            models.UniqueConstraint(fields=["cafe", "business_day", "user"], name="on_duty_once_a_day"),
        ]

    def __str__(self) -> str:
        return f"{self.business_day} {self.user}"


class RunRows(models.QuerySet[Any]):
    def for_member(self, member: Place) -> Self:
        return self.filter(of_cafe(member))

    def open(self) -> Self:
        return self.filter(closed_at=None)


class CheckRun(models.Model):
    """A brew under way, from its card to its reading. It outlives a sign-out of the tablet it was opened on."""

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    """Also that of the reading which it becomes."""
    business_day = models.DateField()
    barista = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    slot = models.ForeignKey(Slot, on_delete=models.PROTECT, related_name="+")
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=8, choices=Reading.Kind.choices, default=Reading.Kind.CHECK)
    """Declared before the brew: a practice brew counts nowhere."""
    attempt = models.CharField(max_length=8, choices=Reading.Attempt.choices, default=Reading.Attempt.FIRST)
    was_served = models.BooleanField(default=False)
    opened_at = models.DateTimeField()
    poured_at = models.DateTimeField(null=True, blank=True)
    """First water."""
    brew_time_s = models.PositiveSmallIntegerField(null=True, blank=True)
    """From first water to the bed showing, by the timer."""
    typed = models.JSONField(default=dict)
    """What was typed so far of its reading."""
    closed_at = models.DateTimeField(null=True, blank=True)
    dropped_why = models.CharField(max_length=120, blank=True)
    """Closed without a reading and without this, nobody came back to it: a missed check."""
    reading = models.OneToOneField(
        Reading, on_delete=models.PROTECT, null=True, blank=True, related_name="run"
    )

    objects = RunRows.as_manager()

    class Meta:
        ordering = ["opened_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(reading=None) | Q(closed_at__isnull=False), name="check_run_read_is_closed"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.business_day} {self.barista}: {self.slot}"
