"""A café's own grind note and own targets for a recipe that all share: read, set, put in place of another, ended.

Every write takes the turn of the café's board: what stands there is looked at anew by whoever has it open.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, Change, User
from brewbar.crew.record import note
from brewbar.units import AS_KEPT, written_as
from recipes.aims import Aims, OwnAims, in_words
from recipes.authoring import findings_at
from recipes.brewing.plan import Finding, PourPlan, Severity, review
from recipes.models import Board, CafeTarget, GrindNote, Recipe, RecipeVersion
from recipes.models.at_cafe import QUANTITIES, OwnOfCafe
from recipes.turns import Moved, Refused, board_of, locked, show

AIMED_AT = tuple(name for pair in QUANTITIES for name in pair)


class NotPossible(Refused):
    """The targets cannot be met; ``fields`` says beside which why."""

    def __init__(self, fields: dict[str, str]) -> None:
        super().__init__(" ".join(fields.values()))
        self.fields = fields


# --- what holds


@dataclass(frozen=True)
class Own:
    """What a café has of its own for one version as things stand now; grind: None where it has no note."""

    aims: Aims
    grind: GrindNote | None

    @property
    def target(self) -> CafeTarget | None:
        return self.aims.own

    @property
    def is_there(self) -> bool:
        return self.target is not None or self.grind is not None


def own_of(cafe: Cafe, versions: Iterable[RecipeVersion]) -> dict[int, Own]:
    """By the version's pk. Two queries, however many."""
    rows = {version.pk: version for version in versions}
    recipes = {version.recipe_id for version in rows.values()}
    if not recipes:
        return {}
    aims = OwnAims.of([cafe], recipes)
    notes = {row.recipe_id: row for row in _standing(GrindNote, [cafe], recipes)}
    return {
        pk: Own(aims.standing(cafe.pk, version), notes.get(version.recipe_id)) for pk, version in rows.items()
    }


def own(cafe: Cafe, version: RecipeVersion) -> Own:
    return own_of(cafe, [version])[version.pk]


def standing_of(cafe: Cafe, recipe: Recipe) -> tuple[GrindNote | None, CafeTarget | None]:
    """What stands, whichever version is brewed."""
    notes, targets = (
        {row.cafe_id: row for row in _standing(kind, [cafe], [recipe])} for kind in (GrindNote, CafeTarget)
    )
    return notes.get(cafe.pk), targets.get(cafe.pk)


def _standing(kind: type[Any], cafes: Iterable[Cafe], recipes: Iterable[Any]) -> Any:
    rows = kind.objects.standing().filter(cafe__in=list(cafes), recipe__in=list(recipes))
    return rows.select_related("set_by")


@dataclass(frozen=True)
class Past:
    """All that a café ever had of its own for some recipes: whether it says something else now than it did."""

    cafe: int
    targets: OwnAims
    notes: tuple[GrindNote, ...]

    @classmethod
    def of(cls, cafe: Cafe, recipes: Iterable[int]) -> Past:
        """Two queries."""
        recipes = list(recipes)
        notes = GrindNote.objects.filter(cafe=cafe, recipe__in=recipes)
        return cls(cafe.pk, OwnAims.of([cafe], recipes), tuple(notes))

    def aims_moved(self, version: RecipeVersion, since: datetime) -> bool:
        then, now = self.targets.at(self.cafe, version, since), self.targets.standing(self.cafe, version)
        return then.numbers != now.numbers

    def grind_note_moved(self, version: RecipeVersion, since: datetime) -> bool:
        of_recipe = [row for row in self.notes if row.recipe_id == version.recipe_id]
        then = [row.says for row in of_recipe if row.held_at(since)]
        return then != [row.says for row in of_recipe if row.ended_at is None]


@dataclass(frozen=True)
class AtCafe:
    """One café beside the others, for who sets up all of them."""

    cafe: Cafe
    grind: GrindNote | None
    target: CafeTarget | None

    @property
    def said(self) -> str:
        return in_words(self.target) if self.target else ""


def at_each(cafes: Iterable[Cafe], recipe: Recipe) -> list[AtCafe]:
    """What each of ``cafes`` has of its own for the recipe. Two queries."""
    cafes = list(cafes)
    notes, targets = (
        {row.cafe_id: row for row in _standing(kind, cafes, [recipe])} for kind in (GrindNote, CafeTarget)
    )
    return [AtCafe(cafe, notes.get(cafe.pk), targets.get(cafe.pk)) for cafe in cafes]


@dataclass(frozen=True)
class Line:
    """One line of the history. kind: "grind" or "target"; says: what held from ``row.set_at`` on."""

    kind: str
    row: OwnOfCafe
    says: str
    why: str


def history_of(cafe: Cafe, recipe: Recipe) -> list[Line]:
    """All that was ever set, newest first. Two queries."""
    of_recipe = {"cafe": cafe, "recipe": recipe}
    notes = GrindNote.objects.filter(**of_recipe).select_related("set_by", "ended_by")
    targets = CafeTarget.objects.filter(**of_recipe).select_related("set_by", "ended_by")
    lines = [Line("grind", row, row.says, "") for row in notes]
    lines += [Line("target", row, in_words(row), row.why) for row in targets]
    return sorted(lines, key=lambda line: line.row.set_at, reverse=True)


# --- the grind note


def set_grind(cafe: Cafe, recipe: Recipe, says: str, by: User, now: datetime, seen: int | None) -> None:
    """Write down how the recipe is ground here, in place of the note ``seen``. Raises Moved if that has changed."""
    with locked(board_of(cafe)) as board:
        old = _seen(GrindNote, cafe, recipe, seen)
        if old is not None and old.says == says:
            return
        at = _end(old, by, now)
        GrindNote.objects.create(cafe=cafe, recipe=recipe, says=says, set_at=at, set_by=by)
        _told(board, recipe, _("grind note written"), by, _grind(old), {_("grind here"): says})


def take_back_grind(cafe: Cafe, recipe: Recipe, by: User, now: datetime, seen: int | None) -> None:
    """Have no note stand any more. Raises Moved if another stands than the one ``seen``, Refused if none does."""
    with locked(board_of(cafe)) as board:
        old = _seen(GrindNote, cafe, recipe, seen)
        if old is None:
            raise Refused(_("No grind note stands here, so there is none to take back."))
        _end(old, by, now)
        _told(board, recipe, _("grind note taken back"), by, _grind(old), {})


def _grind(row: GrindNote | None) -> dict[str, str]:
    return {_("grind here"): row.says} if row else {}


# --- the targets


def set_target(
    cafe: Cafe,
    recipe: Recipe,
    wanted: Mapping[str, Any],
    why: str,
    by: User,
    now: datetime,
    seen: int | None,
) -> None:
    """Aim at ``wanted`` here because of ``why``, in place of the target ``seen``; from now on, and never before.

    wanted: the quantities under their names, None where the version's own hold. Raises NotPossible where they
    cannot be met together, Moved if another target stands than the one that was in sight.
    """
    values = {name: wanted.get(name) for name in AIMED_AT}
    new = CafeTarget(cafe=cafe, recipe=recipe, set_by=by, why=why, **values)
    with locked(board_of(cafe)) as board:
        old = _seen(CafeTarget, cafe, recipe, seen)
        if old is not None and old.why == why and all(getattr(old, n) == v for n, v in values.items()):
            return
        if trouble := trouble_with(new):
            raise NotPossible(trouble)
        new.set_at = _end(old, by, now)
        new.save(force_insert=True)
        _told(board, recipe, _("own target set"), by, _target(old), _target(new), why)


def end_target(cafe: Cafe, recipe: Recipe, by: User, now: datetime, seen: int | None) -> None:
    """Aim at what the versions say again. Raises Moved as `set_target` does, Refused if no own target stands."""
    with locked(board_of(cafe)) as board:
        old = _seen(CafeTarget, cafe, recipe, seen)
        if old is None:
            raise Refused(_("No target of this café’s own stands, so there is none to end."))
        _end(old, by, now)
        _told(board, recipe, _("own target ended"), by, _target(old), {})


@written_as(AS_KEPT)
def _target(row: CafeTarget | None) -> dict[str, str]:
    return {_("own target"): in_words(row)} if row else {}


def trouble_with(target: CafeTarget) -> dict[str, str]:
    """By field, why ``target`` cannot be met with what is brewed here: only what it brings with it."""
    found: dict[str, str] = {}
    theirs = [name for name in AIMED_AT if getattr(target, name) is not None]
    for version in brewed_at(target.cafe, target.recipe):
        plan = version.plan()
        known = {(finding.code, finding.field) for finding in _errors(plan)}
        for finding in _errors(Aims.of(version, target).onto(plan)):
            if finding.field not in AIMED_AT or (finding.code, finding.field) in known:
                continue
            field = finding.field if finding.field in theirs else theirs[0]
            words = {"number": version.number, "what": finding.what, "mend": finding.mend}
            found.setdefault(field, _("With version %(number)d: %(what)s %(mend)s") % words)
    return found


def _errors(plan: PourPlan) -> list[Finding]:
    return [finding for finding in review(plan) if finding.severity is Severity.ERROR]


def brewed_at(cafe: Cafe, recipe: Recipe) -> list[RecipeVersion]:
    """The versions that stand on this café's board or in its plan; else the newest published, else the newest."""
    versions = RecipeVersion.objects.filter(recipe=recipe).prefetch_related("pours").order_by("-number")
    here = versions.filter(slots__board__cafe=cafe, slots__withdrawn_at=None).distinct()
    return list(here) or list(versions.published()[:1]) or list(versions[:1])


def doubts_of(cafe: Cafe, version: RecipeVersion) -> list[Finding]:
    """What is doubtful about what is aimed at here: a tolerance finer than the instrument tells, say."""
    plan = own(cafe, version).aims.onto(version.plan())
    return [finding for finding in findings_at(plan, None, cafe) if finding.field in AIMED_AT]


# --- in turn


def _seen(kind: type[Any], cafe: Cafe, recipe: Recipe, seen: int | None) -> Any:
    row = kind.objects.standing().filter(cafe=cafe, recipe=recipe).first()
    if (row.pk if row else None) != seen:
        raise Moved(_("Somebody changed this since you opened it. What stands now is shown above."))
    return row


def _end(row: OwnOfCafe | None, by: User, now: datetime) -> datetime:
    """End what stands, if anything; the moment from which something else may hold."""
    if row is None:
        return now
    # Who waited long for the lock may carry an older time than the one who went before.
    row.ended_at, row.ended_by = max(now, row.set_at), by
    row.save(update_fields=["ended_at", "ended_by"])
    return row.ended_at


def _told(
    board: Board,
    recipe: Recipe,
    what: str,
    by: User,
    before: dict[str, str],
    after: dict[str, str],
    why: str = "",
) -> None:
    note(
        company=board.cafe.company,
        cafe=board.cafe,
        about=Change.About.RECIPE,
        what=what,
        subject=recipe,
        by=by,
        before=before,
        after=after,
        why=why,
    )
    if board.slots.live().filter(card__recipe=recipe).exists():
        show(board)
