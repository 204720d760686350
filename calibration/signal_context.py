"""What the database knows around a signal, as plain facts for the coach."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from statistics import fmean
from typing import Any

from brewbar.crew.models import Membership
from calibration.coaching import (
    Ageing,
    CheckState,
    Code,
    Context,
    Happening,
    InstrumentChecks,
    Kind,
    Off,
    Quantity,
    Tie,
    Usual,
)
from calibration.models import InstrumentCheck, Reading, Signal
from calibration.signal_signs import VALUES, Brews
from calibration.statistics import trend
from recipes.brewing.findings import Conditions
from recipes.models import BarEvent, Kettle, RecipeVersion

JUST_BEFORE = timedelta(days=7)
FEWEST_TO_AGE = 12

HAPPENED: dict[tuple[str, str], Kind] = {
    (BarEvent.Kind.SWAPPED, "kettle"): Kind.KETTLE_SWAPPED,
    (BarEvent.Kind.DESCALED, "kettle"): Kind.KETTLE_DESCALED,
    (BarEvent.Kind.DESCALED, ""): Kind.KETTLE_DESCALED,
    (BarEvent.Kind.PAPER, "paper"): Kind.PAPER,
    (BarEvent.Kind.CARTRIDGE, "brew_water"): Kind.CARTRIDGE,
    (BarEvent.Kind.CARTRIDGE, ""): Kind.CARTRIDGE,
    (BarEvent.Kind.CLEANED, "grinder"): Kind.GRINDER_CLEANED,
    (BarEvent.Kind.BURRS, "grinder"): Kind.BURRS,
}
"""What the bar writes down, by what it happened to, as the coach calls it."""


def context_of(brews: Brews) -> Context:
    signal, own, beside = brews.signal, brews.own, brews.beside
    last, usual = own[-1], beside[-1] if beside else None
    version = _version(last.version_id)
    other = version if usual is None or usual.version_id == last.version_id else _version(usual.version_id)
    kettles = Kettle.objects.prefetch_related("breakup_points").in_bulk(
        {last.kettle_id, *([_commonest(beside)] if beside else [])}
    )
    return Context(
        instrument=_instrument(signal, own, beside),
        happened=tuple(sorted(_happened(brews), key=lambda one: one.on)),
        began=(signal.since_low, signal.since_high) if signal.since_low and signal.since_high else None,
        off=Off.DAY if signal.person_id is None else Off.ONE,
        in_training=_in_training(signal),
        ties=tuple(_ties(own, beside)) if signal.person_id else (),
        ageing=_ageing(brews) if signal.person_id is None else None,
        plan=version.plan(),
        kettle=kettles[last.kettle_id].limits(),
        conditions=Conditions(signal.cafe.altitude_m),
        compared_plan=other.plan() if usual else None,
        compared_kettle=kettles[_commonest(beside)].limits() if beside else None,
        usual=_usual(beside),
        taste=next((reading.taste for reading in reversed(own) if reading.taste), ""),
    )


def _version(pk: int) -> RecipeVersion:
    found: RecipeVersion = RecipeVersion.objects.prefetch_related("pours").get(pk=pk)
    return found


def _commonest(readings: Sequence[Reading]) -> int:
    return Counter(reading.kettle_id for reading in readings).most_common(1)[0][0]


def _in_training(signal: Signal) -> bool:
    return bool(
        signal.person_id
        and Membership.objects.filter(
            user=signal.person_id, cafe=signal.cafe_id, in_training=True, ended_at=None
        ).exists()
    )


def _instrument(signal: Signal, own: Sequence[Reading], beside: Sequence[Reading]) -> InstrumentChecks:
    """The newest check of each kind since it began, of the instrument that read most of the brews."""
    instrument = Counter(reading.refractometer_id for reading in own).most_common(1)[0][0]
    rows = InstrumentCheck.objects.filter(refractometer=instrument, checked_at__gte=own[0].brewed_at)
    last: dict[str, InstrumentCheck] = {check.kind: check for check in rows.order_by("checked_at", "pk")}
    zero, standard = (last.get(kind) for kind in (InstrumentCheck.Kind.ZERO, InstrumentCheck.Kind.STANDARD))
    moments = [check.checked_at for check in (zero, standard) if check]
    return InstrumentChecks(
        zero=_state(zero),
        standard=_state(standard),
        since=signal.cafe.business_day(max(moments)) if moments else None,
        shared={reading.refractometer_id for reading in (*own, *beside)} == {instrument} if beside else None,
    )


def _state(check: InstrumentCheck | None) -> CheckState:
    if check is None or check.unclear:
        return CheckState.NONE
    return CheckState.PASSED if check.passed else CheckState.FAILED


def _happened(brews: Brews) -> Iterator[Happening]:
    """What may have begun it. What a person had in common with the others tells nothing of the person alone."""
    signal = brews.signal
    first, last = signal.since_low or brews.began, signal.since_high or brews.began
    if signal.person_id is None:
        near = [reading for reading in brews.everything if reading.business_day <= signal.day]
        yield from _changes(near, first - JUST_BEFORE, Kind.BATCH, lambda reading: str(reading.roast_batch))
        yield from _changes(
            near, first - JUST_BEFORE, Kind.VERSION, lambda reading: f"{reading.version.number}"
        )
        yield from _grinds(near, first, last)
    alone = {(tie, key) for tie, key, _thing in _only_theirs(brews.own, brews.beside)}
    for field, event in _events(signal, first - JUST_BEFORE):
        kind = HAPPENED.get((event.kind, field))
        shared = signal.person_id is not None and (field, getattr(event, f"{field}_id", None)) not in alone
        if kind and not shared:
            yield Happening(kind, signal.cafe.business_day(event.happened_at), str(event.thing or ""))


def _events(signal: Signal, first: date) -> Iterator[tuple[str, Any]]:
    zone = signal.cafe.zone
    start = datetime.combine(first, time.min, zone)
    end = datetime.combine(signal.day + timedelta(days=1), time.max, zone)
    rows: Iterable[Any] = BarEvent.objects.filter(
        cafe=signal.cafe, taken_back_at=None, happened_at__range=(start, end)
    ).select_related(*BarEvent.THINGS)
    for event in rows:
        yield next((name for name in BarEvent.THINGS if getattr(event, f"{name}_id")), ""), event


def _changes(readings: Sequence[Reading], first: date, kind: Kind, of: Any) -> Iterator[Happening]:
    """The day on which each is seen for the first time, where another was before it."""
    seen: set[str] = set()
    for reading in readings:
        what = of(reading)
        if what not in seen and seen and reading.business_day >= first:
            yield Happening(kind, reading.business_day, what)
        seen.add(what)


def _grinds(readings: Sequence[Reading], first: date, last: date) -> Iterator[Happening]:
    """Where each grinder ended up in the time in question; not each turn there and back.

    Which way is finer differs from grinder to grinder, and nobody has said it of this one.
    """
    before: dict[int, str] = {}
    after: dict[int, Reading] = {}
    for reading in readings:
        if reading.business_day < first:
            before[reading.grinder_id] = reading.grind_setting
        elif reading.business_day <= last:
            after[reading.grinder_id] = reading
    for grinder, reading in after.items():
        was = before.get(grinder)
        if was is not None and was != reading.grind_setting:
            yield Happening(Kind.GRIND_SETTING, reading.business_day, f"{was} → {reading.grind_setting}")


def _ties(own: Sequence[Reading], beside: Sequence[Reading]) -> Iterator[Tie]:
    for field, _key, thing in _only_theirs(own, beside):
        yield Tie(Code.KETTLE if field == "kettle" else Code.GRIND, str(thing))


def _only_theirs(own: Sequence[Reading], beside: Sequence[Reading]) -> Iterator[tuple[str, int, Any]]:
    """What these brews alone were made with, and nothing else."""
    for field in ("kettle", "grinder"):
        used = {getattr(reading, f"{field}_id") for reading in own}
        if len(used) == 1 and not used & {getattr(reading, f"{field}_id") for reading in beside}:
            yield field, *used, getattr(own[-1], field)


def _ageing(brews: Brews) -> Ageing | None:
    """The slope within batches, by what came before: the days in question do not judge themselves."""
    before = [reading for reading in brews.beside if not reading.rinse_left_in]
    if len(before) < FEWEST_TO_AGE:
        return None
    slope = trend.slope(
        [_age(reading) for reading in before],
        [float(reading.tds) for reading in before],
        [reading.roast_batch_id for reading in before],
    )
    if slope.slope is None or slope.se_slope is None:
        return None
    own, earlier = fmean(map(_age, brews.own)), fmean(map(_age, before))
    return Ageing(own, earlier, slope.slope, slope.se_slope)


def _age(reading: Reading) -> float:
    return float((reading.business_day - reading.roast_batch.roasted_on).days)


def _usual(beside: Sequence[Reading]) -> Usual:
    def mean(quantity: Quantity) -> float | None:
        told = [value for reading in beside if (value := VALUES[quantity](reading)) is not None]
        return fmean(told) if told else None

    return Usual(
        mean(Quantity.TDS),
        mean(Quantity.BEVERAGE),
        mean(Quantity.SLURRY),
        fmean(float(reading.dose_g) for reading in beside) if beside else None,
    )
