"""Options that belong to one kind of chart only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from calibration.studies.sheet import Unusable


def only_for(given: Mapping[str, Any], uses: Mapping[str, Sequence[str]]) -> None:
    """Refuse what another kind would use, rather than leave it unheeded."""
    kind = given["kind"]
    wrong = {option for options in uses.values() for option in options} - set(uses[kind])
    faults = []
    for option in sorted(wrong):
        if given[option] is None or given[option] is False:
            continue
        others = [other for other, options in uses.items() if option in options]
        faults.append(f"--{option.strip('_')} is for {' and '.join(others)}, not for {kind}.")
    if faults:
        raise Unusable(*faults)


def defaults(given: Mapping[str, Any], options: Sequence[str]) -> dict[str, Any]:
    """Those that were given; the others are as the scheme has them."""
    return {option: given[option] for option in options if given[option] is not None}
