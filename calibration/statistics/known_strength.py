"""Whether an instrument reads a liquid of known strength right: distilled water, or sucrose weighed into it.

TDS is in %, strength of sucrose in °Bx: grams in 100 g. Three answers, since a rule that gave the instrument the
benefit of the whole uncertainty would pass one that is wrong by 0.04 % about half of the time:

    passed    the error is within the bound
    unclear   beyond it, by no more than the uncertainty can explain: bound ⊕ U, squares added; mix and read again
    failed    beyond that

What a coffee instrument shows of sucrose is known from no source to better than 0.02 % TDS in each °Bx, which is as
much as it may be wrong. So the stated factor is only where `own_factor` begins: the instrument's own first standards
weigh in with what they are worth, and after a few of them stand for it. They cannot tell an error that was there from
the first day; they see every change since.

JCGM 100:2008 (GUM), equation 10. Weighted mean: e.g. Bevington and Robinson 2003, Data reduction and error analysis
for the physical sciences, 3rd edition, equations 4.17 and 4.19 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import fsum, hypot, sqrt

from brewbar.words import gettext as _
from calibration.statistics.uncertainty import COVERAGE_K

PURITY_U = 0.003 / sqrt(3)
"""Relative. White sugar is 99.7 % sucrose or more: Council Directive 2001/111/EC (from memory), rectangular."""


class Word(StrEnum):
    PASSED = "passed"
    UNCLEAR = "unclear"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Finding:
    """error: read less expected; u: its standard uncertainty; bound: that a pass keeps to. All in % TDS."""

    error: float
    u: float
    bound: float

    @property
    def U(self) -> float:
        return COVERAGE_K * self.u

    @property
    def unclear_to(self) -> float:
        return hypot(self.bound, self.U)

    @property
    def word(self) -> Word:
        # typed decimals: 1.53 is at the edge of 1.50 ± 0.03, not a float's breadth outside it
        size = round(abs(self.error), 9)
        if size <= round(self.bound, 9):
            return Word.PASSED
        return Word.UNCLEAR if size <= round(self.unclear_to, 9) else Word.FAILED


def finding(
    read_tds: float, expected_tds: float, u_read: float, bound: float, u_expected: float = 0.0
) -> Finding:
    """u_read: of one reading, see `u_of_reading`; u_expected: of what it should read."""
    if not (u_read >= 0 and u_expected >= 0 and bound >= 0):
        raise ValueError(_("A bound and an uncertainty are 0 or more."))
    return Finding(read_tds - expected_tds, hypot(u_read, u_expected), bound)


def u_of_reading(repeatability_sd: float, resolution: float) -> float:
    """One reading: repeatability, and the display's rounding (GUM, F.2.2.1). The sample's temperature is left out,
    since the zero was set on water that was as warm."""
    return hypot(repeatability_sd, resolution / sqrt(12))


# --- sucrose


@dataclass(frozen=True, slots=True)
class Factor:
    """% TDS that an instrument shows for each °Bx of sucrose; u: standard uncertainty; n: own standards behind it."""

    value: float
    u: float
    n: int


def own_factor(
    standards: Sequence[tuple[float, float]], u_each: float, stated: float, u_stated: float
) -> Factor:
    """From ``standards``, of which each is what was read and its °Bx, and the factor that is stated.

    u_each: standard uncertainty of what is read of a standard, with that of its mixing, in % TDS.
    """
    if not (u_each > 0 and u_stated > 0) or any(brix <= 0 for _read, brix in standards):
        raise ValueError(_("A standard's strength and uncertainty must be above 0."))
    weights = [1 / u_stated**2, *((brix / u_each) ** 2 for _read, brix in standards)]
    factors = [stated, *(read / brix for read, brix in standards)]
    whole = fsum(weights)
    value = fsum(weight * factor for weight, factor in zip(weights, factors, strict=True)) / whole
    return Factor(value, 1 / sqrt(whole), len(standards))


@dataclass(frozen=True, slots=True)
class Expected:
    """What a standard should read, in % TDS, with its standard uncertainty; brix: its strength."""

    tds: float
    u: float
    brix: float


def sucrose_reads(sucrose_g: float, solution_g: float, scale_step_g: float, factor: Factor) -> Expected:
    """Of ``sucrose_g`` in ``solution_g``, water and all, each weighed to one step of the scale (engineering estimate:
    reading, taring, linearity)."""
    if not (0 < sucrose_g < solution_g and scale_step_g > 0):
        raise ValueError(_("A solution weighs more than the sucrose in it, and both more than nothing."))
    brix = 100 * sucrose_g / solution_g
    weighed = hypot(100, brix) * scale_step_g / solution_g  # dB/ds = 100/m, dB/dm = −B/m
    u = hypot(factor.value * weighed, factor.value * brix * PURITY_U, brix * factor.u)
    return Expected(factor.value * brix, u, brix)
