"""What to try: from what recent brews did and what happened around them to likely causes, and whether a change held.

`signature_of` says what is up, down or steady, `advise` what may be behind it and what to try first, `follow_up`
whether fresh brews are back. Common practice, never certainty. Nothing here knows Django or a database.
"""

from calibration.coaching.causes import Advice, Cause, advise
from calibration.coaching.context import (
    Ageing,
    CheckState,
    Code,
    Context,
    Drill,
    Happening,
    InstrumentChecks,
    Kind,
    Off,
    Tie,
    Usual,
)
from calibration.coaching.effects import Effect, Showing, Spread
from calibration.coaching.following_up import FollowedUp, FreshPair, Standing, follow_up
from calibration.coaching.signature import (
    USUAL_SMALLEST_BEVERAGE_G,
    USUAL_SMALLEST_SLURRY_K,
    Against,
    Compared,
    Move,
    Quantity,
    Scope,
    Sign,
    Signature,
    compared,
    signature_of,
)

__all__ = [
    "USUAL_SMALLEST_BEVERAGE_G",
    "USUAL_SMALLEST_SLURRY_K",
    "Advice",
    "Against",
    "Ageing",
    "Cause",
    "CheckState",
    "Code",
    "Compared",
    "Context",
    "Drill",
    "Effect",
    "FollowedUp",
    "FreshPair",
    "Happening",
    "InstrumentChecks",
    "Kind",
    "Move",
    "Off",
    "Quantity",
    "Scope",
    "Showing",
    "Sign",
    "Signature",
    "Spread",
    "Standing",
    "Tie",
    "Usual",
    "advise",
    "compared",
    "follow_up",
    "signature_of",
]
