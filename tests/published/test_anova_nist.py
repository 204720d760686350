"""Analysis of variance against NIST's certified values, its handbook, and Fox and Weisberg's unbalanced example.

The nine simulated sets of NIST StRD, SmLs01 to SmLs09, follow one exact pattern: nine groups of 21, 201 or 2001
values, the first at its level, then 0.1 below and above it in turn, with 1, 7 or 13 constant leading digits. Five of
them are certified in tests/data/statistics; the four others have, by the same algebra, the same values.
"""

from fractions import Fraction

import pytest

from calibration.statistics.anova import anova, one_way, spreads
from tests.published.cases import columns, expected, holds, numbers

OFFSETS = {"01": 0, "02": 0, "03": 0, "04": 6, "05": 6, "06": 6, "07": 12, "08": 12, "09": 12}
SIZES = dict(zip(OFFSETS, [21, 201, 2001] * 3, strict=True))
TENTHS = (4, 3, 5, 3, 5, 3, 5, 3, 5)


def simulated(number):
    whole, size = 10 ** OFFSETS[number], SIZES[number]
    values, groups = [], []
    for group, tenth in enumerate(TENTHS):
        shifts = [0] + [-1, 1] * (size // 2)
        # the decimal as typed, to the nearest float
        values += [float(Fraction(10 * whole + tenth + shift, 10)) for shift in shifts]
        groups += [group] * size
    return values, groups


def certified(found):
    (term,) = found.terms.values()
    return {
        "F": term.f,
        "SS between": term.ss,
        "SS within": found.residual.ss,
        "R-squared": found.r_squared,
        "residual SD": found.residual.sd,
    }


def test_sirstv():
    path = "anova1_sirstv.csv"
    holds("anova1_sirstv", certified(one_way(numbers(path, "y"), columns(path)["group"])))


@pytest.mark.parametrize("number", ["01", "02", "04", "06", "07"])
def test_smls_certified(number):
    holds(f"anova1_smls{number}", certified(one_way(*simulated(number))))


@pytest.mark.parametrize("number", OFFSETS)
def test_smls_closed_form(number):
    size = SIZES[number]
    # Σ n (level - mean)² with levels 0.4, 0.3, 0.5, …, and two thirds of a hundredth for each step within
    levels = [Fraction(tenth, 10) for tenth in TENTHS]
    between = size * sum((level - sum(levels) / 9) ** 2 for level in levels)
    within = 9 * (size - 1) * Fraction(1, 100)
    f = (between / 8) / (within / (9 * (size - 1)))
    found = certified(one_way(*simulated(number)))
    # the floats nearest to 10^12 + 0.4 are off by up to 6e-5, which is all that is lost
    relative = 1e-3 if OFFSETS[number] == 12 else 1e-8
    assert found["F"] == pytest.approx(float(f), rel=relative)
    assert found["SS between"] == pytest.approx(float(between), rel=relative)
    assert found["SS within"] == pytest.approx(float(within), rel=relative)


def test_gear_diameters():
    path = "anova1_gear.csv"
    y, batch = numbers(path, "diameter"), columns(path)["batch"]
    found = spreads(y, batch)
    computed = {
        "F": one_way(y, batch).terms["group"].f,
        "Bartlett": found.bartlett,
        "Levene (median)": found.levene,
    }
    holds("anova1_gear", computed)


def test_moore_types():
    path = "anova2_moore.csv"
    table = columns(path)
    factors = {name: table[name] for name in ("fcategory", "partner_status")}
    by_kind = {kind: anova(numbers(path, "conformity"), factors, kind) for kind in (1, 2, 3)}
    computed = {
        "Type I SS fcategory (first)": by_kind[1].terms["fcategory"].ss,
        "SS interaction": by_kind[2].terms["fcategory:partner_status"].ss,
        "SS residual": by_kind[2].residual.ss,
    }
    for kind, roman in ((2, "II"), (3, "III")):
        for name in factors:
            computed[f"Type {roman} SS {name}"] = by_kind[kind].terms[name].ss
    holds("anova2_moore", computed)
    assert {found.terms["fcategory:partner_status"].ss for found in by_kind.values()} == {
        computed["SS interaction"]
    }
    assert len(expected("anova2_moore")) == 7
