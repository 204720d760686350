"""What a recipe is held to in one café: the targets of its own that held at the time, else what the version says.

A brew is judged by what held when it was brewed. Nothing here writes: see `recipes.at_cafe`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe
from brewbar.units import clock, fixed
from recipes.brewing.plan import PourPlan
from recipes.models import CafeTarget, Recipe, RecipeVersion
from recipes.models.at_cafe import QUANTITIES


@dataclass(frozen=True)
class Aims:
    """Targets and tolerances under the names that a version gives them; a target that is None is not aimed at.

    own: the café's own target that they come from, in part at least; None where the version alone speaks.
    """

    tds_target: Decimal | None
    tds_tolerance: Decimal
    ey_target: Decimal | None
    ey_tolerance: Decimal
    brew_time_s: int | None
    brew_time_tolerance_s: int
    own: CafeTarget | None = None

    @classmethod
    def of(cls, version: RecipeVersion, own: CafeTarget | None = None) -> Aims:
        """What ``version`` says, with ``own`` in place of whatever it says otherwise."""
        said = cls(
            version.tds_target,
            version.tds_tolerance,
            version.ey_target,
            version.ey_tolerance,
            version.brew_time_s,
            version.brew_time_tolerance_s,
            own,
        )
        if own is None:
            return said
        if own.tds_target is not None and own.tds_tolerance is not None:
            said = replace(said, tds_target=own.tds_target, tds_tolerance=own.tds_tolerance)
        if own.ey_target is not None and own.ey_tolerance is not None:
            said = replace(said, ey_target=own.ey_target, ey_tolerance=own.ey_tolerance)
        if own.brew_time_s is not None and own.brew_time_tolerance_s is not None:
            said = replace(said, brew_time_s=own.brew_time_s, brew_time_tolerance_s=own.brew_time_tolerance_s)
        return said

    @property
    def numbers(self) -> Aims:
        """The same, wherever they come from: to compare by."""
        return replace(self, own=None)

    def onto(self, plan: PourPlan) -> PourPlan:
        """The plan with these aims in place of its own."""
        return replace(
            plan,
            tds_target=None if self.tds_target is None else float(self.tds_target),
            tds_tolerance=float(self.tds_tolerance),
            ey_target=None if self.ey_target is None else float(self.ey_target),
            ey_tolerance=float(self.ey_tolerance),
            brew_time_s=self.brew_time_s,
            brew_time_tolerance_s=self.brew_time_tolerance_s,
        )


AimSpan = tuple[datetime | None, datetime | None, Aims]
"""(from, to, what held): from is in it, to is not; None is as far as time goes."""


@dataclass(frozen=True)
class OwnAims:
    """The own targets of some cafés, all of them that ever held: for lists, which must not ask for each row."""

    rows: Mapping[tuple[int, int], tuple[CafeTarget, ...]]
    """(café, recipe) -> what it set, oldest first."""

    @classmethod
    def of(cls, cafes: Iterable[Cafe | int], recipes: Iterable[Recipe | int] | None = None) -> OwnAims:
        """One query. Without ``recipes``, of every recipe."""
        found = CafeTarget.objects.filter(cafe__in=list(cafes))
        if recipes is not None:
            found = found.filter(recipe__in=list(recipes))
        rows: dict[tuple[int, int], tuple[CafeTarget, ...]] = {}
        for row in found.select_related("set_by", "recipe").order_by("set_at", "pk"):
            key = (row.cafe_id, row.recipe_id)
            rows[key] = (*rows.get(key, ()), row)
        return cls(rows)

    def at(self, cafe: int, version: RecipeVersion, moment: datetime) -> Aims:
        return Aims.of(version, self._held(cafe, version.recipe_id, moment))

    def standing(self, cafe: int, version: RecipeVersion) -> Aims:
        rows = self.rows.get((cafe, version.recipe_id), ())
        return Aims.of(version, next((row for row in rows if row.ended_at is None), None))

    def spans(self, cafe: int, version: RecipeVersion) -> list[AimSpan]:
        """Everything that held, from ever to always, in order and without gaps."""
        spans: list[AimSpan] = []
        since: datetime | None = None
        for row in self.rows.get((cafe, version.recipe_id), ()):
            if row.ended_at is not None and row.ended_at <= row.set_at:
                continue
            if since is None or row.set_at > since:
                spans.append((since, row.set_at, Aims.of(version)))
            spans.append((row.set_at, row.ended_at, Aims.of(version, row)))
            if row.ended_at is None:
                return spans
            since = row.ended_at
        return [*spans, (since, None, Aims.of(version))]

    @property
    def moments(self) -> list[datetime]:
        """When something was set or ended, in order."""
        rows = [row for of_recipe in self.rows.values() for row in of_recipe]
        return sorted({at for row in rows for at in (row.set_at, row.ended_at) if at is not None})

    def _held(self, cafe: int, recipe: int, moment: datetime) -> CafeTarget | None:
        for row in self.rows.get((cafe, recipe), ()):
            if row.held_at(moment):
                return row
        return None


def aims_at(cafe: Cafe, version: RecipeVersion, at: datetime) -> Aims:
    """What a brew of ``version`` in ``cafe`` was held to at that moment. One query."""
    return OwnAims.of([cafe], [version.recipe_id]).at(cafe.pk, version, at)


def standing(cafe: Cafe, version: RecipeVersion) -> Aims:
    """What a brew of ``version`` in ``cafe`` is held to now. One query."""
    return OwnAims.of([cafe], [version.recipe_id]).standing(cafe.pk, version)


def set_by(own: CafeTarget) -> list[str]:
    """The quantities that a café aims at itself, by the names of their targets."""
    return [target for target, _tolerance in QUANTITIES if getattr(own, target) is not None]


def in_words(aims: Aims | CafeTarget | RecipeVersion, only: Collection[str] | None = None) -> str:
    """What is aimed at, such as "TDS 1.36 ± 0.10 %, brew time 2:50 ± 15 s"; ``only`` names targets."""

    def wanted(name: str) -> bool:
        return getattr(aims, name) is not None and (only is None or name in only)

    said = []
    if wanted("tds_target"):
        words = {"aim": fixed(aims.tds_target or 0, 2), "within": fixed(aims.tds_tolerance or 0, 2)}
        said.append(_("TDS %(aim)s ± %(within)s %%") % words)
    if wanted("ey_target"):
        words = {"aim": fixed(aims.ey_target or 0, 1), "within": fixed(aims.ey_tolerance or 0, 1)}
        said.append(_("extraction yield %(aim)s ± %(within)s %%") % words)
    if wanted("brew_time_s"):
        words = {"aim": clock(aims.brew_time_s or 0), "within": str(aims.brew_time_tolerance_s)}
        said.append(_("brew time %(aim)s ± %(within)s s") % words)
    return ", ".join(said)
