"""The brews behind a signal beside what they are compared with, as signs: TDS, yield, brew time, mass, temperature.

A person's brews are held against those of the others of the same version and day; where the person drifts, less how
they lay before. A day's brews are held against each person's own earlier mean, so that who was on is no news.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt
from statistics import fmean, stdev

from calibration import coaching
from calibration.coaching import Against, Compared, Quantity, Scope, Signature, compared
from calibration.models import Reading, Signal

EARLIER = timedelta(days=60)
FEWEST_EARLIER = 5

COLUMNS = (
    *("barista_id", "business_day", "brewed_at", "version_id", "roast_batch_id", "kettle_id", "grinder_id"),
    *("grind_setting", "tds", "ey", "brew_time_s", "beverage_g", "beverage_source", "rinse_left_in"),
    *("slurry_temperature_C", "dose_g", "taste", "refractometer_id", "cafe_id"),
)

Value = Callable[[Reading], float | None]


def _beverage(reading: Reading) -> float | None:
    """Only what was weighed tells anything."""
    weighed = reading.beverage_source != Reading.Beverage.ESTIMATED and not reading.rinse_left_in
    return float(reading.beverage_g) if weighed else None


VALUES: dict[Quantity, Value] = {
    Quantity.TDS: lambda reading: None if reading.rinse_left_in else float(reading.tds),
    Quantity.YIELD: lambda reading: reading.ey,
    Quantity.BREW_TIME: lambda reading: float(reading.brew_time_s),
    Quantity.BEVERAGE: _beverage,
    Quantity.SLURRY: lambda reading: (
        None if reading.slurry_temperature_C is None else float(reading.slurry_temperature_C)
    ),
}
OF_MEASURE = {Signal.Measure.TDS: Quantity.TDS, Signal.Measure.TIME: Quantity.BREW_TIME}


@dataclass(frozen=True)
class Brews:
    """everything: counted brews of the recipe around the signal, oldest first; own: those that raised it."""

    signal: Signal
    everything: tuple[Reading, ...]
    own: tuple[Reading, ...]

    @property
    def began(self) -> date:
        return self.own[0].business_day if self.own else self.signal.day

    @property
    def beside(self) -> list[Reading]:
        """What the own ones are compared with: others of the same days, or earlier days."""
        if self.signal.person_id is None:
            return [reading for reading in self.everything if reading.business_day < self.began]
        days = {reading.business_day for reading in self.own}
        return [
            reading
            for reading in self.everything
            if reading.business_day in days and reading.barista_id != self.signal.person_id
        ]


def brews_of(signal: Signal) -> Brews:
    """From sixty days before it began until now."""
    keys = set(signal.evidence.get("readings", ()))
    first = (signal.since or signal.day) - EARLIER
    rows = (
        Reading.objects.counted()
        .filter(cafe=signal.cafe_id, version__recipe=signal.recipe_id, business_day__gte=first)
        .only(*COLUMNS)
        # A few rows that hundreds share: joined, each would be made anew for every one.
        .prefetch_related("version", "roast_batch", "kettle", "grinder")
        .order_by("business_day", "brewed_at", "pk")
    )
    everything = tuple(rows)
    return Brews(signal, everything, tuple(reading for reading in everything if reading.pk in keys))


def signs_of(brews: Brews, smallest: dict[Quantity, float]) -> Signature:
    is_day = brews.signal.person_id is None
    differences = {quantity: _compared(brews, value) for quantity, value in VALUES.items()}
    matters = {
        Quantity.BEVERAGE: coaching.USUAL_SMALLEST_BEVERAGE_G,
        Quantity.SLURRY: coaching.USUAL_SMALLEST_SLURRY_K,
        **smallest,
    }
    scope, against = (Scope.DAY, Against.EARLIER) if is_day else (Scope.PERSON, Against.OTHERS)
    return coaching.signature_of(scope, against, differences, matters)


def _compared(brews: Brews, value: Value) -> Compared | None:
    signal = brews.signal
    if signal.person_id is None:
        told = [one for one in apart_from_earlier(brews, value) if one[0] <= signal.day]
    else:
        told = [
            one
            for one in apart_from_others(brews.everything, signal.person_id, value)
            if one[0] <= signal.day
        ]
    own_days = {reading.business_day for reading in brews.own}
    now = [difference for day, difference in told if day in own_days]
    before = [difference for day, difference in told if day < brews.began]
    if not now or signal.question == Signal.Question.OFF:
        return compared(now)
    return _changed(now, before)


def _changed(now: Sequence[float], before: Sequence[float]) -> Compared | None:
    """What is new, by the scatter of what was: a few brews say too little of their own."""
    if len(before) < FEWEST_EARLIER:
        return None
    sd, difference = stdev(before), fmean(now) - fmean(before)
    se = sd * sqrt(1 / len(now) + 1 / len(before)) or None
    return Compared(difference, se, len(now), len(before) - 1.0)


def apart_from_others(readings: Iterable[Reading], person: int, value: Value) -> Iterator[tuple[date, float]]:
    """By day and version, a person's mean less that of the others, where there were any."""
    for (day, _version), (own, others) in _sessions(readings, person, value).items():
        if own and others:
            yield day, fmean(own) - fmean(others)


def _sessions(
    readings: Iterable[Reading], person: int, value: Value
) -> dict[tuple[date, int], tuple[list[float], list[float]]]:
    found: dict[tuple[date, int], tuple[list[float], list[float]]] = {}
    for reading in readings:
        if (one := value(reading)) is not None:
            both = found.setdefault((reading.business_day, reading.version_id), ([], []))
            both[reading.barista_id != person].append(one)
    return found


def apart_from_earlier(brews: Brews, value: Value) -> Iterator[tuple[date, float]]:
    """By day, the mean of what each brew lies above its brewer's mean from before it began."""
    earlier: dict[int, list[float]] = {}
    for reading in brews.everything:
        if reading.business_day < brews.began and (one := value(reading)) is not None:
            earlier.setdefault(reading.barista_id, []).append(one)
    means = {person: fmean(values) for person, values in earlier.items() if len(values) >= FEWEST_EARLIER}
    days: dict[date, list[float]] = {}
    for reading in brews.everything:
        one = value(reading)
        if one is not None and reading.barista_id in means:
            days.setdefault(reading.business_day, []).append(one - means[reading.barista_id])
    return ((day, fmean(values)) for day, values in days.items())
