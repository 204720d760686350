"""What grind, dose, kettle, paper, water and coffee may do.

R13 says which are looked at first. Finer is slower (Darcy's law with a permeability that grows with the square of the
grain) and gives up more to the water; a cooler slurry is more viscous, so slower, and takes out less; dose and weights
follow from the mass balance of `recipes.brewing.extraction`.
"""

from __future__ import annotations

from brewbar.words import gettext_noop
from calibration.coaching.context import Code, Off
from calibration.coaching.signature import Move, Quantity
from calibration.coaching.trade import Hypothesis

TDS, TIME, BEVERAGE, SLURRY = Quantity.TDS, Quantity.BREW_TIME, Quantity.BEVERAGE, Quantity.SLURRY
UP, DOWN, STEADY = Move.UP, Move.DOWN, Move.STEADY

GRIND: tuple[Hypothesis, ...] = (
    Hypothesis(
        "grind-finer",
        Code.GRIND,
        gettext_noop("The coffee is ground finer."),
        gettext_noop("Set the grinder one small step coarser, and leave the rest as it is."),
        gettext_noop("Somebody else's brew from the same grinder that is not off."),
        expects={TDS: UP, TIME: UP},
        facts=("finer", "burrs", "grinder-cleaned"),
        rules=("R13",),
        first_for=Off.DAY,
    ),
    Hypothesis(
        "grind-coarser",
        Code.GRIND,
        gettext_noop("The coffee is ground coarser."),
        gettext_noop("Set the grinder one small step finer, and leave the rest as it is."),
        gettext_noop("Somebody else's brew from the same grinder that is not off."),
        expects={TDS: DOWN, TIME: DOWN},
        facts=("coarser", "burrs", "grinder-cleaned"),
        rules=("R13",),
        first_for=Off.DAY,
    ),
    Hypothesis(
        "grind-clogs",
        Code.GRIND,
        gettext_noop(
            "The grind is so fine, or has so many fines, that the bed clogs and water passes part of it by."
        ),
        gettext_noop("Set the grinder one small step coarser, and leave the rest as it is."),
        gettext_noop("A bed that stays slow when it is ground coarser."),
        expects={TDS: DOWN, TIME: UP},
        facts=("finer", "burrs"),
        rules=("R1", "R13"),
        first_for=Off.DAY,
    ),
    Hypothesis(
        "coffee-fines",
        Code.OTHER,
        gettext_noop("This coffee sheds fines, and they slow the paper, whatever the grind."),
        gettext_noop("Use a faster paper, and leave the grind as it is."),
        gettext_noop("Another coffee that is as slow through the same paper."),
        expects={TDS: DOWN, TIME: UP},
        facts=("sheds-fines",),
        needs_fact=True,
        rules=("R12",),
        first_for=Off.DAY,
        shared=True,
    ),
)

DOSE: tuple[Hypothesis, ...] = (
    Hypothesis(
        "dose-more",
        Code.OTHER,
        gettext_noop("More coffee goes in than planned: it makes a stronger cup and keeps more water back."),
        gettext_noop("Weigh the next doses a second time, on another scale."),
        gettext_noop("The planned dose on a second scale."),
        expects={TDS: UP, TIME: UP, BEVERAGE: DOWN},
        rules=("R13",),
        first_for=Off.DAY,
    ),
    Hypothesis(
        "dose-less",
        Code.OTHER,
        gettext_noop("Less coffee goes in than planned: it makes a weaker cup and keeps less water back."),
        gettext_noop("Weigh the next doses a second time, on another scale."),
        gettext_noop("The planned dose on a second scale."),
        expects={TDS: DOWN, TIME: DOWN, BEVERAGE: UP},
        rules=("R13",),
        first_for=Off.DAY,
    ),
)

KETTLES: tuple[Hypothesis, ...] = (
    Hypothesis(
        "kettle-cooler",
        Code.KETTLE,
        gettext_noop("The water is cooler: it extracts less, and drains slower since it is more viscous."),
        gettext_noop(
            "Measure the water in the kettle just before the bloom, and bring it to the plan's temperature."
        ),
        gettext_noop("The planned temperature in the kettle, or a slurry as warm as usual."),
        expects={TDS: DOWN, TIME: UP, SLURRY: DOWN},
        facts=("kettle-swapped", "kettle-descaled"),
        rules=("R13",),
        first_for=Off.DAY,
        hot=True,
    ),
    Hypothesis(
        "kettle-hotter",
        Code.KETTLE,
        gettext_noop("The water is hotter: it extracts more, and drains faster since it is less viscous."),
        gettext_noop(
            "Measure the water in the kettle just before the bloom, and let it cool to the plan's temperature."
        ),
        gettext_noop("The planned temperature in the kettle, or a slurry as warm as usual."),
        expects={TDS: UP, TIME: DOWN, SLURRY: UP},
        facts=("kettle-swapped", "kettle-descaled"),
        rules=("R13",),
        first_for=Off.DAY,
        hot=True,
    ),
    Hypothesis(
        "kettle-slow",
        Code.KETTLE,
        gettext_noop("The kettle cannot pour as fast as planned, so each pour takes longer."),
        gettext_noop("Use a kettle that pours as fast as the plan asks."),
        gettext_noop("Pours that end when the card says."),
        expects={TIME: UP},
        leaves=(BEVERAGE,),
        facts=("flow-above",),
        needs_fact=True,
        rules=("R8",),
        hot=True,
    ),
    Hypothesis(
        "kettle-fast",
        Code.KETTLE,
        gettext_noop("The kettle cannot pour as slow as planned, so each pour ends sooner."),
        gettext_noop("Use a kettle that holds the plan's slow flow."),
        gettext_noop("Pours that end when the card says."),
        expects={TIME: DOWN},
        leaves=(BEVERAGE,),
        facts=("flow-below",),
        needs_fact=True,
        rules=("R8",),
    ),
    Hypothesis(
        "kettle-other",
        Code.KETTLE,
        gettext_noop("Another kettle pours in another way."),
        gettext_noop("Brew once with the kettle of before beside it, in one session."),
        gettext_noop("Both kettles alike when they are poured side by side."),
        any_way=(TDS, TIME),
        leaves=(BEVERAGE,),
        facts=("kettle-swapped",),
        needs_fact=True,
        rules=("R8",),
    ),
)

COFFEE: tuple[Hypothesis, ...] = (
    Hypothesis(
        "water",
        Code.WATER,
        gettext_noop("The brew water's minerals have changed: another strength in the same time."),
        gettext_noop("Measure the water's hardness, and brew once with the water of before beside it."),
        gettext_noop("Both waters alike when they are brewed side by side."),
        expects={TIME: STEADY},
        any_way=(TDS,),
        facts=("cartridge",),
        rules=("R13",),
        first_for=Off.DAY,
        shared=True,
    ),
    Hypothesis(
        "paper",
        Code.OTHER,
        gettext_noop("The new paper lets water through in another time."),
        gettext_noop("Brew once with the paper of before beside it, in one session."),
        gettext_noop("Both papers alike when they are brewed side by side."),
        any_way=(TIME,),
        leaves=(BEVERAGE,),
        facts=("paper",),
        needs_fact=True,
        rules=("R13",),
        first_for=Off.DAY,
        shared=True,
    ),
    Hypothesis(
        "lot",
        Code.LOT,
        gettext_noop("The new coffee gives up another strength, or drains in another time."),
        gettext_noop(
            "Brew the coffee of before beside it, in one session, if any is left; else dial it in anew."
        ),
        gettext_noop("Both coffees alike when they are brewed side by side."),
        any_way=(TDS, TIME),
        leaves=(),
        facts=("lot", "batch"),
        needs_fact=True,
        shared=True,
    ),
    Hypothesis(
        "age-stronger",
        Code.AGE,
        gettext_noop("The coffee's age moves it this way here, by the café's own readings."),
        gettext_noop("Brew coffee as old as before beside it, in one session."),
        gettext_noop("Both ages alike when they are brewed side by side."),
        expects={TDS: UP},
        facts=("ageing-up",),
        needs_fact=True,
        shared=True,
    ),
    Hypothesis(
        "age-weaker",
        Code.AGE,
        gettext_noop("The coffee's age moves it this way here, by the café's own readings."),
        gettext_noop("Brew coffee as old as before beside it, in one session."),
        gettext_noop("Both ages alike when they are brewed side by side."),
        expects={TDS: DOWN},
        facts=("ageing-down",),
        needs_fact=True,
        shared=True,
    ),
)
