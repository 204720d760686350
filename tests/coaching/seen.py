"""Signatures for tests: each figure two smallest differences away or none, well told."""

from datetime import date

from calibration.coaching import (
    Against,
    CheckState,
    Compared,
    Context,
    InstrumentChecks,
    Quantity,
    Scope,
    Signature,
    Spread,
    signature_of,
)

DAY = date(2026, 3, 2)
SMALLEST = {
    Quantity.TDS: 0.05,
    Quantity.YIELD: 0.8,
    Quantity.BREW_TIME: 6.0,
    Quantity.BEVERAGE: 5.0,
    Quantity.SLURRY: 2.0,
}
SPREADS = {Quantity.TDS: Spread(0.03, 0.05), Quantity.BREW_TIME: Spread(6.0, 6.0)}
RIGHT = InstrumentChecks(CheckState.PASSED, CheckState.PASSED, DAY)
_WAYS = {"+": 2.0, "-": -2.0, "=": 0.0}
_NAMES = {
    "tds": Quantity.TDS,
    "time": Quantity.BREW_TIME,
    "beverage": Quantity.BEVERAGE,
    "slurry": Quantity.SLURRY,
}


def one_off(**ways: str) -> Signature:
    """One person beside the others of the day: "+", "-", or "=" for shown to be steady; left out is not measured."""
    return _seen(Scope.PERSON, Against.OTHERS, ways)


def day_off(**ways: str) -> Signature:
    return _seen(Scope.DAY, Against.EARLIER, ways)


def _seen(scope: Scope, against: Against, ways: dict[str, str]) -> Signature:
    differences = {
        _NAMES[name]: Compared(_WAYS[way] * SMALLEST[_NAMES[name]], SMALLEST[_NAMES[name]] / 3, 8)
        for name, way in ways.items()
    }
    return signature_of(scope, against, differences, SMALLEST)


def checked(**context) -> Context:
    """The instrument ruled out."""
    return Context(instrument=RIGHT, **context)


def keys(advice) -> list[str]:
    """Of the causes of the cup, in their order."""
    return [one.key for one in advice.causes if one.key not in {"instrument", "chance"}]
