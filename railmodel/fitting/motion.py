"""Travel of a keep-clear shape: how it turns, rolls, slides and lifts, each over a range.

The four variables act on the shape in this order: `turn` (steering, about its own axis), `roll` (one wheel up, about
a pivot), `slide` (along a line), `lift` (up, along +Z); so a kingpin rolls and lifts with the axle that carries it.
They are independent: every combination of them is travelled. Variables tied together are driven by one parameter,
each going evenly from its own start to its own end.

Vehicle axes: X rearward, Y to the right, Z up, right-handed, the orientation of the SAE J1100 reference system.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import isfinite, pi
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from railmodel.errors import GeometryError
from railmodel.geometry.rows import Array
from railmodel.tolerances import ANGLE

Variable = Literal["turn", "roll", "slide", "lift"]

VARIABLES: tuple[Variable, ...] = ("turn", "roll", "slide", "lift")
"""Order in which they act."""

Vector = tuple[float, float, float]

Index = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Span:
    """From where to where a variable goes; `start` may be the larger, which matters where variables are tied.

    Args:
        start: value at one end of the travel, mm or radians.
        end: value at the other end.

    Raises:
        GeometryError: a value that is not a finite number, or a span that is empty.
    """

    start: float
    end: float

    def __post_init__(self) -> None:
        if not (isfinite(self.start) and isfinite(self.end)):
            raise GeometryError(f"travel from {self.start:g} to {self.end:g} is not a range: give two finite numbers")
        if self.start == self.end:
            raise GeometryError(
                f"travel from {self.start:g} to {self.end:g} is empty: give two different ends, or leave the travel out"
            )


@dataclass(frozen=True, slots=True)
class Turning:
    """A turn about an axis.

    Args:
        through: a point of the axis, mm.
        axis: its direction, any length; positive is right-handed about it.
        span: radians.

    Raises:
        GeometryError: an axis without direction, or more than one full turn.
    """

    through: Vector
    axis: Vector
    span: Span

    def __post_init__(self) -> None:
        _direction("axis", self.axis)
        if abs(self.span.end - self.span.start) > 2 * pi + ANGLE:
            turns = abs(self.span.end - self.span.start) / (2 * pi)
            raise GeometryError(f"a travel of {turns:.3g} full turns goes over itself: give at most one full turn")

    def mirrored(self) -> "Turning":
        """The other side's copy: the same values turn it the mirrored way."""
        x, y, z = self.axis
        return Turning(_mirrored(self.through), (-x + 0.0, y, -z + 0.0), self.span)


@dataclass(frozen=True, slots=True)
class Sliding:
    """A slide along a line.

    Args:
        direction: any length.
        span: mm along it.

    Raises:
        GeometryError: a line without direction.
    """

    direction: Vector
    span: Span

    def __post_init__(self) -> None:
        _direction("slide direction", self.direction)


@dataclass(frozen=True, slots=True)
class Position:
    """Where in its travel a shape stands: `up` and `slide` in mm, `roll` and `turn` in radians; 0 is as drawn."""

    up: float = 0.0
    roll: float = 0.0
    turn: float = 0.0
    slide: float = 0.0


@dataclass(frozen=True)
class Motion:
    """A named travel that one or several shapes share.

    Args:
        turn: steering, about an axis.
        roll: one wheel up, about an axis through a pivot (mostly along X).
        slide: along a line.
        lift: up (positive) and down (negative), mm.
        ties: pairs (variable, leader): the variable is driven by the leader's parameter.
        name: what people call it.

    Raises:
        GeometryError: a tie between variables that do not both travel, or of a variable with itself.
    """

    turn: Turning | None = None
    roll: Turning | None = None
    slide: Sliding | None = None
    lift: Span | None = None
    ties: tuple[tuple[Variable, Variable], ...] = ()
    name: str = ""

    def __post_init__(self) -> None:
        for variable, leader in self.ties:
            for one in (variable, leader):
                if getattr(self, one) is None:
                    raise GeometryError(
                        f"motion {self.name!r}: {variable} goes with {leader}, but {one} has no travel; give it one"
                    )
            if variable == leader:
                raise GeometryError(f"motion {self.name!r}: {variable} cannot go with itself; name another variable")

    @cached_property
    def drivers(self) -> tuple[tuple[Variable, ...], ...]:
        """The variables in groups, each group driven by one parameter from 0 to 1."""
        groups: list[set[Variable]] = [{one} for one in VARIABLES if getattr(self, one) is not None]
        for tie in self.ties:
            joined = [group for group in groups if group & set(tie)]
            groups = [group for group in groups if group not in joined] + [set().union(*joined)]
        return tuple(sorted(tuple(one for one in VARIABLES if one in group) for group in groups))

    @property
    def moves(self) -> bool:
        """Whether there is any travel at all."""
        return bool(self.drivers)

    def span(self, variable: Variable) -> Span | None:
        """Range of a variable, mm or radians; None where it does not travel."""
        found = getattr(self, variable)
        return found if found is None or isinstance(found, Span) else found.span

    def position(self, parameters: ArrayLike) -> Position:
        """Where in the travel the parameters (one a driver, each 0 to 1) put the shape."""
        values = MotionSet([self]).values(np.zeros(1, dtype=int), _padded(parameters))[0]
        return Position(turn=float(values[0]), roll=float(values[1]), slide=float(values[2]), up=float(values[3]))

    def carry(self, points: ArrayLike, at: Position) -> Array:
        """Points (n, 3) as drawn, carried to a position of the travel."""
        values = np.array([[at.turn, at.roll, at.slide, at.up]])
        rotation, shift = MotionSet([self]).place(np.zeros(1, dtype=int), values)
        return np.asarray(np.asarray(points, dtype=float) @ rotation[0].T + shift[0])

    def mirrored(self) -> "Motion":
        """The other side's copy: the same position values give the mirror image."""
        return replace(
            self,
            turn=self.turn and self.turn.mirrored(),
            roll=self.roll and self.roll.mirrored(),
            slide=self.slide and Sliding(_mirrored(self.slide.direction), self.slide.span),
        )


STILL = Motion(name="still")
"""No travel."""


class MotionSet:
    """Several motions as arrays, so that many positions of many shapes are worked out at once.

    Values are (..., 4) in the order of `VARIABLES`; parameters (..., 4), 0 to 1, one a driver, unused ones 0.

    Attributes:
        turns: (2, n) whether each turns, and whether it rolls.
    """

    def __init__(self, motions: Sequence[Motion]) -> None:
        count = len(motions)
        self.drivers = np.array([len(motion.drivers) for motion in motions], dtype=int)
        self.point = np.zeros((2, count, 3))
        self.axis = np.tile([1.0, 0.0, 0.0], (2, count, 1))
        self.slide = np.zeros((count, 3))
        self.base = np.zeros((count, 4))
        self.gain = np.zeros((count, 4, 4))
        for i, motion in enumerate(motions):
            for which, turning in enumerate((motion.turn, motion.roll)):
                if turning is not None:
                    self.point[which, i] = turning.through
                    self.axis[which, i] = _direction("axis", turning.axis)
            if motion.slide is not None:
                self.slide[i] = _direction("slide direction", motion.slide.direction)
            for driver, group in enumerate(motion.drivers):
                for variable in group:
                    span = motion.span(variable)
                    assert span is not None
                    self.base[i, VARIABLES.index(variable)] = span.start
                    self.gain[i, VARIABLES.index(variable), driver] = span.end - span.start
        self.turns = (self.base[:, :2].T != 0) | (self.gain[:, :2] != 0).any(axis=-1).T

    def values(self, which: Index, parameters: Array) -> Array:
        """Values (n, ..., 4) of motions `which` (n,) at parameters (n, ..., 4)."""
        gain, base = self.gain[which], self.base[which]
        if parameters.ndim == 3:
            return np.asarray(base[:, None] + parameters @ gain.transpose(0, 2, 1))
        return np.asarray(base + np.einsum("nvg,ng->nv", gain, parameters))

    def place(self, which: Index, values: Array) -> tuple[Array, Array]:
        """Rotations (n, ..., 3, 3) and shifts (n, ..., 3): a point x as drawn goes to rotation @ x + shift."""
        spread = (slice(None), *([None] * (values.ndim - 2)))
        shift = values[..., 2:3] * self.slide[which][spread]
        shift[..., 2] += values[..., 3]
        rotation = np.broadcast_to(np.eye(3), (*values.shape[:-1], 3, 3))
        rolls, turns = (self.turns[variable, which] for variable in (1, 0))
        # the last to act first: x -> roll @ (turn @ x + own) + own + shift
        for variable, some in ((1, rolls), (0, turns)):
            row = np.flatnonzero(some)
            if not len(row):
                continue
            point, axis = self.point[variable, which[row]][spread], self.axis[variable, which[row]][spread]
            turn = rotations(axis, values[row, ..., variable])
            own = point - _apply(turn, point)
            if variable == 0 and (rolls & turns).any():
                own, turn = _apply(rotation[row], own), rotation[row] @ turn
            if len(row) < len(which):
                rotation = rotation if rotation.flags.writeable else rotation.copy()
                rotation[row] = turn
                shift[row] += own
            else:
                rotation, shift = turn, shift + own
        return rotation, shift

    def reach(self, which: Index, centre: Array, radius: Array) -> tuple[Array, Array, Array]:
        """How fast and how curved balls of points travel.

        Args:
            which: (n,) motion of each ball.
            centre: (n, 3) its centre as drawn, mm.
            radius: (n,) its radius, mm.

        Returns:
            (n, 4) the most its centre moves per unit of each parameter, (n, 4) the most any of its points moves, and
            (n, 4, 4) the largest second derivative of any of its points by each two parameters, mm.
        """
        half = np.abs(self.gain[which]).sum(-1) / 2
        turn = self.base[which] + self.gain[which].sum(-1) / 2
        turn[:, 1:] = 0
        rotation, shift = self.place(which, turn)
        turned = np.einsum("nij,nj->ni", rotation, centre) + shift
        off_turn = _from_axis(centre, self.point[0, which], self.axis[0, which])
        swing = 2 * off_turn * np.sin(np.minimum(half[:, 0], pi) / 2)
        off_roll = _from_axis(turned, self.point[1, which], self.axis[1, which]) + swing
        rate = np.abs(self.gain[which])
        off_turn, off_roll, radius = off_turn[:, None], off_roll[:, None], radius[:, None]
        far_turn, far_roll = off_turn + radius, off_roll + radius
        slide = rate[:, 2] + rate[:, 3]
        middle = rate[:, 0] * off_turn + rate[:, 1] * off_roll + slide
        most = rate[:, 0] * far_turn + rate[:, 1] * far_roll + slide
        turn_roll = _products(rate[:, 0], rate[:, 1])
        second = (_products(rate[:, 0], rate[:, 0]) + turn_roll + turn_roll.transpose(0, 2, 1)) * far_turn[..., None]
        return middle, most, second + _products(rate[:, 1], rate[:, 1]) * far_roll[..., None]


def rotations(axis: Array, angle: Array) -> Array:
    """(..., 3, 3) right-handed rotations about unit axes (..., 3) by angles (...,), radians (Rodrigues' formula)."""
    sine, cosine = np.sin(angle), np.cos(angle)
    versine = 1 - cosine
    x, y, z = axis[..., 0], axis[..., 1], axis[..., 2]
    found = np.empty((*angle.shape, 3, 3))
    found[..., 0, 0], found[..., 1, 1], found[..., 2, 2] = (cosine + versine * (one * one) for one in (x, y, z))
    for i, j, along, other in ((0, 1, z, x * y), (1, 2, x, y * z), (2, 0, y, z * x)):
        even, odd = versine * other, sine * along
        found[..., i, j], found[..., j, i] = even - odd, even + odd
    return found


def _products(one: Array, other: Array) -> Array:
    """(n, k, k) each entry of one (n, k) times each of the other."""
    return np.asarray(one[:, :, None] * other[:, None])


def _apply(rotation: Array, vector: Array) -> Array:
    return np.asarray(np.einsum("...ij,...j->...i", rotation, vector))


def _from_axis(points: Array, through: Array, axis: Array) -> Array:
    off = points - through
    return np.asarray(np.linalg.norm(off - axis * np.sum(off * axis, axis=-1, keepdims=True), axis=-1))


def _direction(name: str, vector: Vector) -> Array:
    found = np.asarray(vector, dtype=float)
    size = np.linalg.norm(found)
    if found.shape != (3,) or not isfinite(size) or size <= ANGLE:
        raise GeometryError(f"{name} {list(vector)} has no direction; give a vector such as [0, 0, 1]")
    return np.asarray(found / size)


def _mirrored(vector: Vector) -> Vector:
    x, y, z = vector
    return x, -y + 0.0, z


def _padded(parameters: ArrayLike) -> Array:
    given = np.atleast_1d(np.asarray(parameters, dtype=float))
    return np.concatenate([given, np.zeros(4 - len(given))])[None]
