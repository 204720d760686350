"""What pouring and the recipe may do. Directions by R1 to R11 and R15; the mass balance where weights are meant."""

from __future__ import annotations

from brewbar.words import gettext_noop
from calibration.coaching.context import Code, Off
from calibration.coaching.signature import Move, Quantity
from calibration.coaching.trade import Hypothesis

TDS, TIME, BEVERAGE, SLURRY = Quantity.TDS, Quantity.BREW_TIME, Quantity.BEVERAGE, Quantity.SLURRY
UP, DOWN, STEADY = Move.UP, Move.DOWN, Move.STEADY

POURS: tuple[Hypothesis, ...] = (
    Hypothesis(
        "pour-gentler",
        Code.POUR,
        gettext_noop("The pour stirs the bed less: nearer the middle, or with the kettle moved faster."),
        gettext_noop(
            "Pour unhurried circles, from the centre outward and back, and leave height, flow and times as they are."
        ),
        gettext_noop(
            "Full, unhurried circles when somebody watches, or others off in the same way that day."
        ),
        expects={TDS: DOWN, TIME: DOWN},
        rules=("R1", "R2", "R7"),
        first_for=Off.ONE,
    ),
    Hypothesis(
        "pour-harder",
        Code.POUR,
        gettext_noop("The pour stirs the bed more: from higher, or in wider circles."),
        gettext_noop("Hold the spout a little lower, and leave circles, flow and times as they are."),
        gettext_noop(
            "The planned height when somebody looks from the side, or others off in the same way that day."
        ),
        expects={TDS: UP, TIME: UP},
        rules=("R1", "R2", "R5"),
        first_for=Off.ONE,
        hot=True,
    ),
    Hypothesis(
        "pour-broken",
        Code.POUR,
        gettext_noop("The stream breaks before it lands, and drops stir the bed less than a whole stream."),
        gettext_noop("Hold the spout just under the height where the stream breaks."),
        gettext_noop("A stream that is seen to stay whole down to the water."),
        expects={TDS: DOWN, TIME: DOWN},
        facts=("stream-breaks", "high-near-boiling"),
        needs_fact=True,
        rules=("R5", "R6"),
        first_for=Off.ONE,
        hot=True,
    ),
    Hypothesis(
        "pour-hole",
        Code.POUR,
        gettext_noop("A low and fast pour digs a hole, and water runs through it past the coffee."),
        gettext_noop("Pour slower, or hold the spout a little higher."),
        gettext_noop("A flat bed at the end, without a hole."),
        expects={TDS: DOWN, TIME: DOWN},
        facts=("low-and-fast",),
        needs_fact=True,
        rules=("R5",),
        first_for=Off.ONE,
        hot=True,
    ),
    Hypothesis(
        "pour-clogged",
        Code.POUR,
        gettext_noop("The pour has moved fines, which clog the bed, and water finds a way past the coffee."),
        gettext_noop("Hold the spout a little lower in the later pours, and leave the rest as it is."),
        gettext_noop("Paper without a layer of fines, or others off in the same way that day."),
        expects={TDS: DOWN, TIME: UP},
        facts=("stirred-often", "many-pours"),
        rules=("R1",),
        first_for=Off.ONE,
        hot=True,
    ),
    Hypothesis(
        "pour-fewer",
        Code.POUR,
        gettext_noop("The water goes on in fewer, larger pours: a warmer slurry and less agitation."),
        gettext_noop("Pour as often as the card says, each pour to its own weight."),
        gettext_noop("As many pours as planned when somebody counts."),
        expects={TDS: DOWN, TIME: DOWN, SLURRY: UP},
        rules=("R3",),
        first_for=Off.ONE,
    ),
    Hypothesis(
        "pour-more",
        Code.POUR,
        gettext_noop("The water goes on in more, smaller pours: a cooler slurry and more agitation."),
        gettext_noop("Pour as often as the card says, without stopping in between."),
        gettext_noop("As many pours as planned when somebody counts."),
        expects={TDS: UP, TIME: UP, SLURRY: DOWN},
        facts=("many-pours",),
        rules=("R3",),
        first_for=Off.ONE,
    ),
    Hypothesis(
        "pour-past-weight",
        Code.POUR,
        gettext_noop("More water goes on than planned: the last pour ends past its weight."),
        gettext_noop("Stop the last pour a little before its weight: the stream in the air still lands."),
        gettext_noop("The planned weight on the scale when the last pour has ended."),
        expects={TDS: DOWN, TIME: UP, BEVERAGE: UP},
        first_for=Off.ONE,
    ),
    Hypothesis(
        "pour-short",
        Code.POUR,
        gettext_noop("Less water goes on than planned: the last pour ends before its weight."),
        gettext_noop("Pour the last pour right up to its weight."),
        gettext_noop("The planned weight on the scale when the last pour has ended."),
        expects={TDS: UP, TIME: DOWN, BEVERAGE: DOWN},
        first_for=Off.ONE,
    ),
    Hypothesis(
        "pour-unsteady",
        Code.POUR,
        gettext_noop("The flow is not held from pour to pour."),
        gettext_noop(
            "Practise one flow with cold water, from 2 g/s up step by step, before the next check brew."
        ),
        gettext_noop("A steady flow drill."),
        any_way=(TDS, TIME),
        facts=("unsteady-drill", "flow-drips"),
        needs_fact=True,
        rules=("R9",),
        first_for=Off.ONE,
    ),
)

RECIPES: tuple[Hypothesis, ...] = (
    Hypothesis(
        "recipe-repeats-badly",
        Code.RECIPE,
        gettext_noop("The recipe raises and lowers the kettle, which nobody does alike twice."),
        gettext_noop("Check with a recipe that holds one height."),
        gettext_noop("The same difference in a recipe that holds one height."),
        any_way=(TDS, TIME),
        facts=("pattern-rise-and-fall",),
        needs_fact=True,
        rules=("R10",),
    ),
    Hypothesis(
        "recipe-wall",
        Code.RECIPE,
        gettext_noop("Water poured on the paper slows the brew and passes the coffee by."),
        gettext_noop("Pour circles instead, with one short rinse-down at most."),
        gettext_noop("The same difference in a recipe without pours on the wall."),
        expects={TDS: DOWN, TIME: UP},
        facts=("pattern-wall",),
        needs_fact=True,
        rules=("R10",),
    ),
    Hypothesis(
        "recipe-long",
        Code.RECIPE,
        gettext_noop("The brew takes too long for this coffee's acidity."),
        gettext_noop(
            "Pour the last pour in the centre; if that unbalances the cup, lower the spout or the flow."
        ),
        gettext_noop("Acidity still muted when the brew is shorter."),
        expects={TIME: UP},
        facts=("muted-acidity",),
        needs_fact=True,
        rules=("R11", "R2"),
        hot=True,
        does={TDS: DOWN},
    ),
    Hypothesis(
        "recipe-version-more",
        Code.RECIPE,
        gettext_noop("This version of the recipe agitates more than the one before."),
        gettext_noop("Brew the version before beside it, in one session."),
        gettext_noop("Both versions alike when they are brewed side by side."),
        expects={TDS: UP, TIME: UP},
        facts=("version-more",),
        needs_fact=True,
        rules=("R1",),
        shared=True,
    ),
    Hypothesis(
        "recipe-version-less",
        Code.RECIPE,
        gettext_noop("This version of the recipe agitates less than the one before."),
        gettext_noop("Brew the version before beside it, in one session."),
        gettext_noop("Both versions alike when they are brewed side by side."),
        expects={TDS: DOWN, TIME: DOWN},
        facts=("version-less",),
        needs_fact=True,
        rules=("R1",),
        shared=True,
    ),
    Hypothesis(
        "recipe-version",
        Code.RECIPE,
        gettext_noop("The recipe has a new version."),
        gettext_noop("Brew the version before beside it, in one session."),
        gettext_noop("Both versions alike when they are brewed side by side."),
        any_way=(TDS, TIME, BEVERAGE),
        leaves=(),
        facts=("version",),
        needs_fact=True,
        shared=True,
    ),
)
