"""What a café knows of how a recipe's bed drains: which fit of logged brews a plan is reckoned with, in words.

Calibration writes the fits. One at the grind that is on the board goes first, if it has brews enough; else the
newest that has, since the grind moves daily and the next plan is not far from the last. The words name the grind.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe
from recipes.brewing import drawdown
from recipes.models import BarEvent, BedFit, RecipeVersion, Slot

Grind = tuple[int, str]
ANOTHER_GRIND = (BarEvent.Kind.BURRS, BarEvent.Kind.ALIGNED, BarEvent.Kind.SWAPPED)
"""After that a setting of the grinder is not what it was."""


class Known(NamedTuple):
    """``fit`` may have too few brews: it says how many more it takes. ``words``: by which, or what is missing."""

    fit: drawdown.BedFit | None
    words: str


def whole_grams(dose_g: Decimal | int) -> int:
    """The dose by which beds are told apart: 15.5 g counts as 16 g."""
    return int(Decimal(dose_g).quantize(Decimal(1), ROUND_HALF_UP))


def burrs_touched_since(moment: str) -> Exists:
    """Of rows with a grinder: whether its settings stand for something else since ``moment``, a field of theirs."""
    events = BarEvent.objects.filter(
        grinder=OuterRef("grinder"),
        kind__in=ANOTHER_GRIND,
        taken_back_at=None,
        happened_at__gt=OuterRef(moment),
    )
    return Exists(events)


def bed_for(version: RecipeVersion, cafe: Cafe) -> Known:
    """What ``cafe`` knows of the bed of ``version``, saved or as typed so far: its brewer, paper and dose, and its
    recipe's coffee. Two queries, with ``version.recipe`` at hand."""
    if version.brewer_id is None or version.dose_g is None:
        return Known(None, _("Choose a brewer and a dose first: beds differ by them."))
    live = Slot.objects.live().filter(board__cafe=cafe, card__recipe=version.recipe_id)
    on_board = set(live.values_list("setting__grinder", "setting__grind_setting"))
    same_bed = BedFit.objects.filter(
        cafe=cafe,
        coffee=version.recipe.coffee_id,
        paper=version.paper_id,
        brewer=version.brewer_id,
        dose_g=whole_grams(version.dose_g),
    )
    same_bed = same_bed.exclude(burrs_touched_since("newest_brew_at"))
    row = _best(list(same_bed.select_related("grinder")), on_board)
    if row is None:
        missing = _("Not enough brews yet: %(count)d at one grind make a forecast.")
        return Known(None, missing % {"count": drawdown.BREWS_FOR_A_FIT})
    return Known(row.fit(), _words(row, on_board))


def _best(newest_first: Sequence[BedFit], on_board: set[Grind]) -> BedFit | None:
    def rank(row: BedFit) -> tuple[bool, bool]:
        return row.fit().fitted, _grind(row) in on_board

    return max(newest_first, key=rank, default=None)  # of equals the first


def _grind(row: BedFit) -> Grind:
    return row.grinder_id, row.grind_setting


def _words(row: BedFit, on_board: set[Grind]) -> str:
    fit = row.fit()
    words = {"setting": row.grind_setting, "grinder": row.grinder}
    if needed := fit.brews_needed:
        missing = ngettext(
            "Not enough brews yet: %(count)d more at %(setting)s on %(grinder)s makes a forecast.",
            "Not enough brews yet: %(count)d more at %(setting)s on %(grinder)s make a forecast.",
            needed,
        )
        return missing % (words | {"count": needed})
    by = ngettext(
        "by %(count)d brew at %(setting)s on %(grinder)s",
        "by %(count)d brews at %(setting)s on %(grinder)s",
        fit.brews,
    ) % (words | {"count": fit.brews})
    if on_board and _grind(row) not in on_board:
        return _("%(by)s, which is not the grind on the board") % {"by": by}
    return by
