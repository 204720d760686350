"""What a café asks of its crew: which recipe is the check, how often, and what difference matters.

A café that has said nothing has the defaults of `CheckPlan` and no check recipe: then nobody is due.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, Change, User
from brewbar.crew.record import note, snapshot
from calibration.models import CheckPlan, Reading
from recipes.aims import Aims, standing
from recipes.models import Pour, Recipe, RecipeVersion, Slot

UNREPEATABLE = (Pour.Pattern.RISE_AND_FALL, Pour.Pattern.WALL)
"""R10, common practice, no source: such pours do not repeat, so they show nothing of who poured."""
FEWEST_DROPS = 2


class Refused(Exception):
    """The plan cannot be so. ``field`` is the part it concerns, the text the sentence to show."""

    def __init__(self, field: str, says: str) -> None:
        super().__init__(says)
        self.field = field


def of(cafe: Cafe) -> CheckPlan:
    """The café's plan, or one with the defaults that is not saved."""
    plan: CheckPlan | None = CheckPlan.objects.filter(cafe=cafe).select_related("recipe", "cafe").first()
    return plan or CheckPlan(cafe=cafe)


@transaction.atomic
def save(cafe: Cafe, said: Mapping[str, Any], by: User, now: datetime) -> CheckPlan:
    """Have ``said`` hold from now on, on record. Raises Refused for a recipe that cannot be a check."""
    # Two heads saving at once take turns, or both would add the café's one row.
    Cafe.objects.select_for_update(no_key=True).get(pk=cafe.pk)
    plan = of(cafe)
    before, recipe_before = snapshot(plan), plan.recipe_id
    for name, value in said.items():
        setattr(plan, name, value)
    if plan.recipe_id != recipe_before:
        plan.recipe_since = cafe.business_day(now) if plan.recipe_id else None
    if trouble := trouble_with(cafe, plan.recipe):
        raise Refused("recipe", trouble)
    is_new = plan.pk is None
    plan.save()
    after = snapshot(plan)
    if is_new or before != after:
        note(
            company=cafe.company,
            cafe=cafe,
            about=Change.About.SETTING,
            what=_("shift check changed"),
            subject=_("The shift check"),
            row=plan,
            by=by,
            before={} if is_new else before,
            after=after,
        )
    return plan


# --- the check recipe


def live_slots(cafe: Cafe, recipe: Recipe) -> list[Slot]:
    """Where the café's board has the recipe now."""
    return list(Slot.objects.filter(board__cafe=cafe, card__recipe=recipe).live().for_card())


def standing_version(cafe: Cafe, recipe: Recipe | None) -> RecipeVersion | None:
    """What the café brews of a recipe: the version on its board, else the newest that was published."""
    if recipe is None:
        return None
    published = RecipeVersion.objects.filter(recipe=recipe).published().order_by("-number")
    live = published.filter(
        slots__board__cafe=cafe, slots__published_at__isnull=False, slots__withdrawn_at=None
    )
    found: RecipeVersion | None = live.first() or published.first()
    return found


def trouble_with(cafe: Cafe, recipe: Recipe | None) -> str:
    """Why a recipe cannot be brewed as a check; "" if it can."""
    if recipe is None:
        return ""
    version = standing_version(cafe, recipe)
    if version is None:
        return _("%(recipe)s has no published version yet.") % {"recipe": recipe}
    pours = list(version.pours.filter(pattern__in=UNREPEATABLE))
    if not pours:
        return ""
    said = {
        "number": pours[0].order,
        "pattern": pours[0].get_pattern_display(),
        "version": version.number,
    }
    return (
        _(
            "Pour %(number)d of version %(version)d is %(pattern)s. That does not repeat well enough to compare "
            "people by (common practice): choose a recipe without it."
        )
        % said
    )


def is_check(plan: CheckPlan, recipe_id: int) -> bool:
    return plan.recipe_id is not None and plan.recipe_id == recipe_id


def drops_wanted(plan: CheckPlan, recipe_id: int, kind: str) -> int:
    """How many drops are asked for of a brew before the instrument has its say."""
    is_shift_check = kind == Reading.Kind.CHECK and is_check(plan, recipe_id)
    return plan.drops if is_shift_check else FEWEST_DROPS


# --- what matters


@dataclass(frozen=True)
class Smallest:
    """The smallest differences that matter, and whether each is half the recipe's tolerance rather than said.

    tds_pct: in % TDS; time_s: in seconds; None where neither the plan nor a recipe says it.
    """

    tds_pct: Decimal | None
    time_s: float | None
    tds_is_half: bool
    time_is_half: bool


def smallest(plan: CheckPlan, version: RecipeVersion | None = None, aims: Aims | None = None) -> Smallest:
    """By the plan, else half the tolerance of ``version`` that was brewed, or of the check recipe's standing one.

    The tolerance is the café's own, where it has set one: as it stands now, or as ``aims`` says it stood then.
    """
    version = version or standing_version(plan.cafe, plan.recipe)
    if aims is None and version is not None:
        aims = standing(plan.cafe, version)
    half_tds = aims.tds_tolerance / 2 if aims else None
    half_time = aims.brew_time_tolerance_s / 2 if aims else None
    return Smallest(
        tds_pct=half_tds if plan.smallest_tds is None else plan.smallest_tds,
        time_s=half_time if plan.smallest_time_s is None else plan.smallest_time_s,
        tds_is_half=plan.smallest_tds is None,
        time_is_half=plan.smallest_time_s is None,
    )
