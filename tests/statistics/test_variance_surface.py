"""The likelihood of cells against one written down with whole matrices, on small random designs."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.special import chdtri

from calibration.statistics.absorbing import Surface
from calibration.statistics.cells import collapse
from calibration.statistics.searching import Held, lowest, lowest_of_all, stand
from calibration.statistics.variance import fit

TERMS = (
    ("staff",),
    ("staff", "day"),
    ("staff", "day", "staff:day"),
    ("staff", "staff:day"),
    ("staff", "day", "coffee"),
    ("staff", "day", "coffee", "staff:day"),
    ("staff:day", "coffee", "staff:day:coffee"),
)


class Whole:
    """V, its inverse and P as matrices, over the rows."""

    def __init__(self, y, x, indicators, ratios, ml):
        v = np.eye(len(y)) + sum(ratio * z @ z.T for ratio, z in zip(ratios, indicators, strict=True))
        inverse = np.linalg.inv(v)
        xvx = x.T @ inverse @ x
        self.covariance = np.linalg.inv(xvx)
        self.p = inverse - inverse @ x @ self.covariance @ x.T @ inverse
        self.beta = self.covariance @ x.T @ inverse @ y
        self.log_det = np.linalg.slogdet(v)[1] + (0 if ml else np.linalg.slogdet(xvx)[1])
        self.ypy = y @ self.p @ y
        middle = inverse if ml else self.p
        self.traces = [np.trace(middle @ z @ z.T) for z in indicators]
        self.pulls = [z.T @ self.p @ y for z in indicators]
        self.precisions = [np.diag(z.T @ self.p @ z) for z in indicators]
        self.information = [
            [y @ self.p @ z @ z.T @ self.p @ other @ other.T @ self.p @ y for other in indicators]
            for z in indicators
        ]


def drawn(seed, rows, terms, fixed):
    """Any imbalance: levels are drawn row by row. Values far from 0, as readings with leading digits are."""
    rng = np.random.default_rng(seed)
    factors = {
        "staff": rng.integers(0, 4, rows),
        "day": [f"d{one}" for one in rng.integers(0, 6, rows)],
        "coffee": [("washed", "natural", "honey")[one] for one in rng.integers(0, 3, rows)],
    }
    y = rng.normal(0, 1, rows) + rng.normal(0, 1, 4)[factors["staff"]] + 1000
    age, machine = rng.normal(0, 1, rows), [("left", "right")[one] for one in rng.integers(0, 2, rows)]
    columns = {"age": age, "machine": machine} if fixed else {}
    x = np.ones((rows, 1))
    if fixed:
        x = np.column_stack([x, age - age.mean(), [one == "right" for one in machine]])
    return y, factors, columns, x, [_indicators(factors, term) for term in terms]


def _indicators(factors, term):
    labels = list(zip(*(list(factors[part]) for part in term.split(":")), strict=True))
    return np.array([[one == level for level in sorted(set(labels))] for one in labels], dtype=float)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 10**6),
    rows=st.integers(12, 50),
    terms=st.sampled_from(TERMS),
    fixed=st.booleans(),
    ml=st.booleans(),
    powers=st.lists(st.sampled_from([None, -6, -2, 0, 1, 3]), min_size=4, max_size=4),
)
def test_every_quantity_is_that_of_the_whole_matrices(seed, rows, terms, fixed, ml, powers):
    y, factors, columns, x, indicators = drawn(seed, rows, terms, fixed)
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return
    ratios = np.array([0.0 if power is None else 10.0**power for power in powers[: len(terms)]])
    cells = collapse(y, factors, terms, columns)
    found = Surface(cells, ml).at(ratios, each=True)
    whole = Whole(y - cells.shift, x, indicators, ratios, ml)
    # the whole matrices lose about as many digits as γ has before the point
    close = {"rtol": 1e-7, "atol": 1e-9}
    for name in ("log_det", "ypy", "traces", "information", "beta", "covariance"):
        np.testing.assert_allclose(getattr(found, name), getattr(whole, name), err_msg=name, **close)
    for name in ("pulls", "precisions"):
        for one, other in zip(getattr(found, name), getattr(whole, name), strict=True):
            np.testing.assert_allclose(one, other, err_msg=name, **close)


@settings(derandomize=True, deadline=None, max_examples=15)
@given(
    seed=st.integers(0, 10**6),
    rows=st.integers(25, 50),
    terms=st.sampled_from(TERMS[:4]),
    ml=st.booleans(),
)
def test_no_place_nearby_is_lower(seed, rows, terms, ml):
    y, factors, _columns, x, indicators = drawn(seed, rows, terms, False)
    found = fit(y, factors, terms, ml=ml, intervals=False, predictions=False, merge_below=0)
    if found.criterion is None or len(found.components) != len(terms) + 1:
        return
    variances = np.array([one.variance for one in found.components.values()])
    df = rows if ml else rows - 1

    def criterion(at):
        whole = Whole(y - y.mean(), x, indicators, at[:-1] / at[-1], ml)
        return df * np.log(2 * np.pi * at[-1]) + whole.log_det + whole.ypy / at[-1]

    lowest_here = criterion(variances)
    assert found.criterion == pytest.approx(lowest_here, abs=1e-6)
    step = 1e-3 * variances.sum()
    for place in range(len(variances)):
        for direction in (-1, 1):
            beside = variances.copy()
            beside[place] += direction * step
            if beside[place] > 0 or (beside[place] == 0 and place < len(terms)):
                assert criterion(beside) > lowest_here - 1e-9
    rng = np.random.default_rng(seed)
    for _try in range(10):
        assert criterion(rng.dirichlet(np.ones(len(variances))) * variances.sum()) > lowest_here - 1e-9


@settings(derandomize=True, deadline=None, max_examples=20)
@given(seed=st.integers(0, 10**6), ml=st.booleans(), terms=st.sampled_from(TERMS[:4]))
def test_slopes_are_those_of_small_steps(seed, ml, terms):
    y, factors, columns, _x, _indicators_of = drawn(seed, 40, terms, True)
    surface = Surface(collapse(y, factors, terms, columns), ml)
    at = np.random.default_rng(seed).uniform(0.3, 2.0, len(terms) + 1)
    here = stand(surface, at, free_scale=False)
    for place in range(len(at)):
        step = np.zeros_like(at)
        step[place] = 1e-5
        rise = (
            stand(surface, at + step, free_scale=False).criterion
            - stand(surface, at - step, free_scale=False).criterion
        )
        assert here.slope[place] == pytest.approx(rise / 2e-5, rel=1e-4, abs=1e-4)


def test_a_profile_is_lowest_where_nothing_is_held_and_rises_from_there():
    y, factors, columns, _x, _z = drawn(3, 60, TERMS[2], True)
    surface = Surface(collapse(y, factors, TERMS[2], columns))
    best = lowest_of_all(surface)
    for place in range(4):
        own = float(best.variances[place])
        rises = [
            lowest(surface, best.variances, Held(place, amount=own + more)).criterion - best.criterion
            for more in np.array([0.0, 0.1, 0.5, 2.0, 20.0]) * best.variances.sum()
        ]
        assert rises[0] == pytest.approx(0, abs=1e-6)
        assert all(one < other for one, other in pairwise(rises))


@pytest.mark.parametrize("seed", [1, 2, 5])
@pytest.mark.parametrize("ml", [False, True])
def test_limits_lie_where_a_slow_profile_has_risen_by_the_quantile(seed, ml):
    y, factors, _columns, x, indicators = drawn(seed, 40, TERMS[0], False)
    found = fit(y, factors, TERMS[0], ml=ml, predictions=False)
    df = len(y) if ml else len(y) - 1

    def criterion(of_staff, of_residual):
        whole = Whole(y - y.mean(), x, indicators, [of_staff / of_residual], ml)
        return df * np.log(2 * np.pi * of_residual) + whole.log_det + whole.ypy / of_residual

    def best_beside(with_free):
        """The lowest over the variance that is free, by its log."""
        return minimize_scalar(lambda free: with_free(np.exp(free)), bounds=(-12, 8), method="bounded").fun

    staff, residual = found.components["staff"], found.components["residual"]
    profiles = {
        staff.sd_low: lambda free: criterion(staff.sd_low**2, free),
        staff.sd_high: lambda free: criterion(staff.sd_high**2, free),
        residual.sd_low: lambda free: criterion(free, residual.sd_low**2),
        residual.sd_high: lambda free: criterion(free, residual.sd_high**2),
        staff.share_low: lambda free: criterion(free * staff.share_low, free * (1 - staff.share_low)),
        staff.share_high: lambda free: criterion(free * staff.share_high, free * (1 - staff.share_high)),
    }
    for limit, with_free in profiles.items():
        rise = best_beside(with_free) - found.criterion
        assert rise == pytest.approx(chdtri(1, 0.05), abs=1e-3) or (limit == 0 and rise < chdtri(1, 0.05))
    assert residual.share_high == pytest.approx(1 - staff.share_low, abs=1e-4)
    assert residual.share_low == pytest.approx(1 - staff.share_high, abs=1e-4)
