"""Readings of brews and their drops.

A reading is saved whole with what was computed from it, and never changed: a typo is corrected by a new reading that
names the old one, and a head barista voids with a reason (brewbar/frozen.py holds the database to that).
"""

from __future__ import annotations

from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Company, Key, Station, User
from brewbar.crew.tenancy import of_cafe
from calibration.models.imports import Import
from calibration.models.instruments import Refractometer
from recipes.models import BrewWater, Grinder, Kettle, RecipeVersion, RoastBatch, Server, Slot


class ReadingRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_cafe(member))

    def standing(self) -> Self:
        """Neither voided nor replaced by a correction."""
        return self.filter(voided_at=None, correction=None)

    def counted(self) -> Self:
        """What statistics use: standing check brews, without re-brews."""
        return self.standing().filter(kind=Reading.Kind.CHECK).exclude(attempt=Reading.Attempt.REBREW)


class Reading(models.Model):
    class Kind(models.TextChoices):
        CHECK = "check", _("a check brew")
        SERVED = "served", _("a cup we served")
        PRACTICE = "practice", _("a practice brew")

    class Attempt(models.TextChoices):
        FIRST = "first", _("first brew of the day")
        REPEAT = "repeat", _("repeat that was asked for")
        REBREW = "rebrew", _("re-brew")

    class Beverage(models.TextChoices):
        SERVER = "server", _("weighed in its server")
        ALONE = "alone", _("weighed by itself")
        ESTIMATED = "estimated", _("not weighed, estimated")

    class Source(models.TextChoices):
        FORM = "form", _("form")
        API = "api", _("another program")
        IMPORT = "import", _("spreadsheet")

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="readings")
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="readings")
    uuid = models.UUIDField()
    """Made with the form, so that a double tap or a reload never saves twice."""
    fingerprint = models.CharField(max_length=64)
    """Hash of what was sent with the UUID: the same UUID with another body is refused."""
    kind = models.CharField(max_length=8, choices=Kind.choices, default=Kind.CHECK)
    attempt = models.CharField(max_length=8, choices=Attempt.choices, default=Attempt.FIRST)
    was_served = models.BooleanField(default=False)
    """A check that went to a guest: it cost a millilitre, not a dose."""
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="correction"
    )

    barista = models.ForeignKey(User, on_delete=models.PROTECT, related_name="readings")
    entered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    source = models.CharField(max_length=8, choices=Source.choices, default=Source.FORM)
    key = models.ForeignKey(Key, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    """With which another program sent it."""
    brought_in = models.ForeignKey(
        Import, on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    """The spreadsheet it stood in."""
    brewed_at = models.DateTimeField()
    business_day = models.DateField()

    slot = models.ForeignKey(Slot, on_delete=models.PROTECT, related_name="readings")
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="readings")
    version = models.ForeignKey(RecipeVersion, on_delete=models.PROTECT, related_name="readings")
    roast_batch = models.ForeignKey(RoastBatch, on_delete=models.PROTECT, related_name="readings")
    grinder = models.ForeignKey(Grinder, on_delete=models.PROTECT, related_name="readings")
    grind_setting = models.CharField(_("grind setting"), max_length=12)
    kettle = models.ForeignKey(Kettle, on_delete=models.PROTECT, related_name="readings")
    server = models.ForeignKey(
        Server, on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    brew_water = models.ForeignKey(
        BrewWater, on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    """What the bar brewed with then, where it was known."""
    refractometer = models.ForeignKey(Refractometer, on_delete=models.PROTECT, related_name="readings")

    dose_g = models.DecimalField(
        _("dose"), max_digits=5, decimal_places=1, validators=[MinValueValidator(1), MaxValueValidator(200)]
    )
    water_g = models.DecimalField(
        _("brew water"),
        max_digits=6,
        decimal_places=1,
        validators=[MinValueValidator(10), MaxValueValidator(4000)],
    )
    bypass_g = models.DecimalField(
        _("bypass water"), max_digits=5, decimal_places=1, default=0, validators=[MinValueValidator(0)]
    )
    ice_g = models.DecimalField(
        _("ice"), max_digits=5, decimal_places=1, default=0, validators=[MinValueValidator(0)]
    )
    beverage_source = models.CharField(max_length=10, choices=Beverage.choices)
    gross_g = models.DecimalField(
        _("server and coffee"), max_digits=6, decimal_places=1, null=True, blank=True
    )
    tare_g = models.DecimalField(
        _("server when empty"), max_digits=6, decimal_places=1, null=True, blank=True
    )
    beverage_g = models.DecimalField(_("beverage mass"), max_digits=6, decimal_places=1)
    """Weighed, or estimated from liquid retained: ``beverage_source`` says which."""
    rinse_left_in = models.BooleanField(null=True, blank=True)
    brew_time_s = models.PositiveSmallIntegerField(_("brew time"))
    slurry_temperature_C = models.DecimalField(
        _("slurry temperature"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    taste = models.CharField(_("taste"), max_length=200, blank=True)

    # Computed once, when the reading was saved, from the drops and the instrument as they were then.
    tds = models.DecimalField(max_digits=6, decimal_places=4)
    tds_rule = models.CharField(max_length=8)
    """``mean`` or ``median`` of the drops (ISO 5725-6)."""
    drops_range_tds = models.DecimalField(max_digits=5, decimal_places=2)
    drops_allowed_tds = models.DecimalField(max_digits=5, decimal_places=2)
    u_tds_relative = models.FloatField()
    u_tds_absolute = models.FloatField()
    ey = models.FloatField()
    u_ey_relative = models.FloatField()
    u_ey_absolute = models.FloatField()

    voided_at = models.DateTimeField(null=True, blank=True)
    voided_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    void_reason = models.CharField(_("why it does not count"), max_length=200, blank=True)

    objects = ReadingRows.as_manager()

    class Meta:
        ordering = ["-brewed_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["company", "uuid"], name="reading_uuid_once_a_company"),
            models.CheckConstraint(
                condition=Q(dose_g__gt=0, water_g__gt=0, beverage_g__gt=0, brew_time_s__gt=0, tds__gte=0),
                name="reading_numbers_possible",
            ),
            models.CheckConstraint(
                condition=Q(voided_at=None, voided_by=None, void_reason="")
                | (Q(voided_at__isnull=False, voided_by__isnull=False) & ~Q(void_reason="")),
                name="reading_voided_by_somebody_for_a_reason",
            ),
            models.CheckConstraint(
                condition=~Q(beverage_source="server") | Q(gross_g__isnull=False, tare_g__isnull=False),
                name="reading_weighed_in_server_has_weights",
            ),
        ]
        indexes = [
            models.Index(
                # All that adding up a café's brews by day and person looks at, so that it reads no row.
                fields=[
                    "cafe",
                    "business_day",
                    "barista",
                    "version",
                    "roast_batch",
                    "kind",
                    "attempt",
                    "voided_at",
                    "refractometer",
                    "grinder",
                    "kettle",
                    "brewed_at",
                    "rinse_left_in",
                    "tds",
                    "ey",
                    "brew_time_s",
                ],
                name="reading_cafe_day_sums",
            ),
            models.Index(fields=["barista", "brewed_at"], name="reading_barista_time"),
        ]

    def __str__(self) -> str:
        return f"{self.business_day} {self.barista}: {self.tds} %"

    @property
    def is_voided(self) -> bool:
        return self.voided_at is not None


class Drop(models.Model):
    reading = models.ForeignKey(Reading, on_delete=models.PROTECT, related_name="drops")
    order = models.PositiveSmallIntegerField()
    tds = models.DecimalField(
        _("TDS"), max_digits=5, decimal_places=2, validators=[MinValueValidator(0), MaxValueValidator(30)]
    )
    sample_temperature_C = models.DecimalField(
        _("sample temperature"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )

    class Meta:
        ordering = ["reading", "order"]
        constraints = [
            models.UniqueConstraint(fields=["reading", "order"], name="drop_order_once_a_reading"),
            models.CheckConstraint(condition=Q(order__gte=1, order__lte=5), name="drop_one_to_five"),
            models.CheckConstraint(condition=Q(tds__gte=0, tds__lte=30), name="drop_tds_possible"),
        ]

    def __str__(self) -> str:
        return f"{self.tds} %"
