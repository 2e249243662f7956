"""Keep-clear shapes: what the rails must not touch. Box, cylinder, sphere, capsule and mesh, in vehicle axes, mm.

Values that make no shape are refused with a `GeometryError` that says which and what would do.
"""

from dataclasses import dataclass, replace
from math import isfinite
from typing import Any, Protocol, Self

import numpy as np

from railmodel.errors import GeometryError
from railmodel.fitting.motion import STILL, Motion, Vector, rotations
from railmodel.fitting.solids import Solids, box_corners, solids_of
from railmodel.geometry.rows import Array
from railmodel.tolerances import LENGTH


class Shape(Protocol):
    """Anything that can be kept clear of."""

    def solids(self) -> Solids:
        """The shape as convex solids where it is drawn."""
        ...

    def mirrored(self) -> Self:
        """The other side's copy, mirrored through the vehicle's centre plane (y -> -y)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box.

    Args:
        at: its centre.
        size: full sizes along its own X, Y, Z.
        turn: turns about the vehicle's X, then Y, then Z, radians, right-handed, about its centre.
    """

    at: Vector
    size: Vector
    turn: Vector = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        _finite("box", at=self.at, size=self.size, turn=self.turn)
        for name, size in zip("xyz", self.size, strict=True):
            _positive("box", f"size along {name}", size)

    def solids(self) -> Solids:
        """One solid: eight corners."""
        at, axes = np.array(self.at, dtype=float), turned(self.turn)
        corners = box_corners(at, axes.T, np.array(self.size) / 2)
        return solids_of(corners[None], lambda _: _native("Box", *self.size), placed=(axes, at))

    def mirrored(self) -> "Box":
        """The other side's copy."""
        x, y, z = self.turn
        return replace(self, at=_flipped(self.at), turn=(-x + 0.0, y, -z + 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sphere:
    """A sphere: centre and diameter."""

    at: Vector
    diameter: float

    def __post_init__(self) -> None:
        _finite("sphere", at=self.at)
        _positive("sphere", "diameter", self.diameter)

    def solids(self) -> Solids:
        """One solid: a point with a ball."""
        at, radius = np.array(self.at, dtype=float), self.diameter / 2
        return solids_of(at[None, None], lambda _: _native("Sphere", radius), ball=radius, placed=(np.eye(3), at))

    def mirrored(self) -> "Sphere":
        """The other side's copy."""
        return replace(self, at=_flipped(self.at))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Long:
    """A shape drawn from one point to another with a diameter."""

    start: Vector
    end: Vector
    diameter: float

    def __post_init__(self) -> None:
        name = type(self).__name__.lower()
        _finite(name, start=self.start, end=self.end)
        _positive(name, "diameter", self.diameter)
        if np.linalg.norm(np.subtract(self.end, self.start)) <= LENGTH:
            raise GeometryError(f"{name} from {list(self.start)} to {list(self.end)} has no length: give two points")

    def mirrored(self) -> Self:
        """The other side's copy."""
        return replace(self, start=_flipped(self.start), end=_flipped(self.end))

    def _solid(self, kind: str, **radii: float) -> Solids:
        ends = np.array([self.start, self.end], dtype=float)
        along = ends[1] - ends[0]

        length = float(np.linalg.norm(along))
        placed = _about_z(along / length), ends.mean(axis=0)

        def make(_: int) -> Any:
            return _native(kind, self.diameter / 2, length)

        return solids_of(ends[None], make, axis=(along / length)[None], placed=placed, **radii)


class Cylinder(_Long):
    """A cylinder with flat ends: the middles of its two ends, and a diameter."""

    def solids(self) -> Solids:
        """One solid: a segment with a disc."""
        return self._solid("Cylinder", disc=self.diameter / 2)


class Capsule(_Long):
    """A cylinder with half-ball ends: the middles of the two balls, and a diameter."""

    def solids(self) -> Solids:
        """One solid: a segment with a ball."""
        return self._solid("Capsule", ball=self.diameter / 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepClear:
    """A named shape with its travel.

    Args:
        name: what people call it.
        shape: where it stands as drawn.
        motion: its travel.
    """

    name: str
    shape: Shape
    motion: Motion = STILL

    def mirrored(self, name: str) -> "KeepClear":
        """The other side's copy under its own name."""
        return KeepClear(name=name, shape=self.shape.mirrored(), motion=self.motion.mirrored())


def turned(turn: Vector) -> Array:
    """(3, 3) rotation of turns about the vehicle's X, then Y, then Z axis, radians, right-handed."""
    about_x, about_y, about_z = rotations(np.eye(3), np.asarray(turn, dtype=float))
    return np.asarray(about_z @ about_y @ about_x)


def _native(kind: str, *sizes: float) -> Any:
    """The collision library's own shape, which is drawn about its middle and, where it is round, about Z."""
    import coal

    return getattr(coal, kind)(*sizes)


def _about_z(along: Array) -> Array:
    """A rotation (3, 3) that brings Z to a unit direction (3,)."""
    x = np.cross(along, np.eye(3)[int(np.argmin(np.abs(along)))])
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(along, x), along], axis=-1)


def _finite(shape: str, **values: Vector) -> None:
    for name, value in values.items():
        if len(value) != 3 or not all(isfinite(one) for one in value):
            raise GeometryError(f"{shape}: {name} {list(value)} is not a place: give three finite numbers")


def _positive(shape: str, name: str, value: float) -> None:
    if not 0 < value < float("inf"):
        raise GeometryError(f"{shape}: {name} {value:g} is not a length: it must be above 0")


def _flipped(vector: Vector) -> Vector:
    x, y, z = vector
    return x, -y + 0.0, z
