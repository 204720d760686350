"""Put an invented scenario into the database: the rows that its crew would have made with the pages, in bulk.

What comes about step by step (a draft is published, a planned slot goes live and is replaced) is done in that
order here too, since the database refuses any other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, TypeVar

from django.contrib.auth.hashers import make_password
from django.db import models, transaction

from brewbar.crew.models import Cafe, Company, Membership, Role, Station, User
from calibration import beds, checking, instruments, recording
from calibration.entry import Entry
from calibration.models import (
    BandChoice,
    CheckPlan,
    CheckRun,
    Drop,
    InstrumentCheck,
    OnDuty,
    Reading,
    Refractometer,
)
from calibration.scenario import Scenario, rows
from recipes.models import (
    BarEvent,
    Board,
    BreakupPoint,
    Brewer,
    BrewWater,
    CardCode,
    Coffee,
    Grinder,
    GrinderMatch,
    Kettle,
    Paper,
    Pour,
    Recipe,
    RecipeVersion,
    RoastBatch,
    Seen,
    Server,
    Slot,
    SlotSetting,
)

Row = TypeVar("Row", bound=models.Model)

THE_EVENING_BEFORE = timedelta(hours=11)
"""When a version was written, or a board planned, that came out in the morning."""


def load(scenario: Scenario, now: datetime) -> Company:
    """Make the company of ``scenario`` with all that happened in it until ``now``."""
    with transaction.atomic():
        return _Loading(scenario, now).company


class _Loading:
    """One loading. A step finds what the steps before it made by its model and its key in the scenario."""

    def __init__(self, scenario: Scenario, now: datetime) -> None:
        self.scenario, self.now = scenario, now
        self.made: dict[type[models.Model], dict[str, Any]] = {}
        self.company = Company.objects.create(
            name=scenario.company, is_invented=True, invented_on=scenario.today
        )
        BandChoice.objects.create(company=self.company, key=scenario.published_band)
        self._crew()
        self._things()
        self._recipes()
        self._boards()
        self._checks()
        self._readings()

    def _save(self, made: dict[str, Row]) -> None:
        """Save rows of one model in one go; those behind them find them by their keys."""
        model = type(next(iter(made.values())))
        model._default_manager.bulk_create(made.values(), batch_size=500)
        self.made.setdefault(model, {}).update(made)

    def _make(self, model: type[Row], records: Iterable[Any], **own: Any) -> None:
        self._save({record.key: model(**self._columns(model, record), **own) for record in records})

    def _columns(self, model: type[models.Model], record: Any, later: Sequence[str] = ()) -> dict[str, Any]:
        """The fields that ``model`` and ``record`` have in common; a key becomes the row it stands for."""
        named = {field.name for field in fields(record)} - set(later)
        return {
            field.name: self._value(field, getattr(record, field.name))
            for field in model._meta.fields
            if field.name in named
        }

    def _value(self, field: Any, value: Any) -> Any:
        if field.is_relation and value is not None:
            return self.made[field.related_model][value]
        if isinstance(field, models.DecimalField) and value is not None:
            return _decimal(value)
        return value

    # --- who, where, and with what

    def _crew(self) -> None:
        self._make(Cafe, self.scenario.cafes, company=self.company)
        for position, station in enumerate(self.scenario.stations):
            self._make(Station, [station], position=position)
        people = self.scenario.people
        nobody_knows = make_password(None)
        self._save({who.key: User(username=who.key, name=who.name, password=nobody_knows) for who in people})
        memberships = [membership for who in people for membership in self._memberships(who)]
        Membership.objects.bulk_create(memberships)
        joined_on = {self.made[User][who.key]: who.joined_on for who in people}
        for membership in memberships:
            day = joined_on[membership.user]
            membership.started_at = datetime(day.year, day.month, day.day, 8, tzinfo=self.now.tzinfo)
        Membership.objects.bulk_update(memberships, ["started_at"])

    def _memberships(self, who: rows.Person) -> Iterator[Membership]:
        user = self.made[User][who.key]
        for cafe in (None,) if Role(who.role) is Role.OWNER else who.cafes:
            yield Membership(
                user=user,
                company=self.company,
                cafe=self.made[Cafe][cafe] if cafe else None,
                role=who.role,
                in_training=who.trainee,
            )

    def _things(self) -> None:
        scenario = self.scenario
        self._make(Coffee, scenario.coffees, company=self.company)
        self._make(RoastBatch, scenario.batches)
        self._make(Brewer, scenario.brewers, company=self.company)
        self._make(Paper, scenario.papers, company=self.company)
        self._make(Kettle, scenario.kettles)
        self._make(Grinder, scenario.grinders)
        self._make(Server, scenario.servers)
        self._make(Refractometer, scenario.refractometers)
        self._happenings()
        for cafe in self.made[Cafe].values():
            instruments.write_reach(cafe)

    def _happenings(self) -> None:
        scenario = self.scenario
        self._make(BrewWater, scenario.waters)
        self._make(BarEvent, [event for event in scenario.events if event.noted_at <= self.now])
        self._make(GrinderMatch, [match for match in scenario.matches if match.found_at <= self.now])
        measured = [point for point in scenario.breakup_points if point.measured_at <= self.now]
        self._make(BreakupPoint, measured)
        for event in self.made[BarEvent].values():
            if event.brew_water:
                event.brew_water.in_use_since = event.happened_at
        BrewWater.objects.bulk_update(self.made[BrewWater].values(), ["in_use_since"])
        made = self.made[Refractometer]
        self._save(
            {
                check.key: InstrumentCheck(
                    **self._columns(InstrumentCheck, check),
                    passed=instruments.passes(
                        made[check.refractometer], _decimal(check.expected_tds), _decimal(check.read_tds)
                    ),
                )
                for check in scenario.checks
                if check.checked_at <= self.now
            }
        )

    def _water_at(self, cafe: Cafe, at: datetime) -> BrewWater | None:
        said = [
            event
            for event in self.made[BarEvent].values()
            if event.brew_water and event.cafe == cafe and event.happened_at <= at
        ]
        newest: BarEvent | None = max(said, key=lambda event: event.happened_at, default=None)
        return newest.brew_water if newest else None

    # --- recipes and boards

    def _recipes(self) -> None:
        versions = self.scenario.versions
        first = {version.recipe: version for version in reversed(versions)}
        for recipe in self.scenario.recipes:
            by = self.made[User][first[recipe.key].published_by]
            self._make(Recipe, [recipe], company=self.company, created_by=by)
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
                **self._columns(RecipeVersion, version, later),
                based_on=earlier.get(f"{version.recipe}-v{version.number - 1}"),
                created_by=self.made[User][version.published_by],
            )
            for version in due
        }
        self._save(drafts)
        Pour.objects.bulk_create(
            Pour(version=drafts[version.key], order=order, **self._columns(Pour, pour))
            for version in due
            for order, pour in enumerate(version.pours, start=1)
        )
        for version in due:
            row = drafts[version.key]
            row.created_at = version.published_at - THE_EVENING_BEFORE
            row.published_at, row.published_by = version.published_at, row.created_by
        RecipeVersion.objects.bulk_update(drafts.values(), ["created_at", *later])

    def _boards(self) -> None:
        self._save({key: Board(cafe=cafe) for key, cafe in self.made[Cafe].items()})
        self._make(CardCode, self.scenario.cards)
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
        self._save(planned)
        settings = [
            SlotSetting(**self._columns(SlotSetting, setting))
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
            **self._columns(Slot, slot, later),
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

    # --- the shift check

    def _checks(self) -> None:
        scenario = self.scenario
        self._make(CheckPlan, scenario.check_plans)
        came = [row for row in scenario.on_duty if row.since <= self.now]
        self._make(OnDuty, came, how=OnDuty.How.SIGNED_IN)
        for run in scenario.runs:
            if run.opened_at <= self.now:
                self._make(CheckRun, [run], station=self.made[Slot][run.slot].card.station)

    # --- readings

    def _readings(self) -> None:
        readings = [reading for reading in self.scenario.readings if reading.entered_at <= self.now]
        entries: dict[str, Entry] = {}
        for correcting in (False, True):
            due = [reading for reading in readings if bool(reading.corrects) is correcting]
            entries |= {reading.key: self._entry(reading) for reading in due}
            self._save({reading.key: self._reading(reading, entries[reading.key]) for reading in due})
        made = self.made[Reading]
        drops = [drop for key, entry in entries.items() for drop in recording.drops(entry, made[key])]
        Drop.objects.bulk_create(drops, batch_size=1000)
        beds.refit_all(Reading.objects.filter(company=self.company))
        self._seen(made.values())

    def _seen(self, readings: Iterable[Reading]) -> None:
        """Who has brewed a version knows what changed with it."""
        first: dict[tuple[int, int], datetime] = {}
        for reading in sorted(readings, key=lambda reading: reading.entered_at):
            first.setdefault((reading.slot_id, reading.barista_id), reading.entered_at)
        Seen.objects.bulk_create(
            (Seen(slot_id=slot, user_id=user, seen_at=at) for (slot, user), at in first.items()),
            batch_size=500,
        )

    def _entry(self, reading: rows.Reading) -> Entry:
        slot = self.made[Slot][reading.slot]
        server = self.made[Server][reading.server]
        weighed = reading.beverage_g is not None
        entry = Entry(
            uuid=reading.uuid,
            slot=slot,
            barista=self.made[User][reading.barista],
            kind=reading.kind,
            drops=tuple(_decimal(drop) for drop in reading.drops_tds),
            brew_time_s=reading.brew_time_s,
            beverage_source=Reading.Beverage.SERVER if weighed else Reading.Beverage.ESTIMATED,
            dose_g=_decimal(reading.dose_g),
            water_g=_decimal(reading.water_g),
            roast_batch=self.made[RoastBatch][reading.roast_batch],
            grinder=self.made[Grinder][reading.grinder],
            grind_setting=reading.grind_setting,
            kettle=slot.kettle,
            refractometer=self.made[Refractometer][reading.refractometer],
            weight_g=server.tare_g + _decimal(reading.beverage_g) if reading.beverage_g is not None else None,
            server=server if weighed else None,
            tare_g=server.tare_g if weighed else None,
            bypass_g=slot.version.bypass_g,
            brewed_at=reading.brewed_at,
            sample_temperature_C=_decimal(reading.sample_temperature_C),
            taste=reading.taste,
            corrects=self.made[Reading][reading.corrects] if reading.corrects else None,
        )
        if checking.asks_about_rinse_water(entry):
            # They thought that there was none; whoever was wrong has had the reading voided.
            entry = replace(entry, rinse_left_in=False)
        return entry

    def _reading(self, reading: rows.Reading, entry: Entry) -> Reading:
        if problems := checking.problems(entry, reading.entered_at):
            raise recording.Impossible(problems)
        by = self.made[User][reading.entered_by]
        row = recording.made(entry, by, reading.entered_at, self._water_at(entry.cafe, reading.brewed_at))
        row.attempt, row.was_served = reading.attempt, reading.was_served
        if reading.void:
            row.voided_at, row.void_reason = reading.void.at, reading.void.why
            row.voided_by = self.made[User][reading.void.by]
        return row


def _decimal(number: float) -> Decimal:
    return Decimal(str(number))
