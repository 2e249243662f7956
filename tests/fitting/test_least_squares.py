"""Bounded least squares against a general-purpose optimiser: scipy's trust-region reflective method.

Outside source: scipy.optimize.least_squares and lsq_linear; the test functions of H. H. Rosenbrock (1960) and
M. J. D. Powell (1962), as in J. J. More, B. S. Garbow and K. E. Hillstrom, ACM TOMS 7, 1981 (from memory).
"""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares, lsq_linear

from railmodel.fitting.least_squares import descend
from railmodel.geometry.rows import Array

WEAK = 1e-6
"""A pull too weak to be seen in the answers."""


@given(seed=st.integers(0, 10_000))
def test_linear_problems_end_where_scipy_ends(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 7))
    matrix, side = rng.normal(size=(count + 3, count)), rng.normal(size=count + 3)

    def look(x: Array) -> tuple[Array, Array]:
        return x @ matrix.T - side, np.broadcast_to(matrix, (len(x), *matrix.shape))

    found = descend(look, rng.random((3, count)), np.full(count, 0.5), (WEAK,))
    expected = lsq_linear(matrix, side, bounds=(0, 1), tol=1e-14).x
    for lane in found:
        assert lane == pytest.approx(expected, abs=1e-6)


def rosenbrock(x: Array) -> tuple[Array, Array]:
    """Its valley bends; least at (1, 1) of x = 4 v - 2."""
    a, b = (4 * x - 2).T
    residual = np.stack([10 * (b - a * a), 1 - a], axis=1)
    zero = np.zeros_like(a)
    return residual, 4 * np.stack([np.stack([-20 * a, zero + 10], 1), np.stack([zero - 1, zero], 1)], axis=1)


def powell(x: Array) -> tuple[Array, Array]:
    """Singular at its least, the origin of x = 4 v - 1."""
    a, b, c, d = (4 * x - 1).T
    zero = np.zeros_like(a)
    residual = np.stack([a + 10 * b, 5**0.5 * (c - d), (b - 2 * c) ** 2, 10**0.5 * (a - d) ** 2], axis=1)
    rows = [
        [zero + 1, zero + 10, zero, zero],
        [zero, zero, zero + 5**0.5, zero - 5**0.5],
        [zero, 2 * (b - 2 * c), -4 * (b - 2 * c), zero],
        [2 * 10**0.5 * (a - d), zero, zero, -2 * 10**0.5 * (a - d)],
    ]
    return residual, 4 * np.stack([np.stack(row, axis=1) for row in rows], axis=1)


@pytest.mark.parametrize(("look", "count"), [(rosenbrock, 2), (powell, 4)])
def test_hard_valleys_are_gone_down_to_the_end(
    look: Callable[[Array], tuple[Array, Array]], count: int
) -> None:
    starts = np.random.default_rng(3).random((8, count))
    found = descend(look, starts, np.full(count, 0.5), (1.0, 1e-2, 1e-4, WEAK))
    for start, lane in zip(starts, found, strict=True):
        other = least_squares(lambda v: look(v[None])[0][0], start, bounds=(0, 1), xtol=1e-14, ftol=1e-14, gtol=1e-14)
        assert (look(lane[None])[0] ** 2).sum() <= max(2 * other.cost, 1e-7)


def test_a_bound_in_the_way_is_kept_to_exactly() -> None:
    def look(x: Array) -> tuple[Array, Array]:  # least at (1.5, 0.25): outside
        return x - [1.5, 0.25], np.broadcast_to(np.eye(2), (len(x), 2, 2))

    (found,) = descend(look, np.array([[0.2, 0.9]]), np.zeros(2), (WEAK,))
    assert found[0] == 1.0
    assert found[1] == pytest.approx(0.25, abs=1e-9)


def test_among_many_answers_the_one_nearest_home_is_taken() -> None:
    def look(x: Array) -> tuple[Array, Array]:  # met everywhere on x + y = 1
        return x.sum(axis=1, keepdims=True) - 1, np.ones((len(x), 1, 2))

    starts = np.array([[0.0, 0.0], [1.0, 1.0], [0.9, 0.1]])
    found = descend(look, starts, np.array([0.2, 0.4]), (1.0, 1e-2, 1e-4))
    for lane in found:
        assert lane == pytest.approx([0.4, 0.6], abs=1e-6)  # (0.2, 0.4) brought square onto the line


def test_lanes_do_not_touch_each_other() -> None:
    starts = np.random.default_rng(4).random((5, 2))
    together = descend(rosenbrock, starts, np.full(2, 0.5), (1.0, 1e-3))
    for start, lane in zip(starts, together, strict=True):
        (alone,) = descend(rosenbrock, start[None], np.full(2, 0.5), (1.0, 1e-3))
        assert lane == pytest.approx(alone, abs=1e-12)


def test_a_start_that_is_no_shape_stays_where_it_is() -> None:
    def look(x: Array) -> tuple[Array, Array]:
        residual = np.where(x > 0.5, np.nan, x)
        return residual, np.broadcast_to(np.eye(1), (len(x), 1, 1))

    found = descend(look, np.array([[0.9], [0.4]]), np.zeros(1), (WEAK,))
    assert found[0, 0] == 0.9
    assert found[1, 0] == pytest.approx(0.0, abs=1e-9)
