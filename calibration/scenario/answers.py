"""What the invented head baristas found when they looked into a signal: what the truth says of it, or nothing.

They sit down to it once a week. Of the last week's they have only had a look.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from .brews import STORIES
from .rows import Scenario

Cause = Literal["pour", "grind", "kettle", "age", "lot", "instrument", "chance", "other"]


@dataclass(frozen=True)
class Raised:
    """A signal: about a person, or about the days of a café where there is none.

    brews: keys of the last readings that it rests on; batch: what the newest was brewed with.
    """

    question: str
    person: str | None
    side: str
    day: date
    brews: tuple[str, ...] = ()
    batch: str | None = None


@dataclass(frozen=True)
class Answer:
    """What was said of it. closed: False where what brewbar advises is tried; reply: of whom it is about."""

    cause: Cause
    says: str
    action: str = ""
    restarts_baseline: bool = False
    closed: bool = True
    reply: str = ""


OFF_TDS = 0.03
"""From here on somebody is really off, whatever the others are."""

_OF_STORIES: tuple[tuple[Cause, str], ...] = (
    ("pour", "Weights are said aloud for a week."),
    ("grind", "Half a step coarser."),
    ("grind", "A note on the hopper: purge first."),
    ("kettle", "The base was cleaned."),
    ("other", "Weigh twice from a new bag."),
)
_CAUSES: Mapping[str, tuple[Cause, str]] = dict(
    zip((story for story, _ in STORIES), _OF_STORIES, strict=True)
)
_MENDED = Answer(
    "instrument",
    "Sugar water read too high: a film on the prism.",
    "Cleaned, left overnight, set to zero anew.",
)
_NEW_CROP = Answer(
    "lot", "The new crop brews stronger than the last one.", "It tastes right: the board says so.", True
)
_FRESH = Answer("age", "A fresh bag after one that was three weeks old.", restarts_baseline=True)
_OLD = Answer("age", "The bag is at its end.", "The next one is opened a day sooner.")
_DRIFTS = Answer(
    "pour",
    "The spout has crept up: twice what the card says.",
    "Brews beside a colleague, at the card's height.",
    closed=False,
    reply="I had not noticed. I will watch the height.",
)
_OFF = Answer(
    "pour",
    "Pours in a way of their own, and always did.",
    "An hour together with the card.",
    closed=False,
    reply="It is how I learnt it. Happy to try.",
)
_CHANCE = Answer("chance", "Grinder, kettle, scale and pour looked at: nothing found.")


def answer(scenario: Scenario, raised: Raised) -> Answer:
    truth = scenario.truth
    if raised.question == "instrument":
        return _MENDED
    if raised.person is None:
        return _of_the_days(scenario, raised)
    mishap = next((row.story for row in truth.mishaps if row.reading in raised.brews), None)
    if mishap is not None and mishap in _CAUSES:
        cause, action = _CAUSES[mishap]
        return Answer(cause, mishap, action)
    is_high = raised.side == "high"
    if raised.person == truth.drift.person and truth.drift.on(raised.person, raised.day) and is_high:
        return _DRIFTS
    own = truth.effects.staff[raised.person]
    if raised.question == "off" and abs(own) > OFF_TDS and (own > 0) is is_high:
        return _OFF
    return _CHANCE


def _of_the_days(scenario: Scenario, raised: Raised) -> Answer:
    truth = scenario.truth
    batch = next((row for row in scenario.batches if row.key == raised.batch), None)
    if batch is None or batch.opened_on is None:
        return _CHANCE
    is_high = raised.side == "high"
    if batch.key == truth.batch_step.batches[0] and is_high:
        return _NEW_CROP
    of_age = truth.ageing.of(batch.coffee, (raised.day - batch.roasted_on).days)
    if of_age and (of_age > 0) is is_high:
        return _FRESH if is_high else _OLD
    return _CHANCE
