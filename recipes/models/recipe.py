"""Recipes, their versions and the pours of each. They belong to the company.

A version is a draft until it is first published on a board; from then on it and its pours are frozen
(brewbar/frozen.py holds the database to that), and changing it means revising: a new draft that says what and why.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Self

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Company, User
from brewbar.crew.tenancy import CompanyRows, Retirable, of_company
from recipes.brewing import plan
from recipes.models.coffee import Coffee
from recipes.models.equipment import Brewer, Kettle, Paper


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


class Recipe(Retirable):
    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="recipes")
    coffee = models.ForeignKey(
        Coffee, on_delete=models.PROTECT, related_name="recipes", verbose_name=_("coffee")
    )
    name = models.CharField(_("name"), max_length=60)
    started_from = models.ForeignKey(
        "RecipeVersion", on_delete=models.SET_NULL, null=True, blank=True, related_name="+", editable=False
    )
    """The version of another recipe whose plan this one began as: copied, or scaled to other cups."""
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")

    objects = CompanyRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["company", "name"], name="recipe_name_once_a_company")]

    def __str__(self) -> str:
        return self.name


class VersionRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_company(member, "recipe__company"))

    def drafts(self) -> Self:
        return self.filter(published_at=None)

    def published(self) -> Self:
        return self.filter(published_at__isnull=False)


class RecipeVersion(Retirable):
    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    based_on = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="revisions"
    )
    what_changed = models.CharField(_("what changed"), max_length=200, blank=True)
    why = models.CharField(_("why"), max_length=300, blank=True)

    brewer = models.ForeignKey(
        Brewer, on_delete=models.PROTECT, null=True, blank=True, verbose_name=_("brewer")
    )
    paper = models.ForeignKey(Paper, on_delete=models.PROTECT, null=True, blank=True, verbose_name=_("paper"))
    kettle = models.ForeignKey(
        Kettle,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        verbose_name=_("kettle it is written for"),
        help_text=_("The pours are checked against it; a station may use another."),
    )
    reference_grind = models.CharField(
        _("reference grind"),
        max_length=60,
        blank=True,
        help_text=_(
            "Where to start, in words or a setting. The live setting stands on the board and moves daily."
        ),
    )
    dose_g = models.DecimalField(
        _("dose"),
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(200)],
    )
    water_g = models.DecimalField(
        _("brew water"),
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(10), MaxValueValidator(4000)],
    )
    at_the_boil = models.BooleanField(_("at the boil"), default=False)
    water_temperature_C = models.DecimalField(
        _("water temperature"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    rinse_paper = models.BooleanField(_("rinse and preheat the paper"), default=True)
    bypass_g = models.DecimalField(
        _("bypass water"),
        max_digits=5,
        decimal_places=1,
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(2000)],
        help_text=_("Water added to the server after the brew."),
    )
    ice_g = models.DecimalField(
        _("ice in the server"),
        max_digits=5,
        decimal_places=1,
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(2000)],
    )
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
        default=0.10,
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
        default=1.5,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(10)],
    )
    brew_time_s = models.PositiveSmallIntegerField(
        _("brew time"), null=True, blank=True, validators=[MinValueValidator(10), MaxValueValidator(3600)]
    )
    brew_time_tolerance_s = models.PositiveSmallIntegerField(
        _("brew time tolerance"), default=15, validators=[MinValueValidator(1), MaxValueValidator(600)]
    )
    intended_cup = models.CharField(_("what the cup should taste like"), max_length=200, blank=True)
    note = models.TextField(_("note"), max_length=300, blank=True)

    revision = models.PositiveIntegerField(default=0)
    """Counts the saves of a draft, so that two people editing one draft don't overwrite each other unseen."""
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    edited_at = models.DateTimeField(null=True, blank=True)
    edited_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = VersionRows.as_manager()

    class Meta:
        ordering = ["recipe", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["recipe", "number"], name="version_number_once_a_recipe"),
            models.UniqueConstraint(
                fields=["recipe"], condition=Q(published_at=None), name="version_one_draft_a_recipe"
            ),
            models.CheckConstraint(
                condition=Q(published_at=None) | Q(dose_g__gt=0, water_g__gt=0),
                name="version_published_has_masses",
            ),
            models.CheckConstraint(
                condition=Q(published_at=None) | Q(at_the_boil=True) | Q(water_temperature_C__isnull=False),
                name="version_published_has_temperature",
            ),
            models.CheckConstraint(
                condition=Q(tds_tolerance__gt=0, ey_tolerance__gt=0, brew_time_tolerance_s__gt=0),
                name="version_tolerances_positive",
            ),
        ]

    def __str__(self) -> str:
        return _("%(recipe)s, version %(number)d") % {"recipe": self.recipe, "number": self.number}

    @property
    def is_draft(self) -> bool:
        return self.published_at is None

    def plan(self) -> plan.PourPlan:
        """The version as the pure package sees it; reads the pours (prefetch ``pours`` for lists)."""
        return plan.PourPlan(
            dose_g=_number(self.dose_g),
            water_g=_number(self.water_g),
            water_temperature_C=None if self.at_the_boil else _number(self.water_temperature_C),
            at_the_boil=self.at_the_boil,
            pours=tuple(pour.plan() for pour in self.pours.all()),
            bypass_g=float(self.bypass_g),
            ice_g=float(self.ice_g),
            tds_target=_number(self.tds_target),
            tds_tolerance=_number(self.tds_tolerance),
            ey_target=_number(self.ey_target),
            ey_tolerance=_number(self.ey_tolerance),
            brew_time_s=self.brew_time_s,
            brew_time_tolerance_s=self.brew_time_tolerance_s,
        )


class Pour(models.Model):
    class Pattern(models.TextChoices):
        CIRCLE = plan.Pattern.CIRCLE, _("circle")
        CENTRE = plan.Pattern.CENTRE, _("centre")
        OFF_CENTRE = plan.Pattern.OFF_CENTRE, _("off-centre")
        SIDEWAYS = plan.Pattern.SIDEWAYS, _("sideways")
        BROKEN_STREAM = plan.Pattern.BROKEN_STREAM, _("broken stream")
        RISE_AND_FALL = plan.Pattern.RISE_AND_FALL, _("rise-and-fall")
        WALL = plan.Pattern.WALL, _("wall")

    class After(models.TextChoices):
        NOTHING = "", _("nothing")
        STIR = plan.After.STIR, _("stir")
        SWIRL = plan.After.SWIRL, _("swirl")

    version = models.ForeignKey(RecipeVersion, on_delete=models.CASCADE, related_name="pours")
    order = models.PositiveSmallIntegerField()
    starts_at_s = models.PositiveSmallIntegerField(
        _("starts at"), null=True, blank=True, validators=[MaxValueValidator(3600)]
    )
    to_g = models.DecimalField(
        _("to weight"),
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(4000)],
    )
    pattern = models.CharField(_("pattern"), max_length=16, choices=Pattern.choices, default=Pattern.CIRCLE)
    spout_height_mm = models.PositiveSmallIntegerField(
        _("spout height"), null=True, blank=True, validators=[MaxValueValidator(1000)]
    )
    flow_g_s = models.DecimalField(
        _("flow"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(50)],
    )
    temperature_C = models.DecimalField(
        _("temperature"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    after = models.CharField(
        _("then"), max_length=8, choices=After.choices, blank=True, default=After.NOTHING
    )
    note = models.CharField(_("note"), max_length=80, blank=True)

    class Meta:
        ordering = ["version", "order"]
        constraints = [
            models.UniqueConstraint(fields=["version", "order"], name="pour_order_once_a_version"),
            models.CheckConstraint(
                condition=Q(pattern__in=[p.value for p in plan.Pattern]), name="pour_pattern_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order}: to {self.to_g} g"

    def plan(self) -> plan.Pour:
        return plan.Pour(
            starts_at_s=_number(self.starts_at_s),
            to_g=_number(self.to_g),
            pattern=plan.Pattern(self.pattern),
            flow_g_s=_number(self.flow_g_s),
            spout_height_mm=_number(self.spout_height_mm),
            temperature_C=_number(self.temperature_C),
            after=plan.After(self.after),
            note=self.note,
        )


def refuse_thawing(sender: type[Pour], instance: Pour, **kwargs: Any) -> None:
    """Pours of a published version are never deleted.

    A signal and not a trigger, since a trigger would also refuse the flush between tests of a live server.
    """
    if not instance.version.is_draft:
        raise ValidationError(
            _("This version is published: its pours are frozen. Revise the recipe instead.")
        )


models.signals.pre_delete.connect(refuse_thawing, sender=Pour)
