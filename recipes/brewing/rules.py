"""The rules of the trade, R1 to R15, as they are said to people. Common practice, no source, every one.

Rules that judge one plan speak through its findings; R1 to R5 also compare two plans (`expectations`); the rest is
for whoever looks for the cause of a cup that is off. None gives a number.
"""

from brewbar.words import gettext_noop

COMMON_PRACTICE = gettext_noop("common practice, no source")

RULES: dict[str, str] = {
    "R1": gettext_noop(
        "Unless the bed clogs or channels, more agitation extracts more, and moves more fines, which may slow or "
        "stall the bed."
    ),
    "R2": gettext_noop(
        "With the same dose, water and times, circles throughout give more TDS than a last pour in the centre, and "
        "that gives more than pouring all in the centre after the bloom."
    ),
    "R3": gettext_noop(
        "Fewer, larger pours make a taller water column, a warmer slurry and less agitation; more, smaller ones brew "
        "cooler, agitate more and move more fines."
    ),
    "R4": gettext_noop("While one pour goes on, its agitation falls as the water column over the bed grows."),
    "R5": gettext_noop(
        "Agitation grows with the height of the spout up to just under where the stream breaks, and falls beyond. "
        "Pouring low and fast can dig a hole in the bed."
    ),
    "R6": gettext_noop(
        "Where the stream breaks changes with the flow, comes sooner with hotter water, and sooner when the kettle "
        "is moved fast. Near boiling the kettle spits: for a high pour stay a little under the local boiling point."
    ),
    "R7": gettext_noop("Moving the kettle faster wets the bed sooner but agitates less."),
    "R8": gettext_noop(
        "Kettles differ: a narrow spout pours slow and even but never fast, a wide one fast but is hard to hold "
        "slow. A plan says a flow that its kettle can hold."
    ),
    "R9": gettext_noop(
        "Practise holding one flow, from slow to fast, step by step, with cold water. Below about 1.5 g/s most "
        "spouts only drip."
    ),
    "R10": gettext_noop(
        "Raising and lowering the kettle does not repeat, so it is not for check recipes or training. Pours on the "
        "wall are avoided; one short rinse-down of high grounds is normal."
    ),
    "R11": gettext_noop(
        "Muted acidity with a long brew time: shorten it, with more pouring in the centre. If that unbalances the "
        "cup, keep the circles and lower the spout or the flow."
    ),
    "R12": gettext_noop(
        "A dense washed coffee that sheds fines goes sour and stays slow when coarser, and stalls when finer: use "
        "faster paper, or grind much finer, hotter, bloom directly, then pour with a broken stream."
    ),
    "R13": gettext_noop(
        "When a whole day is off, look at grind, dose, kettle temperature, paper and water first; when one person "
        "is off, at pouring first."
    ),
    "R14": gettext_noop(
        "Two brews at the same extraction yield can taste different: the taste note stands beside."
    ),
    "R15": gettext_noop(
        "A plan whose last target weight is not the recipe's brew water is a mistake, always."
    ),
}

# What the models of this package say of a rule: see stream, slurry and foresight, which name their sources
PHYSICS: dict[str, str] = {
    "R3": gettext_noop(
        "Physics agrees on the mean of what runs out, by a few degrees; at the end of the brew the slurry is about "
        "as warm either way."
    ),
    "R4": gettext_noop("Physics agrees: a stream loses speed in the water that it falls into."),
    "R5": gettext_noop(
        "Physics agrees as far as the stream stays whole; of a broken one no energy is reckoned."
    ),
    "R6": gettext_noop(
        "Physics says otherwise of the heat: hot water pulls itself together less, so its stream would break "
        "slightly later. Turbulence could turn that round. No measurement of a hot kettle is known, so measure yours "
        "at brewing temperature."
    ),
}

RULE_OF_FINDING: dict[str, str] = {
    "stirred-often": "R1",
    "many-pours": "R3",
    "stream-breaks": "R5",
    "low-and-fast": "R5",
    "high-near-boiling": "R6",
    "flow-range": "R8",
    "flow-drips": "R9",
    "pattern-rise-and-fall": "R10",
    "pattern-wall": "R10",
    "water-missing": "R15",
    "water-over": "R15",
}
