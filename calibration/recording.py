"""Save a reading, correct a typo in one, void one.

This is the one way a reading comes to be, whoever sends it: `record` checks, asks, computes and saves.
Nothing is edited in place; a correction is a new reading that names the old one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from math import ceil
from types import MappingProxyType
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from brewbar import units
from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Key, User
from calibration import attempts, beds, check_plans, checking, duty, noting, runs, signals
from calibration.entry import FEWEST_DROPS, MINUTES_TO_CORRECT, Entry
from calibration.models import CheckPlan, CheckRun, Drop, Reading
from calibration.models.readings import ReadingRows
from calibration.statistics import uncertainty
from calibration.statistics.drops import DropVerdict, settle_drops
from recipes import happenings
from recipes.aims import Aims, OwnAims
from recipes.brewing import extraction
from recipes.models import BrewWater


class Impossible(Exception):
    """The entry says what cannot be; ``problems`` says where."""

    def __init__(self, problems: list[checking.Problem]) -> None:
        super().__init__("; ".join(problem.says for problem in problems))
        self.problems = problems


@dataclass(frozen=True)
class Question:
    """All that is asked before an entry is saved, at once.

    doubts: what is improbable. rinse_water: whether to ask if rinse water was left in the server.
    more_drops: why one more drop is wanted; "" if none is.
    """

    doubts: list[checking.Doubt]
    rinse_water: bool
    more_drops: str

    @property
    def keys(self) -> str:
        """What 'yes, really' answers: see ``Entry.sure``."""
        return " ".join(doubt.key for doubt in self.doubts)

    def __bool__(self) -> bool:
        return bool(self.doubts or self.rinse_water or self.more_drops)


class Unsure(Exception):
    """The entry can be saved once ``question`` is answered."""

    def __init__(self, question: Question) -> None:
        super().__init__("A question comes first.")
        self.question = question


class Taken(Exception):
    """The UUID stands for another reading of this company already: ``reading``."""

    def __init__(self, reading: Reading) -> None:
        super().__init__("This form was saved before, with something else in it.")
        self.reading = reading


class NotStanding(Exception):
    """The reading was voided, or corrected by somebody, meanwhile. Its text is the sentence to show."""


@dataclass(frozen=True)
class Recorded:
    """A saved reading; ``is_new`` is False when this very entry had been saved before."""

    reading: Reading
    is_new: bool


def record(
    entry: Entry, by: User, now: datetime, run: CheckRun | None = None, key: Key | None = None
) -> Recorded:
    """Save ``entry``, entered by ``by``, with all that follows from it; a ``run`` that it is of ends with it.

    key: with which another program sent it.

    The same entry again gives the reading that was saved the first time. Raises Impossible, Unsure or Taken;
    then nothing was saved. For a correction also NotStanding.
    """
    try:
        with transaction.atomic():
            # Two brews of one barista take turns, so that one of them is the first of the day.
            User.objects.select_for_update(no_key=True).get(pk=entry.barista.pk)
            return _saved_before(entry) or Recorded(_save(entry, by, now, run, key), is_new=True)
    except IntegrityError:
        # The same UUID came in at the same moment for somebody else's brew, and won.
        saved = _saved_before(entry)
        if saved is None:
            raise
        return saved


def _saved_before(entry: Entry) -> Recorded | None:
    saved = Reading.objects.filter(company=entry.cafe.company_id, uuid=entry.uuid).first()
    if saved is None:
        return None
    if saved.fingerprint != entry.fingerprint:
        raise Taken(saved)
    return Recorded(saved, is_new=False)


def _save(entry: Entry, by: User, now: datetime, run: CheckRun | None, key: Key | None) -> Reading:
    if entry.corrects is not None:
        _still_stands(entry.corrects)
    if problems := checking.problems(entry, now):
        raise Impossible(problems)
    if question := ask(entry, now):
        raise Unsure(question)
    reading = made(entry, by, now, _brew_water(entry, now))
    if key is not None:
        reading.source, reading.key = Reading.Source.API, key
    # Before the attempt: whoever is drawn to brew twice is drawn as they come on.
    duty.brewed(reading.cafe, reading.barista, reading.business_day, now)
    reading.attempt = _attempt(reading, run)
    reading.save(force_insert=True)
    Drop.objects.bulk_create(drops(entry, reading))
    if run is not None:
        runs.became(run, reading, now)
    if entry.corrects is not None:
        noting.corrected(entry.corrects, reading, by)
    # Both at once, since they are locked in one order
    beds.refit(reading, *filter(None, [entry.corrects]))
    signals.reading_changed(reading, *filter(None, [entry.corrects]))
    return reading


def _brew_water(entry: Entry, now: datetime) -> BrewWater | None:
    """What the bar brewed with then; a correction of anything but the moment leaves that as it was known."""
    old, brewed_at = entry.corrects, entry.brewed_at or now
    if old is not None and old.brewed_at == brewed_at:
        return old.brew_water
    return happenings.water_at(entry.cafe, brewed_at)


def made(entry: Entry, by: User, now: datetime, brew_water: BrewWater | None) -> Reading:
    """The reading that ``entry`` becomes, complete but for its attempt, and not saved."""
    brewed_at = entry.brewed_at or now
    return Reading(
        fingerprint=entry.fingerprint,
        brewed_at=brewed_at,
        business_day=entry.cafe.business_day(brewed_at),
        brew_water=brew_water,
        **with_what(entry, by, now),
        **cup(entry),
        **computed(entry),
    )


def with_what(entry: Entry, by: User, now: datetime) -> dict[str, Any]:
    """The columns of a Reading that say with what it was brewed, and by whom entered, under the names of its fields."""
    cafe, slot = entry.cafe, entry.slot
    return {
        "company": cafe.company,
        "cafe": cafe,
        "kind": entry.kind,
        "was_served": entry.was_served,
        "corrects": entry.corrects,
        "entered_by": by,
        "entered_at": now,
        "slot": slot,
        "station": slot.card.station,
        "version": slot.version,
        "roast_batch": entry.roast_batch,
        "grinder": entry.grinder,
        "grind_setting": entry.grind_setting,
        "kettle": entry.kettle,
        "server": entry.server if entry.beverage_source == Reading.Beverage.SERVER else None,
        "refractometer": entry.refractometer,
        "beverage_source": entry.beverage_source,
    }


def cup(entry: Entry) -> dict[str, Any]:
    """The columns that say who brewed and what was measured, which no two brews need have in common."""
    return {
        "uuid": entry.uuid,
        "barista": entry.barista,
        "dose_g": entry.dose_g,
        "water_g": entry.water_g,
        "bypass_g": entry.bypass_g,
        "ice_g": entry.ice_g,
        "rinse_left_in": entry.rinse_left_in,
        "brew_time_s": entry.brew_time_s,
        "slurry_temperature_C": entry.slurry_temperature_C,
        "taste": entry.taste,
    }


def drops(entry: Entry, reading: Reading) -> list[Drop]:
    """The drops of a saved reading, not saved themselves."""
    return [
        Drop(reading=reading, order=order, tds=tds, sample_temperature_C=entry.sample_temperature_C)
        for order, tds in enumerate(entry.drops, start=1)
    ]


@dataclass(frozen=True)
class Ground:
    """What the entries of one café are asked by: its own targets and what it asks of its crew, read once."""

    own: OwnAims
    plan: CheckPlan
    _of_versions: dict[int, Aims] = field(default_factory=dict)

    @classmethod
    def of(cls, cafe: Cafe) -> Ground:
        return cls(OwnAims.of([cafe]), check_plans.of(cafe))

    def aims(self, entry: Entry, now: datetime) -> Aims:
        cafe, version = entry.slot.board.cafe_id, entry.slot.version
        if (cafe, version.recipe_id) in self.own.rows:
            return self.own.at(cafe, version, entry.brewed_at or now)
        if version.pk not in self._of_versions:
            self._of_versions[version.pk] = Aims.of(version)
        return self._of_versions[version.pk]


def ask(entry: Entry, now: datetime, ground: Ground | None = None) -> Question:
    """What to ask about a possible entry before it is saved; ``ground`` spares the queries of many."""
    return Question(
        doubts=checking.doubts(entry, now, ground.aims(entry, now) if ground else None),
        rinse_water=checking.asks_about_rinse_water(entry),
        more_drops="" if entry.no_more_drops else _why_more_drops(entry, ground.plan if ground else None),
    )


def _why_more_drops(entry: Entry, plan: CheckPlan | None) -> str:
    """One more while the drops differ too much, or the café takes more of each check; "" if they will do."""
    settled = _settled(entry)
    if entry.written_down and settled.n < FEWEST_DROPS:
        return ""
    if settled.ask_another:
        said = {
            "n": settled.n,
            "apart": units.fixed(settled.range, 2),
            "usual": units.fixed(settled.allowed_range or 0, 2),
        }
        return _apart(entry.written_down, settled.n) % said
    if entry.written_down:
        return ""
    wanted = check_plans.drops_wanted(
        plan or check_plans.of(entry.cafe), entry.slot.card.recipe_id, entry.kind
    )
    if settled.n < wanted:
        return _("Of each check %(n)d drops are read here: one more drop of the same sample.") % {"n": wanted}
    return ""


def _apart(written_down: bool, drops: int) -> str:
    if written_down:
        # The sample is long gone.
        return _(
            "The %(n)d drops differ by more than this instrument normally does (%(apart)s %%, where %(usual)s %% "
            "is usual). Is one of them mistyped?"
        )
    if drops == 2:
        return _(
            "The two drops differ by more than this instrument normally does (%(apart)s %%, where %(usual)s %% "
            "is usual): one more drop of the same sample."
        )
    return _(
        "The %(n)d drops still differ by more than this instrument normally does (%(apart)s %%, where "
        "%(usual)s %% is usual): one more drop of the same sample."
    )


def _settled(entry: Entry) -> DropVerdict:
    instrument = entry.refractometer
    return _settled_drops(entry.drops, instrument.repeatability_tds, instrument.resolution_tds)


@lru_cache(maxsize=4096)
def _settled_drops(
    drops: tuple[Decimal, ...], repeatability_tds: Decimal, resolution_tds: Decimal
) -> DropVerdict:
    """Many brews of a spreadsheet have the same few drops."""
    return settle_drops([float(drop) for drop in drops], float(repeatability_tds), float(resolution_tds))


@lru_cache(maxsize=4096)
def _of_drops(
    drops: tuple[Decimal, ...], repeatability_tds: Decimal, resolution_tds: Decimal, accuracy_tds: Decimal
) -> Mapping[str, Any]:
    settled = _settled_drops(drops, repeatability_tds, resolution_tds)
    budget = uncertainty.tds_budget(
        settled.n, settled.sd, float(resolution_tds), accuracy_limit=float(accuracy_tds)
    )
    return MappingProxyType(
        {
            "tds": round(Decimal(repr(settled.value)), 4),
            "tds_rule": settled.rule,
            "drops_range_tds": round(Decimal(repr(settled.range)), 2),
            "drops_allowed_tds": round(Decimal(repr(settled.allowed_range or 0.0)), 2),
            "u_tds_relative": budget.u_relative,
            "u_tds_absolute": budget.u_absolute,
        }
    )


def computed(entry: Entry) -> dict[str, Any]:
    """The columns of a Reading that follow from the entry and the instrument as they are now."""
    tds_pct, instrument = _settled(entry).value, entry.refractometer
    beverage_g = entry.beverage_for(tds_pct)
    strength = _of_drops(
        entry.drops, instrument.repeatability_tds, instrument.resolution_tds, instrument.accuracy_tds
    )
    in_server = entry.beverage_source == Reading.Beverage.SERVER
    return {
        **strength,
        "beverage_g": round(Decimal(repr(beverage_g)), 1),
        "gross_g": entry.weight_g if in_server else None,
        "tare_g": entry.tare_g if in_server else None,
        "ey": extraction.percolation_yield_pct(tds_pct, beverage_g, float(entry.dose_g)),
        "u_ey_relative": _yield_u(entry, tds_pct, beverage_g, strength["u_tds_relative"]),
        "u_ey_absolute": _yield_u(entry, tds_pct, beverage_g, strength["u_tds_absolute"]),
    }


def _yield_u(entry: Entry, tds_pct: float, beverage_g: float, u_tds_pct: float) -> float:
    dose_g = float(entry.dose_g)
    if entry.is_weighed:
        return extraction.yield_budget(tds_pct, beverage_g, dose_g, u_tds_pct).u
    added = (float(entry.water_g), float(entry.bypass_g), float(entry.ice_g))
    return extraction.estimated_yield_budget(tds_pct, dose_g, *added, u_tds_pct=u_tds_pct).u


def _attempt(reading: Reading, run: CheckRun | None) -> str:
    """Which brew of the barista's day it is. Decided once, when it is saved."""
    old = reading.corrects
    if old is not None and old.kind == reading.kind and _day_key(old) == _day_key(reading):
        return old.attempt
    return attempts.of_brew(
        reading.barista,
        reading.cafe,
        reading.slot.card.recipe_id,
        reading.business_day,
        reading.kind,
        attempts.began(run) if run else None,
        old,
    )


def _day_key(reading: Reading) -> tuple[Any, ...]:
    return reading.barista_id, reading.business_day, reading.slot.card.recipe_id


# --- afterwards


def seen_by(member: Member) -> ReadingRows:
    """The readings that ``member`` may see by name: one's own, and for a head barista the café's."""
    rows = Reading.objects.for_member(member)
    if member.is_head:
        return rows
    return rows.filter(barista=member.user) if member.is_barista else rows.none()


def minutes_to_correct(reading: Reading, now: datetime) -> int:
    """Whole minutes, begun ones counted, in which a barista may still correct a typo in ``reading``.

    They run from the first saving: a correction does not begin them again.
    """
    first = reading
    while first.corrects is not None:
        first = first.corrects
    left = first.entered_at + timedelta(minutes=MINUTES_TO_CORRECT) - now
    return max(0, ceil(left / timedelta(minutes=1)))


def may_correct(member: Member, reading: Reading, now: datetime) -> bool:
    """Whether ``member`` may correct a typo in a reading that ``seen_by`` shows them, as far as time goes."""
    return member.is_head or (member.is_barista and minutes_to_correct(reading, now) > 0)


def stands(reading: Reading) -> bool:
    """Whether ``reading`` is neither voided nor replaced by a correction."""
    return not reading.is_voided and getattr(reading, "correction", None) is None


def void(reading: Reading, by: User, reason: str, now: datetime) -> None:
    """Have ``reading`` count for nothing, for ``reason``; it stays to be seen. Raises NotStanding."""
    with transaction.atomic():
        _still_stands(reading)
        reading.voided_at, reading.voided_by, reading.void_reason = now, by, reason
        reading.save(update_fields=["voided_at", "voided_by", "void_reason"])
        noting.voided(reading, by)
        beds.refit(reading)
        signals.reading_changed(reading)


def _still_stands(reading: Reading) -> None:
    """Lock ``reading``, so that it is corrected or voided once and not both."""
    row = Reading.objects.select_for_update(of=("self",)).get(pk=reading.pk)
    if row.is_voided:
        raise NotStanding(_("This reading was voided in the meantime."))
    if Reading.objects.filter(corrects=row).exists():
        raise NotStanding(_("This reading was corrected in the meantime."))
