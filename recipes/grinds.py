"""Grind settings as they are marked on a machine: mostly numbers, sometimes not. Pure: no Django."""

from __future__ import annotations

import re
from decimal import Decimal

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
