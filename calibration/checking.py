"""What cannot be in an entry, and what can but seldom is.

An impossible value is refused beside its field. Improbable ones are asked about once, all in one question,
and kept if the answer is yes. The bounds of the improbable are common practice, no source: wide enough that a
brew that merely went wrong is rarely asked about, close enough to catch a slipped digit or the wrong server.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from brewbar import dates, units
from calibration.entry import FEWEST_DROPS, MOST_DROPS, Entry
from calibration.models import Reading
from recipes.aims import Aims, aims_at
from recipes.brewing import extraction

TDS_POSSIBLE_PCT = (Decimal(0), Decimal(30))
TDS_USUAL_PCT = (0.8, 2.0)
TDS_FROM_TARGET_PCT = 0.4
EY_POSSIBLE_PCT = 100.0
EY_USUAL_PCT = (14.0, 26.0)
RETAINED_MOST_G_PER_G = 3.4
BREW_TIME_POSSIBLE_S = (10, 3600)
BREW_TIME_USUAL_S = (60, 600)
BREW_TIME_FROM_TARGET = 0.4
MASS_FROM_RECIPE = 0.2
SAMPLE_USUAL_C = (10, 40)
LATE = timedelta(days=2)
CLOCKS_DIFFER = timedelta(minutes=5)
"""A phone's clock and the server's may differ by this much."""
BEFORE_PUBLISHED = timedelta(days=1)
"""A version is dialled in before it is published, and its brews are entered once it stands on the board."""


NO_WEIGHT = gettext_lazy("Enter what the scale showed, or choose 'not weighed'.")


@dataclass(frozen=True)
class Problem:
    """What cannot be: ``field`` is the part of the entry it stands beside."""

    field: str
    says: str


@dataclass(frozen=True)
class Doubt:
    """What can be, but seldom is. ``key`` names the value too: another value is another doubt."""

    key: str
    says: str


def mean_tds(entry: Entry) -> float:
    return _mean(entry.drops)


@lru_cache(maxsize=4096)
def _mean(drops: tuple[Decimal, ...]) -> float:
    """Many brews of a spreadsheet have the same few drops."""
    return float(sum(drops, Decimal(0)) / len(drops))


def problems(entry: Entry, now: datetime, places: Sequence[Problem] | None = None) -> list[Problem]:
    """Everything impossible in ``entry``, entered at the moment ``now``.

    places: what `of_places` said, where many entries were made with the same things.
    """
    found = [
        *_of_drops(entry),
        *(of_places(entry) if places is None else places),
        *_of_weight(entry),
        *_of_times(entry, now),
    ]
    return found or list(_of_balance(entry))


def _of_drops(entry: Entry) -> Iterator[Problem]:
    if len(entry.drops) < (1 if entry.written_down else FEWEST_DROPS):
        yield Problem("drop_2", _("Enter this drop: a reading takes two or more."))
    if len(entry.drops) > MOST_DROPS:
        yield Problem("drop_5", _("Five drops at most."))
    low, high = TDS_POSSIBLE_PCT
    for number, drop in enumerate(entry.drops, start=1):
        if not low <= drop <= high:
            as_shown = units.fixed(drop / 100 if low <= drop / 100 <= 3 else 1.4, 2)
            yield Problem(
                f"drop_{number}",
                _("TDS lies between 0 and 30 %%. Write it as the display shows it, such as %(example)s.")
                % {"example": as_shown},
            )


def of_places(entry: Entry) -> Iterator[Problem]:
    """What cannot be in with what a brew was made, whatever came of it."""
    pieces = {
        "kettle": entry.kettle,
        "grinder": entry.grinder,
        "refractometer": entry.refractometer,
        "server": entry.server,
    }
    for name, piece in pieces.items():
        if piece is not None and piece.cafe_id != entry.cafe.pk:
            yield Problem(name, _("This one stands in another café."))
    if entry.roast_batch.coffee_id != entry.slot.card.recipe.coffee_id:
        yield Problem("roast_batch", _("This batch is of another coffee than the recipe."))


def _of_weight(entry: Entry) -> Iterator[Problem]:
    if not entry.is_weighed:
        if entry.weight_g is not None:
            yield Problem(
                "weight_g", _("A weight is entered here, but 'not weighed' is chosen. Which is it?")
            )
        return
    if entry.weight_g is None:
        yield Problem("weight_g", str(NO_WEIGHT))
    elif entry.beverage_source == Reading.Beverage.SERVER:
        if entry.server is None or entry.tare_g is None:
            yield Problem(
                "server", _("Choose the server that was weighed, so that its own weight can be taken off.")
            )
        elif entry.weight_g <= entry.tare_g:
            yield Problem(
                "weight_g",
                _(
                    "%(gross)s is no more than the empty server weighs (%(server)s, %(tare)s). Enter the "
                    "server with its coffee, or choose 'by itself'."
                )
                % {
                    "gross": units.grams(entry.weight_g),
                    "server": entry.server.name,
                    "tare": units.grams(entry.tare_g),
                },
            )
    elif entry.weight_g <= 0:
        yield Problem("weight_g", _("The coffee must weigh something."))


def _of_times(entry: Entry, now: datetime) -> Iterator[Problem]:
    shortest, longest = BREW_TIME_POSSIBLE_S
    if not shortest <= entry.brew_time_s <= longest:
        yield Problem("minutes", _("A brew time lies between 0:10 and 60:00."))
    if entry.brewed_at is None:
        return
    published = entry.slot.published_at
    if entry.brewed_at > now + CLOCKS_DIFFER:
        yield Problem("brewed_at", _("This lies in the future."))
    elif published is None or entry.brewed_at < published - BEFORE_PUBLISHED:
        yield Problem("brewed_at", _("This recipe version was not on this station then."))


def _of_balance(entry: Entry) -> Iterator[Problem]:
    tds_pct, dose_g = mean_tds(entry), float(entry.dose_g)
    try:
        beverage_g = entry.beverage_for(tds_pct)
    except ValueError:
        yield Problem(
            "weight_g", _("A bed of this dose would keep all of this water. Weigh the coffee instead.")
        )
        return
    if extraction.percolation_yield_pct(tds_pct, beverage_g, dose_g) > EY_POSSIBLE_PCT:
        yield Problem(
            "drop_1",
            _(
                "%(tds)s of %(beverage)s is %(solids)s dissolved, more than the dose of %(dose)s. "
                "Check drops and weight."
            )
            % {
                "tds": units.percent(tds_pct),
                "beverage": units.grams(beverage_g),
                "solids": units.grams(tds_pct / 100 * beverage_g),
                "dose": units.grams(entry.dose_g),
            },
        )


def doubts(entry: Entry, now: datetime, aims: Aims | None = None) -> list[Doubt]:
    """Everything improbable in a possible entry, without what was answered already.

    aims: what held then, where many entries are looked at; else it costs a query.
    """
    aims = aims or aims_at(entry.cafe, entry.slot.version, entry.brewed_at or now)
    found = [*_about_cup(entry, aims), *_about_time(entry, now, aims)]
    found += [*_about_batch(entry, now), *_about_masses(entry)]
    return [doubt for doubt in found if doubt.key not in entry.sure]


def _about_cup(entry: Entry, aims: Aims) -> Iterator[Doubt]:
    tds_pct, target = mean_tds(entry), aims.tds_target
    if target is None:
        low, high = TDS_USUAL_PCT
        if not low <= tds_pct <= high:
            yield Doubt(
                f"tds:{tds_pct:.2f}",
                _("TDS of %(tds)s: filter coffee is usually between %(low)s and %(high)s.")
                % {
                    "tds": units.percent(tds_pct),
                    "low": units.percent(low, 1),
                    "high": units.percent(high, 1),
                },
            )
    elif abs(tds_pct - float(target)) > TDS_FROM_TARGET_PCT:
        yield Doubt(
            f"tds:{tds_pct:.2f}",
            _("TDS of %(tds)s, where the recipe aims at %(target)s.")
            % {"tds": units.percent(tds_pct), "target": units.percent(target)},
        )
    ey_pct = extraction.percolation_yield_pct(tds_pct, entry.beverage_for(tds_pct), float(entry.dose_g))
    low, high = EY_USUAL_PCT
    if not low <= ey_pct <= high:
        yield Doubt(
            f"ey:{ey_pct:.1f}",
            _("An extraction yield of %(ey)s: usually it is between %(low)s and %(high)s.")
            % {"ey": units.percent(ey_pct, 1), "low": units.percent(low, 0), "high": units.percent(high, 0)},
        )


def _about_time(entry: Entry, now: datetime, aims: Aims) -> Iterator[Doubt]:
    target, taken = aims.brew_time_s, entry.brew_time_s
    if target is None:
        shortest, longest = BREW_TIME_USUAL_S
        unusual = not shortest <= taken <= longest
    else:
        unusual = abs(taken - target) > max(BREW_TIME_FROM_TARGET * target, 2 * aims.brew_time_tolerance_s)
    if unusual:
        bare = _("A brew time of %(taken)s.")
        says = bare if target is None else _("A brew time of %(taken)s, where the recipe aims at %(target)s.")
        yield Doubt(f"time:{taken}", says % {"taken": units.clock(taken), "target": units.clock(target or 0)})
    if entry.brewed_at is not None and not entry.written_down and now - entry.brewed_at > LATE:
        days = (now - entry.brewed_at).days
        yield Doubt(f"late:{entry.brewed_at.date()}", _("Brewed %(days)d days ago.") % {"days": days})


def _about_batch(entry: Entry, now: datetime) -> Iterator[Doubt]:
    at, roasted = entry.brewed_at or now, entry.roast_batch.roasted_on
    if (at.date() - roasted).days > 2:  # wherever the café is
        return
    brewed = at.astimezone(entry.cafe.zone).date()
    if brewed < roasted:
        says = _("Brewed on %(brewed)s, and this batch was roasted on %(roasted)s.")
        yield Doubt(
            f"roasted:{roasted}:{brewed}",
            says % {"brewed": dates.day(brewed, year=True), "roasted": dates.day(roasted, year=True)},
        )


def _about_masses(entry: Entry) -> Iterator[Doubt]:
    version = entry.slot.version
    for key, name, value, planned in (
        ("dose", gettext_noop("dose"), entry.dose_g, version.dose_g),
        ("water", gettext_noop("brew water"), entry.water_g, version.water_g),
    ):
        if planned and abs(value - planned) > Decimal(str(MASS_FROM_RECIPE)) * planned:
            yield Doubt(
                f"{key}:{value}",
                _("%(value)s of %(what)s, where the recipe says %(planned)s.")
                % {"value": units.grams(value), "what": _(name), "planned": units.grams(planned)},
            )
    weighed = entry.weighed_beverage_g
    if weighed is not None:
        retained = extraction.liquid_retained_g_per_g(
            float(entry.dose_g),
            float(entry.water_g),
            float(weighed),
            float(entry.bypass_g),
            float(entry.ice_g),
        )
        if retained > RETAINED_MOST_G_PER_G:
            yield Doubt(
                f"light:{weighed}",
                _(
                    "Only %(beverage)s of coffee from %(water)s of water: the bed would have kept "
                    "%(retained)s for each gram of coffee, where about 2 g is usual."
                )
                % {
                    "beverage": units.grams(weighed),
                    "water": f"{units.trimmed(entry.water_g + entry.bypass_g + entry.ice_g, 1)} g",
                    "retained": units.grams(retained),
                },
            )
    temperature = entry.sample_temperature_C
    if temperature is not None and not SAMPLE_USUAL_C[0] <= temperature <= SAMPLE_USUAL_C[1]:
        yield Doubt(
            f"sample:{temperature}",
            _("A sample at %(temperature)s: let it cool to room temperature before it goes on the prism.")
            % {"temperature": units.degrees(temperature, 1)},
        )


def asks_about_rinse_water(entry: Entry) -> bool:
    """Whether the beverage is more than the bed can have let through, and nobody has said why yet."""
    weighed = entry.weighed_beverage_g
    return (
        entry.rinse_left_in is None
        and weighed is not None
        and is_too_heavy(weighed, entry.water_g, entry.dose_g, entry.bypass_g, entry.ice_g)
    )


def with_rinse_answer(entry: Entry, left_in: bool | None) -> Entry:
    """An answer to a question that no longer arises, once the weight was put right, is no answer."""
    return replace(entry, rinse_left_in=left_in) if asks_about_rinse_water(entry) else entry


def is_too_heavy(
    beverage_g: Decimal, water_g: Decimal, dose_g: Decimal, bypass_g: Decimal, ice_g: Decimal
) -> bool:
    return extraction.implausibly_heavy(
        float(beverage_g), float(water_g), float(dose_g), float(bypass_g), float(ice_g)
    )
