"""The invented coffees and the batches in which they came, with what is really so about two of them."""

from __future__ import annotations

from .calendar import DAYS, Calendar
from .things import Coffee, RoastBatch
from .truth import Ageing, BatchStep

COFFEES = (
    Coffee("ladder", "Ladder and Lark", "Ethiopia", "washed", "light", 720, "Lemon peel, jasmine, honey."),
    Coffee(
        "umbrellas",
        "Nine Umbrellas",
        "Kenya",
        "washed",
        "light",
        745,
        "Very dense; sheds fines. Blackcurrant.",
    ),
    Coffee(
        "salt",
        "Salt Orchard",
        "Colombia",
        "washed",
        "medium-light",
        690,
        "Red apple, caramel. The house filter.",
    ),
    Coffee(
        "plum",
        "Plum Lantern",
        "Ethiopia",
        "natural",
        "light",
        680,
        "Plum jam, cocoa. Loses strength as it ages.",
    ),
    Coffee("ferry", "Sunday Ferry", "Brazil", "pulped natural", "medium", 640, "Hazelnut, milk chocolate."),
    Coffee("cedar", "Cedar Letter", "Guatemala", "washed", "medium", 700, "Orange, toffee, a little cedar."),
)

_OPENED: dict[str, tuple[int, tuple[int, ...], int]] = {
    # number of the first batch, days on which batches were opened, days of rest before that
    "ladder": (31, (-7, 6, 19, 32, 44, 57), 9),
    "umbrellas": (12, (-5, 13, 29, 48, 64), 11),
    "salt": (58, (-8, 4, 19, 33, 47, 61), 7),
    "plum": (17, (-9, 11, 34, 58), 7),
    "ferry": (22, (-3, 15, 30, 46, 62), 8),
    "cedar": (40, (-10, 8, 26, 45, 60), 8),
}
_NEW_CROP_FROM = 61  # number of the Salt Orchard batch opened on day 33
_RESTING = {"ladder": 65, "plum": 66}  # day on which the next batch came in, still closed

AGEING = Ageing(coffee="plum", tds_per_day=-0.004, reference_days_off_roast=15)


def batches(calendar: Calendar) -> tuple[RoastBatch, ...]:
    rows = []
    for coffee, (first, opened, rest) in _OPENED.items():
        followers: list[int | None] = [*opened[1:], None]
        for number, (start, end) in enumerate(zip(opened, followers, strict=True), start=first):
            rows.append(_batch(calendar, coffee, number, start - rest, start, end))
        if coffee in _RESTING:
            received = _RESTING[coffee]
            rows.append(_batch(calendar, coffee, first + len(opened), received - 3, None, None))
    return tuple(rows)


def _batch(
    calendar: Calendar, coffee: str, number: int, roasted: int, opened: int | None, used_up: int | None
) -> RoastBatch:
    name = next(row.name for row in COFFEES if row.key == coffee)
    return RoastBatch(
        key=f"{coffee}-{number}",
        coffee=coffee,
        label=f"{''.join(word[0].upper() for word in name.split())} {number}",
        roasted_on=calendar.day(roasted),
        received_on=calendar.day(roasted + 3),
        opened_on=None if opened is None else calendar.day(opened),
        used_up_on=None if used_up is None else calendar.day(used_up),
    )


def batch_open_on(coffee: str, index: int) -> str:
    """Key of the batch in use on that day; on the first days ever, the earliest known."""
    first, opened, _ = _OPENED[coffee]
    return f"{coffee}-{first + max(0, sum(start <= index for start in opened) - 1)}"


def openings(coffee: str) -> tuple[int, ...]:
    """The days within the scenario on which a new batch came into use."""
    return tuple(start for start in _OPENED[coffee][1] if 0 <= start < DAYS)


def new_crop() -> BatchStep:
    first, opened, _ = _OPENED["salt"]
    numbers = range(_NEW_CROP_FROM, first + len(opened))
    return BatchStep(coffee="salt", batches=tuple(f"salt-{number}" for number in numbers), tds=0.06)
