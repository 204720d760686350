"""The board of a café: which version each station brews now, from which batch, at which grind setting.

A slot is planned until the board is published; then it stands until it is replaced or withdrawn. What moves daily
(batch, grinder, setting) is the slot's history of settings; the rest of a published slot is frozen.
"""

from __future__ import annotations

import secrets
from typing import Any, Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Station, User
from brewbar.crew.tenancy import CafeRows, of_cafe
from recipes.models.coffee import RoastBatch
from recipes.models.equipment import Grinder, Kettle
from recipes.models.recipe import Recipe, RecipeVersion

CODE_ALPHABET = "34679CDFGHJKMNPRTVWXY"
"""No letter or digit here looks like another one, and there is no vowel to spell a word with."""
CODE_LENGTH = 5


def new_code() -> str:
    return "".join(secrets.choice(CODE_ALPHABET) for _ in range(CODE_LENGTH))


class Board(models.Model):
    cafe = models.OneToOneField(Cafe, on_delete=models.PROTECT, related_name="board")
    revision = models.PositiveIntegerField(default=0)
    """Counts every change that the crew can see; a page that polls sends the number it shows."""
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    due_at = models.DateTimeField(null=True, blank=True)
    """When the plan goes on the board by itself; None while somebody has to publish it."""
    due_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    due_trouble = models.CharField(max_length=500, blank=True)
    """Why the plan did not go on the board when it was due, until somebody plans or publishes again."""

    objects = CafeRows.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(due_at=None, due_by=None) | Q(due_at__isnull=False, due_by__isnull=False),
                name="board_due_by_somebody",
            )
        ]

    def __str__(self) -> str:
        return f"{self.cafe}, board {self.revision}"


class CardCode(models.Model):
    """The short code of a station and a recipe. It never changes, so that an old printed card still leads right."""

    code = models.CharField(max_length=8, unique=True, default=new_code)
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="codes")
    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="codes")

    class CodeRows(models.QuerySet[Any]):
        def for_member(self, member: Member) -> Self:
            return self.filter(of_cafe(member, "station__cafe"))

    objects = CodeRows.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["station", "recipe"], name="code_once_a_station_and_recipe")
        ]

    def __str__(self) -> str:
        return self.code


class SlotRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_cafe(member, "board__cafe"))

    def live(self) -> Self:
        return self.filter(published_at__isnull=False, withdrawn_at=None)

    def planned(self) -> Self:
        return self.filter(published_at=None)

    def for_card(self) -> Self:
        """With everything a card or a board prints: two queries however many slots."""
        return self.select_related(
            "board__cafe__company",
            "card__station",
            "card__recipe__coffee",
            "version__brewer",
            "version__paper",
            "version__recipe__coffee",
            "kettle",
            "setting__roast_batch",
            "setting__grinder",
            "setting__set_by",
            "published_by",
        ).prefetch_related("version__pours")


class Slot(models.Model):
    board = models.ForeignKey(Board, on_delete=models.PROTECT, related_name="slots")
    card = models.ForeignKey(CardCode, on_delete=models.PROTECT, related_name="slots")
    version = models.ForeignKey(RecipeVersion, on_delete=models.PROTECT, related_name="slots")
    kettle = models.ForeignKey(Kettle, on_delete=models.PROTECT, related_name="+", verbose_name=_("kettle"))
    setting = models.ForeignKey(
        "SlotSetting", on_delete=models.RESTRICT, null=True, blank=True, related_name="+", editable=False
    )
    """The newest row of the slot's settings: what holds now."""
    planned_at = models.DateTimeField(auto_now_add=True)
    planned_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    leaving = models.BooleanField(default=False)
    """A live slot that the next publishing takes off the board."""
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_why = models.CharField(_("why"), max_length=200, blank=True)

    replaced_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaces", editable=False
    )
    """What the crew brews instead of a withdrawn slot, if anything."""

    objects = SlotRows.as_manager()

    class Meta:
        ordering = ["card__station__position", "card__station__name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["card"],
                condition=Q(published_at__isnull=False, withdrawn_at=None),
                name="slot_one_live_a_card",
            ),
            models.UniqueConstraint(
                fields=["card"], condition=Q(published_at=None), name="slot_one_planned_a_card"
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None) | Q(withdrawn_at__gte=F("published_at")),
                name="slot_withdrawn_after_published",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.card.station}: {self.version}"

    @property
    def station(self) -> Station:
        return self.card.station

    @property
    def is_live(self) -> bool:
        return self.published_at is not None and self.withdrawn_at is None


class SlotSetting(models.Model):
    """Batch, grinder and grind setting of a slot from one moment on. Rows are added, never changed."""

    slot = models.ForeignKey(Slot, on_delete=models.CASCADE, related_name="settings")
    roast_batch = models.ForeignKey(RoastBatch, on_delete=models.PROTECT, related_name="+")
    grinder = models.ForeignKey(Grinder, on_delete=models.PROTECT, related_name="+")
    grind_setting = models.CharField(_("grind setting"), max_length=12)
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(_("note"), max_length=120, blank=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.grinder} {self.grind_setting}"


class CardPrint(models.Model):
    """A card that was printed: which slot, with which batch and grind on it. Tells which paper is out of date."""

    slot = models.ForeignKey(Slot, on_delete=models.PROTECT, related_name="prints")
    setting = models.ForeignKey(SlotSetting, on_delete=models.PROTECT, related_name="+")
    size = models.CharField(max_length=8)
    printed_at = models.DateTimeField()
    printed_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    """None where a station's tablet printed it and nobody was signed in."""

    class Meta:
        ordering = ["-printed_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.slot} ({self.size})"


class Seen(models.Model):
    """That somebody of the crew has read what changed with a slot."""

    slot = models.ForeignKey(Slot, on_delete=models.PROTECT, related_name="seen")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    seen_at = models.DateTimeField()

    class Meta:
        ordering = ["seen_at"]
        constraints = [models.UniqueConstraint(fields=["slot", "user"], name="seen_once_a_slot")]

    def __str__(self) -> str:
        return f"{self.user}: {self.slot}"
