"""Dual numbers: values are ordinary arithmetic, slopes are the derivatives that complex steps and differences give.

Outside source of the check: the complex-step derivative, exact to rounding (W. Squire and G. Trapp, SIAM Review 40,
1998, pages 110 to 112; from memory), worked out by numpy's own complex arithmetic.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.fitting import dual
from railmodel.fitting.dual import Dual

STEP = 1e-30

FORMULAS: dict[str, tuple[Callable[..., Any], Callable[..., Any]]] = {
    # in duals, and in plain numpy that also takes complex numbers
    "sum": (lambda x, y: x + y + 2.0, lambda x, y: x + y + 2.0),
    "difference": (lambda x, y: 3.0 - x - y, lambda x, y: 3.0 - x - y),
    "product": (lambda x, y: x * y * 2.0 * x, lambda x, y: x * y * 2.0 * x),
    "quotient": (lambda x, y: x / y + 2.0 / y, lambda x, y: x / y + 2.0 / y),
    "divided by a number": (lambda x, y: x / 4.0 - y / np.array(3.0), lambda x, y: x / 4.0 - y / 3.0),
    "root": (lambda x, y: dual.sqrt(x * x + y), lambda x, y: np.sqrt(x * x + y)),
    "sine and cosine": (lambda x, y: dual.sin(x) * dual.cos(y), lambda x, y: np.sin(x) * np.cos(y)),
    "negative": (lambda x, y: -x * y, lambda x, y: -x * y),
}


@pytest.mark.parametrize("name", FORMULAS)
@given(x=st.floats(0.1, 5.0), y=st.floats(0.1, 5.0))
def test_slopes_of_numbers_are_those_of_complex_steps(name: str, x: float, y: float) -> None:
    ours, plain = FORMULAS[name]
    at = Dual.variables([x, y])
    found = ours(at[..., 0], at[..., 1])
    assert found.value == pytest.approx(plain(x, y), rel=1e-14)
    assert found.slope[0] == pytest.approx(plain(x + 1j * STEP, y).imag / STEP, rel=1e-12, abs=1e-14)
    assert found.slope[1] == pytest.approx(plain(x, y + 1j * STEP).imag / STEP, rel=1e-12, abs=1e-14)


@given(x=st.floats(-5.0, 5.0), y=st.floats(-5.0, 5.0))
def test_the_slope_of_an_angle_is_that_of_the_complex_logarithm(x: float, y: float) -> None:
    # arctan2(y, x) is the imaginary part of log(x + i y), whose derivative is 1 / (x + i y)
    if abs(complex(x, y)) < 1e-3:
        return
    at = Dual.variables([x, y])
    found = dual.arctan2(at[..., 1], at[..., 0])
    assert found.value == np.arctan2(y, x)
    assert found.slope == pytest.approx([(1 / complex(x, y)).imag, (1j / complex(x, y)).imag], rel=1e-12, abs=1e-15)


def vectors(seed: int, *shape: int) -> Dual:
    rng = np.random.default_rng(seed)
    return Dual(rng.normal(size=(*shape, 3)), rng.normal(size=(*shape, 3, 4)))


@pytest.mark.parametrize("name", ["dot", "cross", "norm", "unit", "scaled"])
def test_slopes_of_vectors_are_central_differences(name: str) -> None:
    a, b = vectors(1, 5, 2), vectors(2, 5, 2)
    rules: dict[str, Callable[[Dual, Dual], Dual]] = {
        "dot": dual.dot, "cross": dual.cross, "norm": lambda a, _: dual.norm(a), "unit": lambda a, _: dual.unit(a),
        "scaled": lambda a, b: dual.scaled(a, dual.dot(a, b)),
    }  # fmt: skip
    found = rules[name](a, b)
    for k in range(4):
        ahead, behind = (
            rules[name](*(Dual(v.value + h * v.slope[..., k], v.slope) for v in (a, b))).value for h in (1e-6, -1e-6)
        )
        assert found.slope[..., k] == pytest.approx((ahead - behind) / 2e-6, rel=1e-6, abs=1e-8)


def test_vectors_follow_numpy() -> None:
    a, b = vectors(1, 5, 2), vectors(2, 5, 2)
    assert dual.dot(a, b).value == pytest.approx(np.sum(a.value * b.value, axis=-1), rel=1e-13)
    assert dual.cross(a, b).value == pytest.approx(np.cross(a.value, b.value), rel=1e-13)
    assert dual.norm(a).value == pytest.approx(np.linalg.norm(a.value, axis=-1), rel=1e-13)
    assert dual.norm(dual.unit(a)).value == pytest.approx(np.ones((5, 2)), rel=1e-14)
    assert dual.dot(a, b.value).value == pytest.approx(dual.dot(a, b).value, rel=1e-15)


def test_pieces_go_in_and_out_unchanged() -> None:
    a, b = vectors(1, 4), vectors(2, 4)
    both = dual.stack([a, b], axis=-2)
    assert both.shape == (4, 2, 3)
    for k, one in enumerate((a, b)):
        assert np.array_equal(both[:, k].value, one.value)
        assert np.array_equal(both[:, k].slope, one.slope)
    row = dual.join([a, b])
    assert np.array_equal(row[..., 3:].value, b.value)
    assert np.array_equal(row[..., 3:].slope, b.slope)
    which = np.array([True, False, True, False])
    picked = dual.choose(which, a[:, 0], b[:, 0])
    assert np.array_equal(picked.value, np.where(which, a.value[:, 0], b.value[:, 0]))
    assert np.array_equal(picked.slope, np.where(which[:, None], a.slope[:, 0], b.slope[:, 0]))


def test_an_array_in_front_gives_way() -> None:
    a = vectors(1, 4)
    row = np.array([1.0, -1.0, 1.0])
    assert np.array_equal((row * a).value, row * a.value)
    assert np.array_equal((row * a).slope, row[:, None] * a.slope)
    assert np.array_equal((row - a).slope, -a.slope)
    assert np.array_equal((row + a).value, row + a.value)


def test_nothing_has_no_direction_and_no_slope() -> None:
    nothing = Dual(np.zeros((1, 3)), np.ones((1, 3, 2)))
    assert np.array_equal(dual.unit(nothing).value, np.zeros((1, 3)))
    assert np.array_equal(dual.norm(nothing).slope, np.zeros((1, 2)))
