"""The eight invented recipes, several revised along the way, each version in its author's words."""

from __future__ import annotations

from dataclasses import dataclass

from .calendar import Calendar
from .cast import home_of, published_at
from .rows import Pour, Recipe, RecipeVersion

RECIPES = (
    Recipe("window", "Window cup", "ladder"),
    Recipe("umbrella", "Umbrella, fine and broken", "umbrellas"),
    Recipe("house", "House filter", "salt"),
    Recipe("lantern", "Lantern, soft", "plum"),
    Recipe("ferry", "Sunday for two", "ferry"),
    Recipe("cedar", "Cedar, poured low", "cedar"),
    Recipe("cablecar", "First cable car", "plum"),
    Recipe("flight", "Bench flight", "salt"),
)


@dataclass(frozen=True)
class Edition:
    """A version as the scenario tells it: the day it came out, and how far from its target it settles."""

    recipe: str
    out_on: int
    author: str
    changed: str
    why: str
    gear: tuple[str, str, str]
    """Brewer, paper, kettle."""
    dose_g: float
    water_g: int
    water_temperature_C: float | None
    grind: str
    targets: tuple[float, float, int]
    """TDS, extraction yield, brew time."""
    cup: str
    pours: tuple[Pour, ...]
    bypass_g: int = 0
    settles_off_tds: float = 0.0


EDITIONS = (
    Edition(
        "window", -7, "kofi", "", "",
        ("small-cone", "cone-slow", "heron"), 15.0, 250, 94.0, "like table salt",
        (1.42, 20.8, 190), "Lemon and honey, long and clean",
        (
            Pour(0, 45, "circle", 60, 4.0, "swirl", "Wet all of it; look for dry rims"),
            Pour(45, 150, "circle", 100, 4.5),
            Pour(95, 250, "circle", 100, 4.5, "swirl"),
        ),
        settles_off_tds=0.04,
    ),
    Edition(
        "window", 17, "kofi", "The last pour goes to the centre instead of round.",
        "It came out heavy and past 3:10, with the lemon muted. A calmer last pour should give it back.",
        ("small-cone", "cone-slow", "heron"), 15.0, 250, 94.0, "like table salt",
        (1.40, 20.5, 175), "Lemon first, then honey; lighter than before",
        (
            Pour(0, 45, "circle", 60, 4.0, "swirl", "Wet all of it; look for dry rims"),
            Pour(45, 150, "circle", 100, 4.5),
            Pour(95, 250, "centre", 100, 4.5),
        ),
        settles_off_tds=0.01,
    ),
    Edition(
        "window", 41, "kofi", "Spout down from 100 to 60 mm for the second and third pour.",
        "The two of us who pour high were a shade stronger than the rest. Lower is easier to hold the same.",
        ("small-cone", "cone-slow", "heron"), 15.0, 250, 94.0, "a touch finer than table salt",
        (1.40, 20.5, 170), "Lemon first, then honey; the same cup from all of us",
        (
            Pour(0, 45, "circle", 50, 4.0, "swirl", "Wet all of it; look for dry rims"),
            Pour(45, 150, "circle", 60, 4.5),
            Pour(95, 250, "centre", 60, 4.5),
        ),
    ),
    Edition(
        "umbrella", -5, "kofi", "", "",
        ("small-cone", "cone-slow", "heron"), 15.0, 250, 95.0, "medium fine",
        (1.38, 20.2, 215), "Blackcurrant, a juicy middle",
        (
            Pour(0, 50, "circle", 50, 4.0, "stir"),
            Pour(45, 150, "circle", 80, 4.5),
            Pour(100, 250, "circle", 80, 4.5),
        ),
        settles_off_tds=-0.05,
    ),
    Edition(
        "umbrella", 24, "kofi", "Fast paper, much finer, hotter; after the bloom, broken over a spoon.",
        "Coarser was sour and still slow; finer stalled. It sheds fines, so stop driving them down.",
        ("small-cone", "cone-fast", "heron"), 15.0, 250, 98.0, "very fine, like icing sugar with grit in it",
        (1.44, 21.1, 165), "Blackcurrant, bright; no paper-dry finish",
        (
            Pour(0, 50, "circle", 40, 4.0, "stir", "Straight on the bed, before the spoon"),
            Pour(40, 150, "broken-stream", 90, 4.0, "", "Over the back of the spoon"),
            Pour(85, 250, "broken-stream", 90, 4.0, "", "Move the spoon, not the kettle"),
        ),
    ),
    Edition(
        "house", -8, "sade", "", "",
        ("flat-bed", "flat-medium", "duck"), 20.0, 320, 93.0, "medium",
        (1.44, 20.2, 210), "Apple and caramel, round",
        (
            Pour(0, 60, "circle", 60, 5.0, "swirl"),
            Pour(40, 190, "circle", 80, 6.0),
            Pour(85, 320, "circle", 80, 6.0),
        ),
        settles_off_tds=-0.03,
    ),
    Edition(
        "house", 20, "sade", "Two pours after the bloom became three smaller ones.",
        "Held the strength better on busy mornings than one long pour that everybody rushed.",
        ("flat-bed", "flat-medium", "duck"), 20.0, 320, 93.0, "medium",
        (1.42, 19.9, 205), "Apple and caramel, round, nothing sticks out",
        (
            Pour(0, 60, "circle", 60, 5.0, "swirl"),
            Pour(40, 150, "circle", 60, 6.0),
            Pour(75, 240, "circle", 60, 6.0),
            Pour(110, 320, "centre", 60, 6.0),
        ),
    ),
    Edition(
        "lantern", -9, "sade", "", "",
        ("small-cone", "cone-slow", "egret"), 16.0, 260, 90.0, "medium, a little coarse",
        (1.34, 19.1, 180), "Plum jam, soft; no boozy edge",
        (
            Pour(0, 48, "circle", 40, 4.0, "swirl"),
            Pour(45, 130, "circle", 40, 4.0),
            Pour(85, 200, "centre", 40, 4.0),
            Pour(120, 260, "centre", 40, 4.0),
        ),
    ),
    Edition(
        "ferry", 15, "kofi", "", "",
        ("large-cone", "cone-fast", "pelican"), 30.0, 500, 92.0, "medium coarse",
        (1.38, 20.2, 250), "Hazelnut and milk chocolate, for two",
        (
            Pour(0, 90, "circle", 60, 6.0, "stir"),
            Pour(45, 300, "off-centre", 80, 7.0, "", "The stream leans: aim a finger short of the middle"),
            Pour(110, 500, "circle", 80, 7.0, "swirl"),
        ),
        settles_off_tds=0.05,
    ),
    Edition(
        "ferry", 38, "kofi", "Brew 460 g and add 40 g of hot water to the server.",
        "The last 40 g only made it longer and drier. Same cup size, and it is done before four minutes.",
        ("large-cone", "cone-fast", "pelican"), 30.0, 460, 92.0, "medium coarse",
        (1.34, 19.6, 225), "Hazelnut and milk chocolate, no dry end",
        (
            Pour(0, 90, "circle", 60, 6.0, "stir"),
            Pour(45, 280, "off-centre", 80, 7.0, "", "The stream leans: aim a finger short of the middle"),
            Pour(105, 460, "circle", 80, 7.0, "swirl"),
        ),
        bypass_g=40,
    ),
    Edition(
        "cedar", -10, "matteo", "", "",
        ("flat-bed", "flat-medium", "goose"), 18.0, 300, 93.0, "medium fine",
        (1.36, 19.9, 215), "Orange and toffee, very clear",
        (
            Pour(0, 50, "circle", 50, 5.0, "stir"),
            Pour(45, 130, "sideways", 15, 3.0, "", "Half a kettle at most; spout just over the bed"),
            Pour(90, 215, "sideways", 15, 3.0),
            Pour(135, 300, "sideways", 15, 3.0),
        ),
    ),
    Edition(
        "cablecar", -7, "matteo", "", "",
        ("small-cone", "cone-slow", "wren"), 15.0, 240, 96.0, "medium fine",
        (1.40, 19.6, 175), "Plum jam, cocoa, warm hands",
        (
            Pour(0, 45, "circle", 60, 4.0, "swirl"),
            Pour(45, 140, "circle", 80, 4.0),
            Pour(85, 240, "circle", 80, 4.0),
        ),
        settles_off_tds=-0.05,
    ),
    Edition(
        "cablecar", 9, "matteo", "'96 °C' became 'at the boil'.",
        "Water boils at about 95 °C up here, so nobody could ever do what the card said.",
        ("small-cone", "cone-slow", "wren"), 15.0, 240, None, "medium fine",
        (1.40, 19.6, 175), "Plum jam, cocoa, warm hands",
        (
            Pour(0, 45, "circle", 60, 4.0, "swirl"),
            Pour(45, 140, "circle", 80, 4.0),
            Pour(85, 240, "circle", 80, 4.0),
        ),
        settles_off_tds=-0.03,
    ),
    Edition(
        "cablecar", 30, "matteo", "Stir after the bloom instead of a swirl; a step finer.",
        "Still a little thin with water that is cooler than in the valley. The stir wets the middle.",
        ("small-cone", "cone-slow", "wren"), 15.0, 240, None, "medium fine, a step under",
        (1.42, 19.9, 180), "Plum jam, cocoa, more of both",
        (
            Pour(0, 45, "circle", 60, 4.0, "stir"),
            Pour(45, 140, "circle", 80, 4.0),
            Pour(85, 240, "circle", 80, 4.0),
        ),
    ),
    Edition(
        "flight", 26, "sade", "", "",
        ("small-cone", "cone-slow", "egret"), 12.0, 200, 93.0, "medium fine",
        (1.36, 19.9, 155), "Apple, in three sips",
        (
            Pour(0, 36, "circle", 50, 4.0, "swirl"),
            Pour(35, 120, "circle", 60, 4.0),
            Pour(70, 200, "circle", 60, 4.0),
        ),
    ),
)  # fmt: skip


def number_of(edition: Edition) -> int:
    return [other for other in EDITIONS if other.recipe == edition.recipe].index(edition) + 1


def key_of(edition: Edition) -> str:
    return f"{edition.recipe}-v{number_of(edition)}"


def versions(calendar: Calendar) -> tuple[RecipeVersion, ...]:
    return tuple(_version(calendar, edition) for edition in EDITIONS)


def _version(calendar: Calendar, edition: Edition) -> RecipeVersion:
    brewer, paper, kettle = edition.gear
    tds, ey, brew_time_s = edition.targets
    return RecipeVersion(
        key=key_of(edition),
        recipe=edition.recipe,
        number=number_of(edition),
        published_at=published_at(calendar, home_of(edition.author), edition.out_on),
        published_by=edition.author,
        what_changed=edition.changed,
        why=edition.why,
        brewer=brewer,
        paper=paper,
        kettle=kettle,
        dose_g=edition.dose_g,
        water_g=edition.water_g,
        at_the_boil=edition.water_temperature_C is None,
        water_temperature_C=edition.water_temperature_C,
        reference_grind=edition.grind,
        tds_target=tds,
        ey_target=ey,
        brew_time_s=brew_time_s,
        intended_cup=edition.cup,
        pours=edition.pours,
        bypass_g=edition.bypass_g,
    )
