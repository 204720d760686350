"""Companies, their cafés and stations."""

from __future__ import annotations

import zoneinfo
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.tenancy import CafeRows, Retirable

if TYPE_CHECKING:
    from brewbar.crew.access import Member


def check_time_zone(name: str) -> None:
    """Raise ValidationError unless ``name`` is in the time zone database."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(
            _("%(name)s is no time zone we know; one looks like Europe/Lisbon."), params={"name": name}
        )


class Naming(models.TextChoices):
    """How results about people reach an owner."""

    UNNAMED = "unnamed", _("unnamed")
    INITIALS = "initials", _("initials")
    NAMES = "names", _("names")


class DecimalMark(models.TextChoices):
    POINT = ".", _("point: 1.40")
    COMMA = ",", _("comma: 1,40")


class TemperatureUnit(models.TextChoices):
    CELSIUS = "C", _("°C")
    FAHRENHEIT = "F", _("°F")


class DateOrder(models.TextChoices):
    DAY_FIRST = "dmy", _("day first: 3 Mar 2026")
    MONTH_FIRST = "mdy", _("month first: Mar 3, 2026")
    ISO = "iso", _("year first: 2026-03-03")


class Company(models.Model):
    name = models.CharField(_("name"), max_length=80, unique=True)
    people_shown_to_owners = models.CharField(
        _("people in an owner's reports"), max_length=10, choices=Naming.choices, default=Naming.UNNAMED
    )
    decimal_mark = models.CharField(
        _("decimal mark"), max_length=1, choices=DecimalMark.choices, default=DecimalMark.POINT
    )
    temperature_unit = models.CharField(
        _("temperatures in"), max_length=1, choices=TemperatureUnit.choices, default=TemperatureUnit.CELSIUS
    )
    date_order = models.CharField(
        _("dates"), max_length=3, choices=DateOrder.choices, default=DateOrder.DAY_FIRST
    )
    """How figures and dates are written for whoever has not chosen otherwise, and on cards."""
    forget_after_months = models.PositiveSmallIntegerField(
        _("months after which somebody who left becomes a pseudonym"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(120)],
    )
    """None: not until the company says so."""
    is_invented = models.BooleanField(default=False)
    """True for the demo scenario: every page says that its data are invented."""
    invented_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class NamingChange(models.Model):
    """That a company changed how results about people reach its owners, never for days that were before."""

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="naming_changes")
    at = models.DateTimeField()
    by = models.ForeignKey("crew.User", on_delete=models.PROTECT, related_name="+")
    was = models.CharField(max_length=10, choices=Naming.choices)
    becomes = models.CharField(max_length=10, choices=Naming.choices)

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.was} → {self.becomes}"


class CafeQuerySet(models.QuerySet["Cafe"]):
    def for_member(self, member: Member) -> CafeQuerySet:
        """The cafés a member may read: a crew's own café, all of the company for an owner."""
        return self.filter(company=member.company) if member.is_owner else self.filter(pk=member.cafe.pk)


class Cafe(models.Model):
    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="cafes")
    name = models.CharField(_("name"), max_length=60)
    time_zone = models.CharField(_("time zone"), max_length=60, default="UTC", validators=[check_time_zone])
    altitude_m = models.SmallIntegerField(
        _("altitude"), default=0, validators=[MinValueValidator(-430), MaxValueValidator(5000)]
    )
    day_turns_at = models.PositiveSmallIntegerField(
        _("hour at which the business day turns"), default=4, validators=[MaxValueValidator(11)]
    )

    objects = CafeQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["company", "name"], name="cafe_name_once_a_company"),
            models.CheckConstraint(condition=Q(day_turns_at__lte=11), name="cafe_day_turns_before_noon"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    def business_day(self, at: datetime) -> date:
        """The café's business day that the moment ``at`` (aware) belongs to.

        The wall clock decides, so that a night shift and a change of clocks stay on the day a crew would say.
        """
        wall = at.astimezone(self.zone).replace(tzinfo=None)
        return (wall - timedelta(hours=self.day_turns_at)).date()


class Station(Retirable):
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="stations")
    name = models.CharField(_("name"), max_length=40)
    position = models.PositiveSmallIntegerField(default=0)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["position", "name"]
        constraints = [models.UniqueConstraint(fields=["cafe", "name"], name="station_name_once_a_cafe")]

    def __str__(self) -> str:
        return self.name
