"""Rigid motions of the tube on the bender: slides and swings, as 4 x 4 matrices, mm and radians.

A motion runs over a fraction from 0 to 1. Besides its matrix it knows, in closed form, how far a point reaches in a
direction while the fraction runs through an interval: that is what makes the rehearsal's clearances true bounds.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from railmodel.geometry.rows import Array

X = (1.0, 0.0, 0.0)
Y = (0.0, 1.0, 0.0)
Z = (0.0, 0.0, 1.0)
ORIGIN = (0.0, 0.0, 0.0)


class Motion(Protocol):
    """A rigid motion over a fraction from 0 to 1, in bender axes."""

    def matrix(self, fraction: ArrayLike) -> Array:
        """(..., 4, 4) matrices at fractions (...)."""

    def travel(self, points: Array) -> Array:
        """(...,) an upper bound on the path of points (..., 3) over the whole motion, mm."""

    def furthest(self, directions: Array, points: Array, half: Array) -> Array:
        """(e, v) how far points reach in a direction over an interval.

        Args:
            directions: (e, 3) unit directions.
            points: (e, v, 3) where the points are in the middle of the interval.
            half: (e,) half length of the interval, as a fraction.
        """


@dataclass(frozen=True, slots=True)
class Slide:
    """A straight move by a vector (3,), mm."""

    by: tuple[float, float, float]

    def matrix(self, fraction: ArrayLike) -> Array:
        """(..., 4, 4) matrices at fractions (...)."""
        fraction = np.asarray(fraction, dtype=float)
        matrices = np.broadcast_to(np.eye(4), (*fraction.shape, 4, 4)).copy()
        matrices[..., :3, 3] = fraction[..., None] * np.asarray(self.by)
        return matrices

    def travel(self, points: Array) -> Array:
        """(...,) path of points (..., 3), mm."""
        return np.full(points.shape[:-1], float(np.linalg.norm(self.by)))

    def furthest(self, directions: Array, points: Array, half: Array) -> Array:
        """(e, v) furthest reach over an interval: see `Motion`."""
        along = np.matmul(points, directions[:, :, None])[..., 0]
        reach: Array = along + (np.abs(directions @ np.asarray(self.by)) * half)[:, None]
        return reach


@dataclass(frozen=True, slots=True)
class Swing:
    """A turn about an axis from one angle to another, right-handed, radians.

    Args:
        at: (3,) a point on the axis, mm.
        axis: (3,) its unit direction.
        start: angle at fraction 0.
        end: angle at fraction 1.
    """

    at: tuple[float, float, float]
    axis: tuple[float, float, float]
    start: float
    end: float

    def matrix(self, fraction: ArrayLike) -> Array:
        """(..., 4, 4) matrices at fractions (...)."""
        angle = self.start + np.asarray(fraction, dtype=float) * (self.end - self.start)
        across = _across(self.axis)
        sine, versine = np.sin(angle)[..., None, None], 2 * np.sin(angle / 2)[..., None, None] ** 2
        matrices = np.zeros((*angle.shape, 4, 4))
        matrices[..., :3, :3] = np.eye(3) + sine * across + versine * (across @ across)
        matrices[..., :3, 3] = np.asarray(self.at) - matrices[..., :3, :3] @ np.asarray(self.at)
        matrices[..., 3, 3] = 1.0
        return matrices

    def travel(self, points: Array) -> Array:
        """(...,) path of points (..., 3), mm."""
        arm = np.sqrt((((points - np.asarray(self.at)) @ _across(self.axis)) ** 2).sum(axis=-1))
        return np.asarray(arm * abs(self.end - self.start))

    def furthest(self, directions: Array, points: Array, half: Array) -> Array:
        """(e, v) furthest reach over an interval: see `Motion`.

        A point's reach is `level + c cos(a) + b sin(a)`, `a` its turn from the middle of the interval.
        """
        axis, at = np.asarray(self.axis), np.asarray(self.at)
        frame = np.empty((len(directions), 3, 3))
        frame[:, :, 0], frame[:, :, 1], frame[:, :, 2] = directions, axis, directions @ _across(self.axis)
        parts = np.matmul(points - at, frame)
        axial = parts[..., 1] * (directions @ axis)[:, None]
        c, b = parts[..., 0] - axial, np.abs(parts[..., 2])
        turn = (half * abs(self.end - self.start))[:, None]
        swung = np.where(np.arctan2(b, c) <= turn, np.hypot(b, c), c * np.cos(turn) + b * np.sin(turn))
        reach: Array = (directions @ at)[:, None] + axial + swung
        return reach


@lru_cache(maxsize=64)
def _across(axis: tuple[float, float, float]) -> Array:
    """The matrix (3, 3) that, from the left, makes a vector v into axis x v, and from the right into v x axis."""
    x, y, z = axis
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


STILL = Slide(ORIGIN)
"""No motion at all."""


def moved(matrix: Array, points: Array) -> Array:
    """Points (..., 3) carried by a matrix (4, 4)."""
    carried: Array = points @ matrix[:3, :3].T + matrix[:3, 3]
    return carried


def undone(matrix: Array) -> Array:
    """The inverse (4, 4) of a rigid matrix."""
    back = np.eye(4)
    back[:3, :3] = matrix[:3, :3].T
    back[:3, 3] = -matrix[:3, :3].T @ matrix[:3, 3]
    return back
