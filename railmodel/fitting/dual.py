"""Dual numbers over arrays: a value with its exact first derivatives, carried forward through ordinary arithmetic.

Every rule is the chain rule of calculus (forward-mode differentiation: Griewank and Walther, Evaluating Derivatives,
2nd edition, 2008, chapter 3). Any batch shape; vectors lie along the last axis of a value.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Union

import numpy as np
from numpy.typing import NDArray

from railmodel.geometry.rows import Array

Operand = Union["Dual", Array, float]


@dataclass(frozen=True, slots=True, eq=False)
class Dual:
    """A value and its derivatives.

    Args:
        value: (...).
        slope: (..., k) derivatives by k variables; its leading axes are those of `value`.
    """

    value: Array
    slope: Array

    __array_ufunc__: ClassVar[None] = None  # an array on the left leaves the work to us

    @classmethod
    def constant(cls, value: Any, count: int) -> "Dual":
        """A value that depends on none of `count` variables."""
        value = np.asarray(value, dtype=float)
        return cls(value, np.zeros((*value.shape, count)))

    @classmethod
    def variables(cls, values: Any) -> "Dual":
        """Values (..., k) that are the k variables themselves."""
        values = np.asarray(values, dtype=float)
        count = values.shape[-1]
        return cls(values, np.broadcast_to(np.eye(count), (*values.shape, count)))

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the value."""
        return self.value.shape

    @property
    def count(self) -> int:
        """How many variables there are."""
        return int(self.slope.shape[-1])

    def __getitem__(self, key: Any) -> "Dual":
        key = key if isinstance(key, tuple) else (key,)
        deeper = (*key, slice(None)) if key[0] is Ellipsis else key  # an ellipsis stands in front or nowhere
        return Dual(self.value[key], self.slope[deeper])

    def __neg__(self) -> "Dual":
        return Dual(-self.value, -self.slope)

    def __add__(self, other: Operand) -> "Dual":
        if isinstance(other, Dual):
            return Dual(self.value + other.value, self.slope + other.slope)
        value = self.value + other
        return Dual(value, _spread(self.slope, value))

    def __sub__(self, other: Operand) -> "Dual":
        if isinstance(other, Dual):
            return Dual(self.value - other.value, self.slope - other.slope)
        value = self.value - other
        return Dual(value, _spread(self.slope, value))

    def __rsub__(self, other: Array | float) -> "Dual":
        return -self + other

    def __mul__(self, other: Operand) -> "Dual":
        if isinstance(other, Dual):
            slope = self.slope * other.value[..., None] + other.slope * self.value[..., None]
            return Dual(self.value * other.value, slope)
        return Dual(self.value * other, self.slope * np.asarray(other)[..., None])

    def __truediv__(self, other: Operand) -> "Dual":
        if isinstance(other, Dual):
            value = self.value / other.value
            return Dual(value, (self.slope - other.slope * value[..., None]) / other.value[..., None])
        return self * (1 / np.asarray(other))

    def __rtruediv__(self, other: Array | float) -> "Dual":
        value = other / self.value
        return Dual(np.asarray(value), self.slope * (-value / self.value)[..., None])

    __radd__ = __add__
    __rmul__ = __mul__


def _spread(slope: Array, value: Array) -> Array:
    """Slopes broadcast to a value that became larger."""
    return slope if slope.shape[:-1] == value.shape else np.broadcast_to(slope, (*value.shape, slope.shape[-1]))


def sqrt(x: Dual) -> Dual:
    """Square root; of nothing, the slope is nothing too."""
    root = np.sqrt(x.value)
    return Dual(root, x.slope * np.where(root > 0, 0.5 / np.maximum(root, 1e-300), 0.0)[..., None])


def sin(x: Dual) -> Dual:
    """Sine of radians."""
    return Dual(np.sin(x.value), x.slope * np.cos(x.value)[..., None])


def cos(x: Dual) -> Dual:
    """Cosine of radians."""
    return Dual(np.cos(x.value), x.slope * -np.sin(x.value)[..., None])


def arctan2(y: Dual, x: Dual) -> Dual:
    """Angle of (x, y) from the x axis, radians in [-pi, pi]."""
    square = np.maximum(x.value * x.value + y.value * y.value, 1e-300)
    slope = (y.slope * x.value[..., None] - x.slope * y.value[..., None]) / square[..., None]
    return Dual(np.arctan2(y.value, x.value), slope)


def dot(a: Dual, b: Dual | Array) -> Dual:
    """Scalar product along the last axis: (..., 3) and (..., 3) give (...)."""
    if isinstance(b, Dual):
        slope = np.einsum("...ik,...i->...k", a.slope, b.value) + np.einsum("...ik,...i->...k", b.slope, a.value)
        return Dual(np.einsum("...i,...i->...", a.value, b.value), slope)
    return Dual(np.einsum("...i,...i->...", a.value, b), np.einsum("...ik,...i->...k", a.slope, b))


def cross(a: Dual, b: Dual) -> Dual:
    """Vector product along the last axis."""
    slope = _cross(a.slope, b.value[..., None]) + _cross(a.value[..., None], b.slope)
    return Dual(_cross(a.value[..., None], b.value[..., None])[..., 0], slope)


def _cross(a: Array, b: Array) -> Array:
    """Vector product along the last axis but one."""
    ax, ay, az = a[..., 0, :], a[..., 1, :], a[..., 2, :]
    bx, by, bz = b[..., 0, :], b[..., 1, :], b[..., 2, :]
    first = ay * bz - az * by
    found = np.empty((*first.shape[:-1], 3, first.shape[-1]))
    found[..., 0, :] = first
    found[..., 1, :] = az * bx - ax * bz
    found[..., 2, :] = ax * by - ay * bx
    return found


def norm(a: Dual) -> Dual:
    """Length along the last axis."""
    return sqrt(dot(a, a))


def unit(a: Dual) -> Dual:
    """The vector at length 1; one of no length stays as it is."""
    size = norm(a)
    return a / Dual(np.maximum(size.value, 1e-12), size.slope)[..., None]


def scaled(vector: Dual, by: Dual) -> Dual:
    """Vectors (..., 3) times numbers (...)."""
    return vector * by[..., None]


def stack(parts: Sequence[Dual], axis: int = -1) -> Dual:
    """Several of one shape side by side along a new axis of the value."""
    place = axis if axis >= 0 else axis - 1
    return Dual(np.stack([part.value for part in parts], axis), np.stack([part.slope for part in parts], place))


def join(parts: Sequence[Dual], axis: int = -1) -> Dual:
    """Several end to end along an axis of the value."""
    place = axis if axis >= 0 else axis - 1
    values, slopes = [part.value for part in parts], [part.slope for part in parts]
    return Dual(np.concatenate(values, axis), np.concatenate(slopes, place))


def choose(which: NDArray[np.bool_], yes: Dual, no: Dual) -> Dual:
    """One or the other, element by element; neither may be nan where it is not taken."""
    return Dual(np.where(which, yes.value, no.value), np.where(which[..., None], yes.slope, no.slope))
