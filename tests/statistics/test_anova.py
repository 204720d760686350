"""Analysis of variance: least squares with every column written out beside the cells' way; boundaries; invariances."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from calibration.statistics.anova import anova, one_way, spreads

PLAIN = settings(derandomize=True, deadline=None, max_examples=60)
designs = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 2)), min_size=4, max_size=30)


def contrasts(codes):
    """Columns of a factor that sum to zero over its levels."""
    levels = sorted(set(codes))
    codes = np.array(codes)
    return [(codes == level).astype(float) - (codes == levels[-1]) for level in levels[:-1]]


def fit(y, *blocks):
    """Residual sum of squares and rank of a least-squares fit on a constant and the blocks' columns."""
    X = np.column_stack([np.ones(len(y)), *[column for block in blocks for column in block]])
    coefficients, _, rank, _ = np.linalg.lstsq(X, y, rcond=1e-10)
    return float(((y - X @ coefficients) ** 2).sum()), int(rank)


def naive(y, a, b, kind):
    A, B = contrasts(a), contrasts(b)
    AB = [one * other for one in A for other in B]
    without = {
        1: ((), (A,)),
        2: ((B,), (A,)),
        3: ((B, AB), (A, AB)),
    }[kind]
    full = {1: ((A,), (A, B)), 2: ((A, B), (A, B)), 3: ((A, B, AB), (A, B, AB))}[kind]
    lines = [
        (fit(y, *fewer)[0] - fit(y, *more)[0], fit(y, *more)[1] - fit(y, *fewer)[1])
        for fewer, more in zip(without, full, strict=True)
    ]
    both, everything = fit(y, A, B), fit(y, A, B, AB)
    return [*lines, (both[0] - everything[0], everything[1] - both[1])], everything


@PLAIN
@given(designs, st.integers(0, 10**6), st.sampled_from([1, 2, 3]))
def test_against_written_out_columns(cells, seed, kind):
    a, b = zip(*cells, strict=True)
    filled = len(set(cells))
    assume(len(cells) > filled)
    assume(kind != 3 or filled == len(set(a)) * len(set(b)))
    y = np.random.default_rng(seed).normal(0, 1, len(cells))
    found = anova(y + 50, {"a": a, "b": b}, kind)
    lines, (rss, rank) = naive(y, a, b, kind)
    for name, (ss, df) in zip(("a", "b", "a:b"), lines, strict=True):
        if name == "a:b" and df == 0:
            assert name not in found.terms
            continue
        assert found.terms[name].df == df
        assert found.terms[name].ss == pytest.approx(ss, abs=1e-9)
    assert (found.residual.df, found.residual.ss) == (len(y) - rank, pytest.approx(rss, abs=1e-9))


@PLAIN
@given(st.lists(st.integers(0, 4), min_size=3, max_size=25), st.integers(0, 10**6))
def test_one_way_against_another_program(groups, seed):
    assume(1 < len(set(groups)) < len(groups))
    y = np.random.default_rng(seed).normal(0, 1, len(groups))
    parts = [y[np.array(groups) == group] for group in set(groups)]
    term = one_way(y, groups).terms["group"]
    other = stats.f_oneway(*parts)
    assert (term.f, term.p) == (pytest.approx(other.statistic), pytest.approx(other.pvalue))


def test_spreads_against_another_program():
    rng = np.random.default_rng(5)
    groups = rng.integers(0, 4, 60)
    y = rng.normal(0, 1 + groups)
    parts = [y[groups == group] for group in range(4)]
    found = spreads(y, groups)
    bartlett, levene = stats.bartlett(*parts), stats.levene(*parts, center="median")
    assert (found.bartlett, found.bartlett_p) == pytest.approx((bartlett.statistic, bartlett.pvalue))
    assert (found.levene, found.levene_p) == pytest.approx((levene.statistic, levene.pvalue))


def test_all_types_agree_on_balanced_data():
    a, b = np.repeat([0, 1, 2], 8), np.tile(np.repeat([0, 1], 4), 3)
    y = np.random.default_rng(1).normal(0, 1, 24)
    tables = [anova(y, {"a": a, "b": b}, kind) for kind in (1, 2, 3)]
    for name in ("a", "b", "a:b"):
        sums = [table.terms[name].ss for table in tables]
        assert sums == pytest.approx([sums[0]] * 3)
    parts = sum(term.ss for term in tables[0].terms.values()) + tables[0].residual.ss
    assert parts == pytest.approx(tables[0].total_ss)


def test_order_of_rows_and_names_of_levels_do_not_matter():
    rng = np.random.default_rng(2)
    a, b, y = rng.integers(0, 3, 40), rng.integers(0, 4, 40), rng.normal(0, 1, 40)
    order = rng.permutation(40)
    one = anova(y, {"a": a, "b": b})
    other = anova(y[order], {"a": [f"level {9 - code}" for code in a[order]], "b": b[order].tolist()})
    for name, term in one.terms.items():
        assert other.terms[name].ss == pytest.approx(term.ss)
        assert other.terms[name].df == term.df


def test_many_rows_in_one_pass():
    # 60 people, 365 days: far more levels than anybody would write columns for
    rng = np.random.default_rng(4)
    a, b = rng.integers(0, 60, 50_000), rng.integers(0, 365, 50_000)
    found = anova(rng.normal(0, 1, 50_000), {"a": a, "b": b}, 2)
    assert [found.terms[name].df for name in ("a", "b")] == [59, 364]
    assert found.residual.sd == pytest.approx(1, abs=0.02)


def test_further_apart_means_a_larger_f():
    fs = [one_way([0, 1, 0 + d, 1 + d], [1, 1, 2, 2]).terms["group"].f for d in (0, 0.5, 1, 4)]
    assert fs == sorted(fs)


def test_one_value_a_cell_has_its_interaction_for_residual():
    found = anova([1.0, 2.0, 3.0, 5.0, 4.0, 4.5], {"a": [0, 0, 1, 1, 2, 2], "b": [0, 1] * 3})
    assert list(found.terms) == ["a", "b"]
    assert found.residual.df == 2
    assert "cannot be told from the residual" in found.notes[0]


def test_parts_that_share_no_level():
    found = anova([1.0, 2.0, 4.0, 5.0], {"a": [0, 0, 1, 1], "b": [0, 0, 1, 1]})
    assert (found.terms["a"].df, found.terms["a"].f) == (0, None)
    assert "share no level" in found.notes[0]


def test_type_3_wants_every_pair_of_levels():
    found = anova([1.0, 2.0, 4.0, 5.0, 7.0], {"a": [0, 0, 1, 1, 1], "b": [0, 0, 0, 1, 1]}, 3)
    assert any("type 3 cannot be told" in note for note in found.notes)


def test_one_group():
    found = one_way([1.0, 2.0], ["a", "a"])
    assert found.terms["group"].f is None
    assert "one group only" in found.notes[0]


def test_one_reading_and_all_equal():
    alone = one_way([1.4], ["a"])
    assert (alone.residual.sd, alone.terms["group"].p, alone.r_squared) == (None, None, None)
    equal = one_way([1.4] * 4, [1, 1, 2, 2])
    assert (equal.terms["group"].f, equal.terms["group"].p, equal.residual.sd) == (None, None, 0.0)


def test_no_spread_within_the_groups():
    term = one_way([1.0, 1.0, 2.0, 2.0], [1, 1, 2, 2]).terms["group"]
    assert (term.f, term.p) == (float("inf"), 0.0)


def test_equal_values_are_equal_however_their_sum_rounds():
    term = one_way([0.3, 0.1, 0.1, 0.1, 0.3, 0.3], [1, 2, 2, 2, 1, 1]).terms["group"]
    assert (term.f, term.p) == (float("inf"), 0.0)


@pytest.mark.parametrize(
    ("values", "groups", "says"),
    [
        ([1.0, 2.0, 3.0], [1, 2, 3], "Two groups of two"),
        ([1.0, 1.0, 2.0, 2.0], [1, 1, 2, 2], "No group scatters"),
    ],
)
def test_spreads_that_cannot_be_told(values, groups, says):
    found = spreads(values, groups)
    assert found.levene is None
    assert says in found.reason


def test_one_group_without_spread_leaves_levene():
    found = spreads([1.0, 1.0, 2.0, 2.5], [1, 1, 2, 2])
    assert found.bartlett is None
    assert found.levene is not None


@pytest.mark.parametrize(
    ("values", "factors", "kind", "says"),
    [
        ([1.0, float("nan")], {"a": [1, 2]}, 2, "row 2"),
        ([1.0, 2.0], {"a": [1]}, 2, "needs its a"),
        ([1.0, 2.0], {"a": [1, None]}, 2, "Row 2 has no a"),
        ([1.0, 2.0], {}, 2, "one factor or two"),
        ([1.0, 2.0], {"a": [1, 2]}, 4, "1, 2 or 3"),
    ],
)
def test_refuses(values, factors, kind, says):
    with pytest.raises(ValueError, match=says):
        anova(values, factors, kind)
