"""Coffees and the roast batches they arrive in. Both belong to the company."""

from __future__ import annotations

from datetime import date
from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Company
from brewbar.crew.tenancy import CompanyRows, Retirable, of_company
from brewbar.dates import day


class Coffee(Retirable):
    class Roast(models.TextChoices):
        LIGHT = "light", _("light")
        MEDIUM_LIGHT = "medium-light", _("medium light")
        MEDIUM = "medium", _("medium")
        DARK = "dark", _("dark")

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="coffees")
    name = models.CharField(_("name"), max_length=60)
    origin = models.CharField(_("origin"), max_length=60, blank=True)
    process = models.CharField(_("process"), max_length=40, blank=True)
    roast_level = models.CharField(_("roast level"), max_length=12, choices=Roast.choices, blank=True)
    density_g_l = models.PositiveSmallIntegerField(
        _("density of the beans"),
        null=True,
        blank=True,
        validators=[MinValueValidator(200), MaxValueValidator(1000)],
        help_text=_("Bulk density in g/L, if it is known."),
    )
    note = models.TextField(_("note"), blank=True, max_length=500)

    objects = CompanyRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["company", "name"], name="coffee_name_once_a_company")]

    def __str__(self) -> str:
        return self.name


class RoastBatchRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_company(member, "coffee__company"))

    def in_use(self) -> Self:
        return self.filter(retired_at=None, used_up_on=None)


class RoastBatch(Retirable):
    coffee = models.ForeignKey(Coffee, on_delete=models.PROTECT, related_name="batches")
    label = models.CharField(_("label"), max_length=30, help_text=_("As written on the bag or the bin."))
    roasted_on = models.DateField(_("roasted on"))
    received_on = models.DateField(_("received on"), null=True, blank=True)
    opened_on = models.DateField(_("opened on"), null=True, blank=True)
    frozen_on = models.DateField(_("frozen on"), null=True, blank=True)
    thawed_on = models.DateField(_("thawed on"), null=True, blank=True)
    used_up_on = models.DateField(_("used up on"), null=True, blank=True)

    objects = RoastBatchRows.as_manager()

    class Meta:
        ordering = ["-roasted_on", "label"]
        constraints = [
            models.UniqueConstraint(fields=["coffee", "label"], name="batch_label_once_a_coffee"),
            models.CheckConstraint(
                condition=Q(thawed_on=None) | (Q(frozen_on__isnull=False) & Q(thawed_on__gte=F("frozen_on"))),
                name="batch_thawed_after_frozen",
            ),
        ]

    def __str__(self) -> str:
        return gettext("%(batch)s, roasted %(day)s") % {
            "batch": self.label,
            "day": day(self.roasted_on, year=True),
        }

    def days_off_roast(self, on: date) -> int:
        return (on - self.roasted_on).days
