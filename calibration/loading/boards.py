"""The company's recipes, version by version, and what stood on its boards."""

from __future__ import annotations

from collections.abc import Sequence

from brewbar.crew.models import Cafe, User
from calibration.loading.made import THE_EVENING_BEFORE, Made
from calibration.scenario import rows
from recipes.models import (
    Board,
    CafeTarget,
    CardCode,
    GrindNote,
    Pour,
    Recipe,
    RecipeVersion,
    Slot,
    SlotSetting,
)


class Boards(Made):
    def boards(self) -> None:
        self._recipes()
        self.make(GrindNote, self.scenario.grind_notes)
        self.make(CafeTarget, self.scenario.cafe_targets)
        self._boards()

    def _recipes(self) -> None:
        versions = self.scenario.versions
        first = {version.recipe: version for version in reversed(versions)}
        for recipe in self.scenario.recipes:
            by = self.made[User][first[recipe.key].published_by]
            self.make(Recipe, [recipe], company=self.company, created_by=by)
        made = self.made[Recipe]
        for key, row in made.items():
            row.created_at = first[key].published_at - THE_EVENING_BEFORE
        Recipe.objects.bulk_update(made.values(), ["created_at"])
        # A recipe has one draft at a time.
        for number in sorted({version.number for version in versions}):
            self._publish_versions([version for version in versions if version.number == number])

    def _publish_versions(self, due: list[rows.RecipeVersion]) -> None:
        earlier, later = self.made.get(RecipeVersion, {}), ("published_at", "published_by")
        drafts = {
            version.key: RecipeVersion(
                **self.columns(RecipeVersion, version, later),
                based_on=earlier.get(f"{version.recipe}-v{version.number - 1}"),
                created_by=self.made[User][version.published_by],
            )
            for version in due
        }
        self.save(drafts)
        Pour.objects.bulk_create(
            Pour(version=drafts[version.key], order=order, **self.columns(Pour, pour))
            for version in due
            for order, pour in enumerate(version.pours, start=1)
        )
        for version in due:
            row = drafts[version.key]
            row.created_at = version.published_at - THE_EVENING_BEFORE
            row.published_at, row.published_by = version.published_at, row.created_by
        RecipeVersion.objects.bulk_update(drafts.values(), ["created_at", *later])

    def _boards(self) -> None:
        self.save({key: Board(cafe=cafe) for key, cafe in self.made[Cafe].items()})
        self.make(CardCode, self.scenario.cards)
        waiting = list(self.scenario.slots)
        while waiting:
            # A card has one planned slot at a time: the oldest of each, then the next.
            due = list({slot.card: slot for slot in reversed(waiting)}.values())
            waiting = [slot for slot in waiting if slot not in due]
            self._publish_slots(due)
        for board in self.made[Board].values():
            self._sum_up(board)

    def _publish_slots(self, due: list[rows.Slot]) -> None:
        later = ("published_at", "published_by", "withdrawn_at", "withdrawn_why")
        planned = {slot.key: self._planned(slot, later) for slot in due}
        self.save(planned)
        settings = [
            SlotSetting(**self.columns(SlotSetting, setting))
            for setting in sorted(self.scenario.settings, key=lambda setting: setting.set_at)
            if setting.slot in planned and setting.set_at <= self.now
        ]
        SlotSetting.objects.bulk_create(settings)
        newest = {setting.slot: setting for setting in settings}
        for slot in due:
            row = planned[slot.key]
            row.setting = newest[row]
            row.planned_at = slot.published_at - THE_EVENING_BEFORE
            row.published_at, row.published_by = slot.published_at, row.planned_by
            if slot.withdrawn_at:
                row.withdrawn_at, row.withdrawn_why = slot.withdrawn_at, slot.withdrawn_why
                row.withdrawn_by = row.planned_by
        Slot.objects.bulk_update(planned.values(), ["setting", "planned_at", "withdrawn_by", *later])

    def _planned(self, slot: rows.Slot, later: Sequence[str]) -> Slot:
        cafe = self.made[CardCode][slot.card].station.cafe
        return Slot(
            **self.columns(Slot, slot, later),
            board=next(board for board in self.made[Board].values() if board.cafe == cafe),
            planned_by=self.made[User][slot.published_by],
        )

    def _sum_up(self, board: Board) -> None:
        slots = Slot.objects.filter(board=board).order_by("published_at")
        newest = slots.last()
        assert newest is not None, "every café of the scenario has a board"
        board.published_at, board.published_by = newest.published_at, newest.published_by
        # one change for every publishing and for every setting after a slot's first
        board.revision = (
            slots.values("published_at").distinct().count()
            + SlotSetting.objects.filter(slot__in=slots).count()
            - slots.count()
        )
        board.save()
