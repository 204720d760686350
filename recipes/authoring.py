"""Writing recipes: a revision, saving what was typed, discarding it, and what keeps a version off a board.

A recipe has one draft at a time, which any head barista of the company may go on with. Once published it is
frozen; from then on changing means revising, which says what changed and why. How a recipe begins stands in
`starting`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, Place
from brewbar.crew.models import Cafe, Change, User
from brewbar.crew.record import note
from recipes.brewing.plan import Conditions, Finding, PourPlan, Severity, review
from recipes.models import Brewer, InstrumentReach, Kettle, Pour, Recipe, RecipeVersion
from recipes.version_words import label, told

COPIED = (
    "brewer",
    "paper",
    "kettle",
    "reference_grind",
    "dose_g",
    "water_g",
    "at_the_boil",
    "water_temperature_C",
    "rinse_paper",
    "bypass_g",
    "ice_g",
    "tds_target",
    "tds_tolerance",
    "ey_target",
    "ey_tolerance",
    "brew_time_s",
    "brew_time_tolerance_s",
    "intended_cup",
    "note",
)
"""What a revision takes over from the version it is based on."""
POUR_COPIED = (
    "order",
    "starts_at_s",
    "to_g",
    "pattern",
    "spout_height_mm",
    "flow_g_s",
    "temperature_C",
    "after",
    "note",
)
WRITTEN = ("what_changed", "why", *COPIED)
"""What the author of a draft may change."""


class NotDone(Exception):
    """Why a recipe could not be written, in a sentence for the author."""


class NameTaken(NotDone):
    """The company already has a recipe of this name."""


class NothingToRevise(NotDone):
    """No version of the recipe was ever published, so there is nothing to base a revision on."""


class Retired(NotDone):
    """The recipe is out of use."""


class DraftExists(NotDone):
    """The recipe already has a draft: ``draft``."""

    def __init__(self, draft: RecipeVersion) -> None:
        self.draft = draft
        super().__init__(
            _("Version %(number)d is already a draft of this recipe.") % {"number": draft.number}
        )


class Frozen(NotDone):
    """The version was published, at ``at`` by ``by``, and cannot change any more."""

    def __init__(self, version: RecipeVersion) -> None:
        self.by, self.at = version.published_by, version.published_at
        super().__init__(
            _("Version %(number)d is published, so it is frozen. Revise the recipe to change it.")
            % {"number": version.number}
        )


class Conflict(NotDone):
    """Somebody else saved the draft since it was opened: ``by``, at ``at``, as ``revision``."""

    def __init__(self, version: RecipeVersion) -> None:
        self.by: User | None = version.edited_by
        self.at: datetime | None = version.edited_at
        self.revision: int = version.revision
        super().__init__(_("This draft was saved by somebody else since you opened it."))


class NotYours(NotDone):
    """A draft is discarded by the one who began it, and only while no board has ever planned it."""


def revise(member: Member, recipe: Recipe, what_changed: str = "", why: str = "") -> RecipeVersion:
    """A new draft that begins as a copy of the newest published version.

    Raises DraftExists, NothingToRevise, Retired.
    """
    if recipe.retired_at:
        raise Retired(_("%(recipe)s is retired. Bring it back first.") % {"recipe": recipe.name})
    try:
        with transaction.atomic():
            return _copy_of_newest(member, recipe, what_changed, why)
    except IntegrityError as error:
        draft = recipe.versions.drafts().first()
        if draft is None:
            raise
        raise DraftExists(draft) from error


def _copy_of_newest(member: Member, recipe: Recipe, what_changed: str, why: str) -> RecipeVersion:
    versions = list(recipe.versions.order_by("-number"))
    for version in versions:
        if version.is_draft:
            raise DraftExists(version)
    if not versions:
        raise NothingToRevise(_("This recipe has no published version to revise."))
    base = versions[0]
    draft = RecipeVersion.objects.create(
        recipe=recipe,
        number=base.number + 1,
        based_on=base,
        what_changed=what_changed,
        why=why,
        created_by=member.user,
        **{name: getattr(base, name) for name in COPIED},
    )
    Pour.objects.bulk_create(
        Pour(version=draft, **{name: getattr(pour, name) for name in POUR_COPIED})
        for pour in base.pours.all()
    )
    begun = _("version %(number)d begun, based on version %(base)d")
    _noted(member, draft, begun % {"number": draft.number, "base": base.number}, after=_reasons(draft))
    return draft


def save_draft(member: Member, version: RecipeVersion, pours: Sequence[Pour], seen: int) -> None:
    """Write a draft as a whole: ``version`` with its new values and its ``pours``, in their order.

    ``seen`` is the revision that the author had before them. Raises Conflict when it is no longer the newest,
    Frozen when the version was published meanwhile; nothing is written then.
    """
    with transaction.atomic():
        before = _written_in(member, version.pk)
        # One statement both asks and writes, so that of two people saving at once exactly one gets through.
        saved = RecipeVersion.objects.filter(pk=version.pk, published_at=None, revision=seen).update(
            revision=F("revision") + 1,
            edited_at=timezone.now(),
            edited_by=member.user,
            **{name: getattr(version, name) for name in WRITTEN},
        )
        if not saved:
            newest = RecipeVersion.objects.select_related("edited_by", "published_by").get(pk=version.pk)
            raise Conflict(newest) if newest.is_draft else Frozen(newest)
        version.pours.all().delete()
        for order, pour in enumerate(pours, start=1):
            pour.version, pour.order = version, order
        Pour.objects.bulk_create(pours)
        after = _words(member, version, pours)
        if before != after:
            saved_as = _("draft of version %(number)d saved") % {"number": version.number}
            _noted(member, version, saved_as, before, after)


def _written_in(member: Member, pk: int) -> dict[str, str]:
    """What stands in the database of a version, in words."""
    row = RecipeVersion.objects.select_related("brewer", "paper", "kettle").get(pk=pk)
    return _words(member, row, row.pours.all())


def _words(member: Member, version: RecipeVersion, pours: Iterable[Pour]) -> dict[str, str]:
    return told(version, WRITTEN, pours) | {
        label(RecipeVersion, "kettle"): kettle_told(version.kettle, member)
    }


def _reasons(version: RecipeVersion) -> dict[str, str]:
    return told(version, ("what_changed", "why"), ())


def _noted(
    member: Member,
    version: RecipeVersion,
    what: str,
    before: dict[str, str] | None = None,
    after: dict[str, str] | None = None,
) -> None:
    """A kettle belongs to its café, so only that one's record names it; all else every café may read."""
    before, after, kettle = before or {}, after or {}, label(RecipeVersion, "kettle")
    moved = before.get(kettle, "") != after.get(kettle, "")
    for cafe, is_of_cafe in ((None, False), (member.cafe, True))[: 1 + moved]:
        note(
            company=member.company,
            cafe=cafe,
            about=Change.About.RECIPE,
            what=what,
            subject=version.recipe,
            by=member.user,
            before={name: value for name, value in before.items() if (name == kettle) is is_of_cafe},
            after={name: value for name, value in after.items() if (name == kettle) is is_of_cafe},
        )


def may_discard(member: Member, version: RecipeVersion) -> bool:
    """Whether ``member`` may take this draft back: theirs, and on no board, not even planned."""
    if not version.is_draft or version.created_by_id != member.user.pk or version.slots.exists():
        return False
    # A first draft takes its recipe with it, and a recipe whose code was once printed stays.
    return version.number > 1 or not version.recipe.codes.exists()


def discard(member: Member, version: RecipeVersion) -> None:
    """Delete a draft and its pours; the recipe too, if this was all it had.

    Raises NotYours.
    """
    with transaction.atomic():
        if not may_discard(member, RecipeVersion.objects.get(pk=version.pk)):
            raise NotYours(
                _("A draft is discarded by the one who began it, and only before it is on a board.")
            )
        recipe, what = version.recipe, _("draft of version %(number)d discarded")
        _noted(member, version, what % {"number": version.number}, before=_written_in(member, version.pk))
        version.delete()
        if not recipe.versions.exists():
            recipe.delete()


def kettle_here(kettle: Kettle | None, place: Place) -> Kettle | None:
    """The kettle that a version is written for, unless it stands in a café that ``place`` knows nothing of."""
    return kettle if kettle and (place.is_owner or kettle.cafe_id == place.cafe.pk) else None


def kettle_told(kettle: Kettle | None, place: Place) -> str:
    """Its name, or that it is another café's; blank where a version names none."""
    if kettle is None:
        return ""
    return str(kettle_here(kettle, place) or _("one of another café"))


def findings_at(
    plan: PourPlan, kettle: Kettle | None, cafe: Cafe, brewer: Brewer | None = None
) -> tuple[Finding, ...]:
    """The review of a plan as it would be brewed in ``cafe`` with ``kettle`` and ``brewer``; errors first."""
    coarsest = InstrumentReach.objects.filter(cafe=cafe).order_by("-relative_U_tds").first()
    return review(
        plan,
        kettle.limits() if kettle else None,
        brewer.limits() if brewer else None,
        Conditions(cafe.altitude_m),
        coarsest.limits() if coarsest else None,
    )


def what_blocks(version: RecipeVersion, findings: Iterable[Finding]) -> list[str]:
    """Why ``version`` cannot be put on a board yet, in sentences; empty when it can."""
    blocks = [f"{finding.what} {finding.mend}" for finding in findings if finding.severity is Severity.ERROR]
    if version.based_on_id and not (version.what_changed and version.why):
        blocks.append(_("Say what changed and why: this version is based on an earlier one."))
    if version.recipe.retired_at:
        blocks.append(_("The recipe is retired. Bring it back first."))
    return blocks
