"""Whether a slot is fit for the board where it would stand: what is wrong with it, and what is doubtful."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext as _

from recipes.aims import Aims, standing
from recipes.authoring import findings_at, what_blocks
from recipes.brewing.plan import Finding, Severity
from recipes.models import RecipeVersion, RoastBatch, Slot
from recipes.turns import Refused


class NotReady(Refused):
    """Publishing was refused because of planned slots; ``errors`` says what is wrong with each."""

    def __init__(self, errors: dict[Slot, tuple[Finding, ...]]) -> None:
        super().__init__(_("Nothing was published: some of what is planned is not ready."))
        self.errors = errors

    @property
    def details(self) -> str:
        return " ".join(f"{slot}: {finding.what}" for slot, found in self.errors.items() for finding in found)


def findings(slot: Slot, aims: Aims | None = None) -> tuple[Finding, ...]:
    """All that is wrong or doubtful with a planned slot where it would stand; errors first.

    aims: what its café aims at with it, where a list has read them for all its rows; without it they cost a query.
    """
    plan = (aims or standing(slot.board.cafe, slot.version)).onto(slot.version.plan())
    own = (Finding(Severity.ERROR, "board", "plan", None, what, mend) for what, mend in _out_of_place(slot))
    return (*own, *findings_at(plan, slot.kettle, slot.board.cafe, slot.version.brewer))


def _out_of_place(slot: Slot) -> Iterator[tuple[str, str]]:
    """(what, mend) of whatever changed under a slot since it was planned."""
    version, setting = slot.version, slot.setting
    assert setting is not None, "a slot is planned together with its first setting"
    batch = setting.roast_batch
    yield from ((what, "") for what in what_blocks(version, ()))
    if batch.coffee_id != version.recipe.coffee_id:
        yield other_coffee(batch, version), _("Choose a batch of its coffee.")
    if batch.retired_at or batch.used_up_on:
        yield _("The batch %(label)s is used up.") % {"label": batch.label}, _("Choose one that is in use.")
    for row in (version, version.recipe.coffee, slot.card.station, slot.kettle, setting.grinder):
        if row.retired_at:
            yield _("%(name)s was taken out of use.") % {"name": row}, _("Bring it back, or plan another.")


def errors(slot: Slot, aims: Aims | None = None) -> tuple[Finding, ...]:
    """What keeps a planned slot off the board."""
    return tuple(finding for finding in findings(slot, aims) if finding.severity is Severity.ERROR)


def other_coffee(batch: RoastBatch, version: RecipeVersion) -> str:
    names = {"label": batch.label, "theirs": batch.coffee.name, "ours": version.recipe.coffee.name}
    return _("The batch %(label)s is %(theirs)s; this recipe is for %(ours)s.") % names
