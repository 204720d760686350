"""What is said wherever somebody pours or measures with hot water. It defers to local rules and first aid courses.

Moritz and Henriques 1947, Studies of thermal injury II, Am. J. Pathol. 23:695: water on skin takes 5 s at 60 °C to
burn through its full thickness; tables for householders give 2 s at 65 °C. Kettle water is far above that, so no
time is told. Cooling for 20 minutes under running water is what first aid bodies advise.
"""

from brewbar.words import gettext_noop

AT_ONCE_FROM_C = 65.0
"""From here on water is said to scald at once: no time is safe."""

POURING = (
    gettext_noop("Water from the kettle scalds at once, and so does steam, which leaves the spout first."),
    gettext_noop("Pour away from the body. The higher the spout, the further it splashes: 150 mm or lower."),
    gettext_noop(
        "Fill the kettle only as far as you can lift it steadily with one hand, and keep its lid on."
    ),
    gettext_noop("Keep children and whoever passes by away from kettle and brewer."),
    gettext_noop(
        "A scald: hold it under cool running water for 20 minutes, take off rings and wet clothes that do not "
        "stick, and get help."
    ),
    gettext_noop("Your workplace's safety rules and local codes come first."),
)

MEASURING_A_KETTLE = (
    gettext_noop("Begin with cold water. Fill the kettle half and lock its lid."),
    gettext_noop(
        "Stand a deep vessel in a sink, on the scale if it fits, and stay below the height of your elbow."
    ),
    gettext_noop("Hold one flow: the scale tells grams, a clock seconds."),
    gettext_noop(
        "Raise the kettle slowly until the stream breaks into drops before it lands, or to 200 mm. Note the height "
        "of the spout over the surface, the flow and the temperature. 'Not broken by 200 mm' counts too."
    ),
    gettext_noop(
        "Do it at three flows or more. Only then go on with hot water, with the same care and a dry grip."
    ),
)
