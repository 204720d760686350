"""What a café brews with.

A brewer and a paper are kinds that a recipe is written for, so they belong to the company; a kettle, a grinder and
a server are pieces that stand in one café.
"""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, Company, User
from brewbar.crew.tenancy import CafeRows, CompanyRows, Retirable
from recipes.brewing import plan
from recipes.brewing.bed import Shape as BedShape
from recipes.brewing.slurry import COLD_BODY_J_K
from recipes.brewing.stream import USUAL_BORE_MM, fit_n


class Brewer(Retirable):
    class Shape(models.TextChoices):
        CONE = "cone", _("cone")
        FLAT = "flat", _("flat bed")
        WEDGE = "wedge", _("wedge")
        CYLINDER = "cylinder", _("cylinder")

    class Body(models.TextChoices):
        CERAMIC = "ceramic", _("ceramic")
        GLASS = "glass", _("glass")
        PLASTIC = "plastic", _("plastic")
        METAL = "metal", _("metal")

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="brewers")
    name = models.CharField(_("name"), max_length=40)
    shape = models.CharField(_("shape of the bed"), max_length=10, choices=Shape.choices)
    wall_angle_deg = models.DecimalField(
        _("angle between its walls"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(20), MaxValueValidator(150)],
    )
    diameter_mm = models.DecimalField(
        _("diameter of the bed"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(20), MaxValueValidator(400)],
    )
    body = models.CharField(_("made of"), max_length=10, choices=Body.choices, blank=True)
    largest_dose_g = models.DecimalField(
        _("largest dose"),
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
    )
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = CompanyRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["company", "name"], name="brewer_name_once_a_company")]

    def __str__(self) -> str:
        return self.name

    def limits(self, preheated: bool = False) -> plan.Brewer:
        """A wedge counts as a cone: its bed widens upwards too, and nobody has measured how it drains."""
        usual = plan.Brewer()
        shape = BedShape.CONE if self.shape == self.Shape.WEDGE else BedShape(self.shape)
        return plan.Brewer(
            shape,
            usual.half_angle_deg if self.wall_angle_deg is None else float(self.wall_angle_deg) / 2,
            usual.diameter_mm if self.diameter_mm is None else float(self.diameter_mm),
            0.0 if preheated else COLD_BODY_J_K.get(self.body),
            self.name,
            None if self.largest_dose_g is None else float(self.largest_dose_g),
        )


class Paper(Retirable):
    class Speed(models.TextChoices):
        FAST = "fast", _("fast")
        MEDIUM = "medium", _("medium")
        SLOW = "slow", _("slow")

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="papers")
    name = models.CharField(_("name"), max_length=40)
    speed = models.CharField(_("speed"), max_length=10, choices=Speed.choices, default=Speed.MEDIUM)
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = CompanyRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["company", "name"], name="paper_name_once_a_company")]

    def __str__(self) -> str:
        return self.name


class Kettle(Retirable):
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="kettles")
    name = models.CharField(_("name"), max_length=40)
    flow_min_g_s = models.DecimalField(
        _("slowest steady flow"), max_digits=4, decimal_places=1, validators=[MinValueValidator(0)]
    )
    flow_max_g_s = models.DecimalField(
        _("fastest steady flow"), max_digits=4, decimal_places=1, validators=[MaxValueValidator(50)]
    )
    capacity_g = models.PositiveSmallIntegerField(
        _("holds"), validators=[MinValueValidator(100), MaxValueValidator(5000)]
    )
    spout_bore_mm = models.DecimalField(
        _("bore of the spout"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(30)],
    )
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["cafe", "name"], name="kettle_name_once_a_cafe"),
            models.CheckConstraint(
                condition=Q(flow_min_g_s__lt=F("flow_max_g_s")), name="kettle_flow_range_rises"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def limits(self) -> plan.Kettle:
        """With the fit of its measured breakup heights; prefetch ``breakup_points`` for lists."""
        bore_mm = None if self.spout_bore_mm is None else float(self.spout_bore_mm)
        points = [point.observation() for point in self.breakup_points.all() if not point.taken_back_at]
        return plan.Kettle(
            self.name,
            float(self.flow_min_g_s),
            float(self.flow_max_g_s),
            float(self.capacity_g),
            bore_mm,
            fit_n(points, bore_mm or USUAL_BORE_MM) if points else None,
        )


class Grinder(Retirable):
    """Settings are kept as they are marked on the machine, so they are text; a step says what one click is."""

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="grinders")
    name = models.CharField(_("name"), max_length=40)
    setting_step = models.DecimalField(
        _("one step on its scale"),
        max_digits=4,
        decimal_places=2,
        default=1,
        validators=[MinValueValidator(Decimal("0.01"))],
        help_text=_("How far the board's minus and plus move the setting."),
    )
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["cafe", "name"], name="grinder_name_once_a_cafe"),
            models.CheckConstraint(condition=Q(setting_step__gt=0), name="grinder_step_positive"),
        ]

    def __str__(self) -> str:
        return self.name


class Server(Retirable):
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="servers")
    name = models.CharField(_("name"), max_length=40)
    tare_g = models.DecimalField(
        _("weight when empty"),
        max_digits=6,
        decimal_places=1,
        validators=[MinValueValidator(1), MaxValueValidator(5000)],
        help_text=_("Dry and without its lid, as it stands on the scale."),
    )

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["cafe", "name"], name="server_name_once_a_cafe")]

    def __str__(self) -> str:
        return self.name


class BrewWater(Retirable):
    """A water that a café brews with. Hardness and alkalinity are in mg/L as calcium carbonate."""

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="brew_waters")
    name = models.CharField(_("name"), max_length=40)
    hardness_mg_l = models.PositiveSmallIntegerField(
        _("total hardness"), null=True, blank=True, validators=[MaxValueValidator(2000)]
    )
    alkalinity_mg_l = models.PositiveSmallIntegerField(
        _("alkalinity"), null=True, blank=True, validators=[MaxValueValidator(2000)]
    )
    measured_on = models.DateField(_("measured on"), null=True, blank=True)
    in_use_since = models.DateTimeField(null=True, blank=True, editable=False)
    """Set on the one water that the bar brews with now."""
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["cafe", "name"], name="water_name_once_a_cafe"),
            models.UniqueConstraint(
                fields=["cafe"], condition=Q(in_use_since__isnull=False), name="water_one_in_use_a_cafe"
            ),
            models.CheckConstraint(
                condition=Q(in_use_since=None) | Q(retired_at=None), name="water_in_use_is_not_retired"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class GrinderMatch(models.Model):
    """Two settings of two grinders that grind alike, as somebody found them: '24 here is 22 there'.

    Rows are added; a wrong one is taken back. The newest one of a pair holds.
    """

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="grinder_matches")
    grinder = models.ForeignKey(Grinder, on_delete=models.PROTECT, related_name="matches")
    setting = models.CharField(_("setting"), max_length=12)
    other = models.ForeignKey(Grinder, on_delete=models.PROTECT, related_name="matches_of_others")
    other_setting = models.CharField(_("setting of the other"), max_length=12)
    found_at = models.DateTimeField()
    found_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(_("note"), max_length=120, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["-found_at", "-pk"]
        constraints = [models.CheckConstraint(condition=~Q(grinder=F("other")), name="match_of_two_grinders")]

    def __str__(self) -> str:
        return f"{self.grinder} {self.setting} = {self.other} {self.other_setting}"


class BarEvent(models.Model):
    """Something that happened to the equipment and may move the cup. Never changed; a wrong one is taken back."""

    class Kind(models.TextChoices):
        BURRS = "burrs", _("new burrs")
        ALIGNED = "aligned", _("burrs aligned or zero point set")
        CLEANED = "cleaned", _("cleaned")
        DESCALED = "descaled", _("descaled")
        PAPER = "paper", _("new batch of papers")
        CARTRIDGE = "cartridge", _("new water cartridge")
        WATER = "water", _("other water")
        SWAPPED = "swapped", _("swapped for another")
        REPAIRED = "repaired", _("repaired")
        OTHER = "other", _("something else")

    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="bar_events")
    kind = models.CharField(_("what"), max_length=10, choices=Kind.choices)
    happened_at = models.DateTimeField(_("when"))
    kettle = models.ForeignKey(Kettle, on_delete=models.PROTECT, related_name="events", null=True, blank=True)
    grinder = models.ForeignKey(
        Grinder, on_delete=models.PROTECT, related_name="events", null=True, blank=True
    )
    server = models.ForeignKey(Server, on_delete=models.PROTECT, related_name="events", null=True, blank=True)
    brewer = models.ForeignKey(Brewer, on_delete=models.PROTECT, related_name="events", null=True, blank=True)
    paper = models.ForeignKey(Paper, on_delete=models.PROTECT, related_name="events", null=True, blank=True)
    brew_water = models.ForeignKey(
        BrewWater, on_delete=models.PROTECT, related_name="events", null=True, blank=True
    )
    note = models.CharField(_("note"), max_length=200, blank=True)
    noted_at = models.DateTimeField()
    noted_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    THINGS = ("kettle", "grinder", "server", "brewer", "paper", "brew_water")
    """What an event may be about; one of them, or the bar as a whole."""

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["-happened_at", "-pk"]
        indexes = [models.Index(fields=["cafe", "happened_at"], name="event_cafe_time")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.thing or self.cafe}"

    @property
    def thing(self) -> models.Model | None:
        """The piece of equipment it happened to; None for the bar as a whole."""
        return next((getattr(self, name) for name in self.THINGS if getattr(self, f"{name}_id")), None)
