"""What the readings made somebody look at, and what was found. Nothing here is ever erased."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, User
from brewbar.crew.tenancy import of_cafe
from calibration.models.instruments import Refractometer
from calibration.models.readings import Reading
from recipes.models import Recipe

if TYPE_CHECKING:
    from brewbar.crew.access import Member

LIVE = ("open", "looked", "explained")


class SignalRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        """Signals of the café; a barista's own only; an owner counts them and reads none."""
        rows = self.filter(of_cafe(member))
        if member.is_head:
            return rows
        return rows.filter(person=member.user) if member.is_barista else rows.none()

    def live(self) -> Self:
        return self.filter(state__in=LIVE)


class Signal(models.Model):
    """One thing that is off, drifts or moved. Its evidence is kept as it was; only its state moves on."""

    class Question(models.TextChoices):
        OFF = "off", _("off")
        DRIFTING = "drifting", _("drifting")
        MOVED = "moved", _("the day moved")
        INSTRUMENT = "instrument", _("the instrument")

    class Measure(models.TextChoices):
        TDS = "tds", _("TDS")
        TIME = "time", _("brew time")
        STANDARD = "standard", _("check standard")

    class State(models.TextChoices):
        OPEN = "open", _("open")
        LOOKED = "looked", _("looked at")
        EXPLAINED = "explained", _("explained")
        CLOSED = "closed", _("closed")
        WITHDRAWN = "withdrawn", _("withdrawn")

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="signals")
    question = models.CharField(max_length=10, choices=Question.choices)
    measure = models.CharField(max_length=8, choices=Measure.choices)
    key = models.CharField(max_length=80)
    """Question, measure, whom or what it is about, and the side: the same thing has the same key."""
    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    person = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="signals")
    refractometer = models.ForeignKey(
        Refractometer, on_delete=models.PROTECT, null=True, blank=True, related_name="signals"
    )
    side = models.CharField(max_length=4, choices=[("high", _("high")), ("low", _("low"))])
    raised_at = models.DateTimeField()
    day = models.DateField()
    """The business day that raised it."""
    reading = models.ForeignKey(Reading, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    """The reading that raised it; None for an instrument."""
    since = models.DateField(null=True, blank=True)
    since_low = models.DateField(null=True, blank=True)
    since_high = models.DateField(null=True, blank=True)
    """Since when, and between which days that began."""
    run_length = models.PositiveIntegerField(null=True, blank=True)
    """One false alarm in so many points of its chart; None where no chart raised it."""
    evidence = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    state_at = models.DateTimeField()

    objects = SignalRows.as_manager()

    class Meta:
        ordering = ["-raised_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["cafe", "key"], condition=Q(state__in=LIVE), name="signal_once_while_it_lives"
            ),
        ]
        indexes = [models.Index(fields=["cafe", "state"], name="signal_cafe_state")]

    def __str__(self) -> str:
        return f"{self.day} {self.key}"


class NoteRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(signal__in=Signal.objects.for_member(member))


class SignalNote(models.Model):
    """A step in the life of a signal: who, when, what. Rows are added, never changed."""

    class What(models.TextChoices):
        RAISED = "raised", _("raised")
        LOOKED = "looked", _("looked at")
        REPLIED = "replied", _("replied")
        EXPLAINED = "explained", _("explained")
        CLOSED = "closed", _("closed")
        REOPENED = "reopened", _("opened again")
        WITHDRAWN = "withdrawn", _("withdrawn")

    class Cause(models.TextChoices):
        POUR = "pour", _("pour technique")
        GRIND = "grind", _("grind")
        KETTLE = "kettle", _("kettle")
        WATER = "water", _("water")
        AGE = "age", _("age of the coffee")
        LOT = "lot", _("lot")
        INSTRUMENT = "instrument", _("instrument")
        RECIPE = "recipe", _("recipe")
        CHANCE = "chance", _("chance")
        OTHER = "other", _("something else")

    signal = models.ForeignKey(Signal, on_delete=models.PROTECT, related_name="notes")
    at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    """None where brewbar itself did it."""
    what = models.CharField(max_length=10, choices=What.choices)
    cause = models.CharField(_("cause"), max_length=12, choices=Cause.choices, blank=True)
    says = models.CharField(_("note"), max_length=300, blank=True)
    action = models.CharField(_("what was done"), max_length=200, blank=True)
    restarts_baseline = models.BooleanField(_("start the baseline anew from here"), default=False)

    objects = NoteRows.as_manager()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.what} {self.signal}"


class FollowUp(models.Model):
    """One change that is being tried because of a signal, judged by brews after it alone."""

    signal = models.ForeignKey(Signal, on_delete=models.PROTECT, related_name="follow_ups")
    cause = models.CharField(max_length=12, choices=SignalNote.Cause.choices)
    change = models.CharField(_("what to try"), max_length=300)
    smallest = models.FloatField()
    """± within which it counts as mended, in the unit of the signal's measure."""
    started_at = models.DateTimeField()
    started_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    outcome = models.CharField(max_length=10, blank=True)
    """``mended``, ``still`` or ``stopped``; blank while it runs."""
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = NoteRows.as_manager()

    class Meta:
        ordering = ["started_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["signal"], condition=Q(ended_at=None), name="one_change_tried_at_a_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.signal}: {self.change}"
