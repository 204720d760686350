"""Grind settings as they are marked on a machine: mostly numbers, sometimes not. Pure: no Django."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

_NUMBER = re.compile(r"\d{1,6}([.,]\d{1,3})?")


def as_number(setting: str) -> Decimal | None:
    """The setting as a number; None for a marking such as "4C" that is none."""
    marked = setting.strip()
    return Decimal(marked.replace(",", ".")) if _NUMBER.fullmatch(marked) else None


def stepped(setting: str, step: Decimal, steps: int) -> str | None:
    """The setting ``steps`` clicks of ``step`` further on, so that the opposite step leads back.

    A scale marked 3.9 goes on with 4.0, one marked 24 with 25. None where the marking is no number or would fall
    below zero.
    """
    number = as_number(setting)
    if number is None or number + steps * step < 0:
        return None
    decimals = max(_decimals(number), _decimals(step.normalize()))
    shown = f"{number + steps * step:.{decimals}f}"
    return shown.replace(".", ",") if "," in setting else shown


def _decimals(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return max(-exponent, 0) if isinstance(exponent, int) else 0


def same_setting(one: str, other: str) -> bool:
    """Whether two markings mean the same place on the scale: "24" and "24.0" do."""
    number = as_number(one)
    return one.strip() == other.strip() if number is None else number == as_number(other)


# --- from one grinder to another

FAR_STEPS = 5
"""An offset found at 24 says little at 40: from so many steps of the scale on, that is said. Common practice, no
source."""


@dataclass(frozen=True)
class Converted:
    """A setting carried to another grinder: ``here`` was found to grind like ``there``, as ``match`` says.

    is_far: whether what was asked for lies far from ``here``, where the offset was found.
    """

    setting: str
    match: Any
    here: str
    there: str
    is_far: bool


def convert(setting: str, from_grinder: Any, to_grinder: Any, matches: Iterable[Any]) -> Converted | None:
    """``setting`` of one grinder as the other is marked, by the newest of ``matches`` that can say; else None.

    A grinder has a ``pk`` and its ``setting_step``; a match the ``setting`` of its ``grinder_id`` that was found to
    grind like the ``other_setting`` of its ``other_id``. Those given stand, and come newest first. A match says
    for the very settings that it names; for others, the offset between its two where all are numbers, in whole
    steps of the other grinder. Nothing is carried through a third grinder.
    """
    for match in matches:
        here, there = _seen_from(match, from_grinder.pk, to_grinder.pk)
        if not here:
            continue
        if same_setting(setting, here):
            return Converted(there, match, here, there, is_far=False)
        asked, found, marked = as_number(setting), as_number(here), as_number(there)
        if asked is None or found is None or marked is None:
            continue
        step = to_grinder.setting_step
        steps = int(((asked - found) / step).to_integral_value(ROUND_HALF_UP))
        carried = stepped(there, step, steps)
        is_far = abs(asked - found) > FAR_STEPS * from_grinder.setting_step
        return None if carried is None else Converted(carried, match, here, there, is_far)
    return None


def _seen_from(match: Any, from_pk: Any, to_pk: Any) -> tuple[str, str]:
    if (match.grinder_id, match.other_id) == (from_pk, to_pk):
        return match.setting, match.other_setting
    if (match.other_id, match.grinder_id) == (from_pk, to_pk):
        return match.other_setting, match.setting
    return "", ""
