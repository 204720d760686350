"""Ten weeks of shifts: who signed in, who brewed the check, and what else was brewed and measured."""

from __future__ import annotations

from datetime import date

import numpy as np

from .brews import Bench
from .calendar import Shift, instant
from .cast import CAFES, cafe_of, head_of
from .plans import check_place
from .rows import OnDuty
from .story import TODAY, Log, Story, attendance

MIDNIGHT = 24 * 60  # minutes

MISSED = 0.015
TOO_BUSY = 0.015
ASKED_TWICE = 0.2
REBREWED = 0.3
REBREWED_BEYOND_TDS = 0.09
ANOTHER_RECIPE = 0.1
SERVED = 0.14
PRACTISED = 0.025
PRACTISED_IN_TRAINING = 0.6
IN_TRAINING_DAYS = 28
FROM_A_SERVED_CUP = 0.12
ENTERED_BY_HEAD = 0.03

WHAT_KEPT_THEM = (
    "A queue to the door until ten.",
    "Alone at the bar, and the delivery came.",
    "Two coaches stopped at once.",
    "Stood in at the till.",
)
THIS_MORNING = "Ground at last night's setting, before the board was read."


def brew_everything(story: Story, rng: np.random.Generator) -> Log:
    """Every shift has random numbers of its own, so that a weekday on which one ends late changes no other."""
    log = Log()
    for index, cafe, shifts in attendance(story.calendar, story.people):
        if index == TODAY:
            _open_today(story, log, cafe, shifts, rng)
            continue
        heads_here = {shift.person for shift in shifts} & {head_of(cafe)}
        for shift in shifts:
            _work(story, log, index, cafe, shift, heads_here, *rng.spawn(1))
    return log


def _work(
    story: Story, log: Log, index: int, cafe: str, shift: Shift, heads: set[str], rng: np.random.Generator
) -> None:
    """One person's day: the check if there is time, perhaps once more, and now and then something else."""
    day = story.calendar.day(index)
    clock = _first_check(cafe, shift, day, rng)
    comes_to_it = rng.random()
    busy = MISSED <= comes_to_it < MISSED + TOO_BUSY
    log.on_duty.append(_signed_in(story, index, cafe, shift, rng, clock if busy else None))
    if comes_to_it < MISSED + TOO_BUSY:
        return
    entered_by = shift.person
    if heads and rng.random() < ENTERED_BY_HEAD:
        entered_by = next(iter(heads))
    bench = Bench(story, log, index, cafe, shift.person, entered_by, rng)
    place = check_place(cafe)
    first = bench.brew(place, clock, "check", "first", was_served=rng.random() < FROM_A_SERVED_CUP)
    off = abs(log.cup_tds[first.key] - story.versions[story.slots[first.slot].version].tds_target)
    if (shift.person, day) in story.asked_twice:
        clock = bench.later(clock)
        bench.brew(place, clock, "check", "repeat")
    elif off > REBREWED_BEYOND_TDS and rng.random() < REBREWED:
        clock = bench.later(clock)
        bench.brew(place, clock, "check", "rebrew")
    _whatever_else(story, bench, clock, rng)


def _whatever_else(story: Story, bench: Bench, clock: float, rng: np.random.Generator) -> None:
    place = check_place(bench.cafe)
    if clock < MIDNIGHT and rng.random() < ANOTHER_RECIPE:
        clock = bench.later(clock)
        bench.brew(bench.choose(besides=place), clock, "check", "first")
    if clock < MIDNIGHT and rng.random() < SERVED:
        clock = bench.later(clock)
        bench.brew(bench.choose(), clock, "served", "first")
    new = story.in_training(bench.person) and story.days_here(bench.person, bench.index) < IN_TRAINING_DAYS
    if clock < MIDNIGHT and rng.random() < (PRACTISED_IN_TRAINING if new else PRACTISED):
        clock = bench.later(clock)
        bench.brew(place if new else bench.choose(), clock, "practice", "first")


def _open_today(story: Story, log: Log, cafe: str, shifts: list[Shift], rng: np.random.Generator) -> None:
    """This morning the early shift has checked; at the first café its last check went wrong.

    Of the late shift one has come early: at the first café their brew is cooling, elsewhere it is still to come.
    """
    early, late = [s for s in shifts if s.early], [s for s in shifts if not s.early]
    for shift in early:
        log.on_duty.append(_signed_in(story, TODAY, cafe, shift, rng))
        bench = Bench(story, log, TODAY, cafe, shift.person, shift.person, rng)
        clock = 6 * 60 + 20 + float(rng.uniform(0, 60))
        went_wrong = cafe == CAFES[0].key and shift is early[-1]
        bench.brew(check_place(cafe), clock, "check", "first", went_wrong=THIS_MORNING if went_wrong else "")
    for shift in late[:1]:
        log.on_duty.append(_signed_in(story, TODAY, cafe, Shift(shift.person, True, False), rng))
        if cafe == CAFES[0].key:
            bench = Bench(story, log, TODAY, cafe, shift.person, shift.person, rng)
            log.runs.append(bench.cooling(check_place(cafe), 7 * 60 + 22))


def asked_twice(staff_days: list[tuple[str, date]], rng: np.random.Generator) -> frozenset[tuple[str, date]]:
    """Who brews the check twice on which day, drawn before the first brew is seen."""
    return frozenset(pair for pair in staff_days if rng.random() < ASKED_TWICE)


def _first_check(cafe: str, shift: Shift, day: date, rng: np.random.Generator) -> float:
    """Minutes after midnight. Candle Yard stays open past midnight on Fridays and Saturdays."""
    if shift.early:
        return 6 * 60 + 20 + float(rng.uniform(0, 170))
    if _until_late(cafe, shift, day):
        return 22 * 60 + 30 + float(rng.uniform(0, 110))
    return 12 * 60 + 40 + float(rng.uniform(0, 210))


def _until_late(cafe: str, shift: Shift, day: date) -> bool:
    return shift.closes and cafe == "candle" and day.weekday() in (4, 5)


def _signed_in(
    story: Story,
    index: int,
    cafe: str,
    shift: Shift,
    rng: np.random.Generator,
    too_busy_at: float | None = None,
) -> OnDuty:
    day, here = story.calendar.day(index), cafe_of(cafe)
    start = 5 * 60 + 55 if shift.early else 15 * 60 if _until_late(cafe, shift, day) else 12 * 60 + 15
    return OnDuty(
        cafe=cafe,
        business_day=day,
        user=shift.person,
        since=instant(day, start + float(rng.uniform(0, 20)), here),
        asked_twice=(shift.person, day) in story.asked_twice,
        too_busy_at=None if too_busy_at is None else instant(day, too_busy_at, here),
        too_busy_note="" if too_busy_at is None else str(rng.choice(WHAT_KEPT_THEM)),
    )
