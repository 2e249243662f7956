"""Bend rows: the neutral distance, rotation, angle table as arrays, and its way to points and back.

Every function takes a batch axis, so one rail and a hundred thousand rails are the same code. Lengths are in
millimetres, angles in radians. Formulas: trade arithmetic of bent tube (set-back = R tan(angle/2)); the rotation
is the dihedral angle of three successive legs.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from railmodel.errors import GeometryError
from railmodel.geometry.vectors import cross
from railmodel.tolerances import LENGTH, REVERSAL

Array = NDArray[np.float64]

_BLOCK = 1024  # rails worked on at once: keeps every intermediate array inside the processor's cache


@dataclass(frozen=True, slots=True, kw_only=True)
class BendRows:
    """A bend table without its labels; `n` bends, any leading batch shape.

    Args:
        distance: (..., n) straight before each bend, tangent to tangent, mm.
        rotation: (..., n) turn about the travel direction that brings the previous bend direction onto this one,
            right-handed, in (-pi, pi]; the first is measured from the top face.
        angle: (..., n) finished bend, above 0 and below pi.
        radius: (..., n) centreline radius, mm.
        tail: (...,) straight after the last bend, mm.
    """

    distance: Array
    rotation: Array
    angle: Array
    radius: Array
    tail: Array

    @classmethod
    def of(
        cls, distance: ArrayLike, rotation: ArrayLike, angle: ArrayLike, radius: ArrayLike, tail: ArrayLike
    ) -> Self:
        """Rows from anything array-like.

        Raises:
            GeometryError: columns of different length, or a value that is not finite.
        """
        columns = [np.array(column, dtype=float) for column in (distance, rotation, angle, radius, tail)]
        if len({column.shape for column in columns[:4]}) != 1 or columns[0].shape[:-1] != columns[4].shape:
            shapes = ", ".join(str(column.shape) for column in columns)
            raise GeometryError(f"distance, rotation, angle, radius and tail do not fit together: shapes {shapes}")
        if not all(np.isfinite(column).all() for column in columns):
            raise GeometryError("a bend row holds a value that is not a finite number")
        for column in columns:
            column.flags.writeable = False
        return cls(**dict(zip(("distance", "rotation", "angle", "radius", "tail"), columns, strict=True)))

    @property
    def count(self) -> int:
        """Number of bends."""
        return int(self.distance.shape[-1])

    @property
    def straights(self) -> Array:
        """(..., n + 1) straights from the leading end to the tail, mm."""
        return np.concatenate([self.distance, self.tail[..., None]], axis=-1)

    @property
    def roll(self) -> Array:
        """(..., n) where each bend goes on the tube itself: turn from the top face, right-handed, in (-pi, pi]."""
        return wrap(np.cumsum(self.rotation, axis=-1))

    @property
    def developed_length(self) -> Array:
        """(...,) length along the centreline, mm."""
        return np.asarray(self.distance.sum(-1) + (self.radius * self.angle).sum(-1) + self.tail)

    def reversed(self) -> "BendRows":
        """The same tube read from its other end: order reversed, sense of rotations kept.

        The first rotation is measured from the top face again, which is the same face of the same tube.
        """
        roll = -self.roll[..., ::-1]
        rotation = wrap(np.diff(roll, axis=-1, prepend=0.0))
        rotation[..., 1:] = self.rotation[..., :0:-1]  # exactly the numbers that were written
        straights = self.straights[..., ::-1]
        return BendRows.of(
            straights[..., :-1], rotation, self.angle[..., ::-1], self.radius[..., ::-1], straights[..., -1]
        )

    def mirrored(self) -> "BendRows":
        """The other hand: rotations negated, a reversal stays 180 degrees."""
        rotation = np.where(self.rotation == np.pi, np.pi, -self.rotation) + 0.0
        return BendRows.of(self.distance, rotation, self.angle, self.radius, self.tail)


def wrap(angle: ArrayLike) -> Array:
    """Angles brought into (-pi, pi]; whatever is within `tolerances.REVERSAL` of -pi becomes pi.

    >>> wrap([3 * np.pi, -np.pi, 0.5, -0.0])
    array([3.14159265, 3.14159265, 0.5       , 0.        ])
    """
    angle = np.asarray(angle, dtype=float)
    turns = np.ceil((angle - np.pi) / (2 * np.pi) - REVERSAL)
    wrapped = angle - 2 * np.pi * turns
    wrapped = np.where(wrapped <= -np.pi + REVERSAL, np.pi, wrapped)
    return np.minimum(wrapped, np.pi) + 0.0


def rows_from_points(points: ArrayLike, radius: ArrayLike, top: ArrayLike = (0.0, 0.0, 1.0)) -> BendRows:
    """Bend rows of polylines with rounded corners.

    Args:
        points: (..., n + 2, 3) end point, intersection points, end point, mm.
        radius: (..., n) centreline radius at each intersection point, mm (broadcast over the batch).
        top: (..., 3) where the top face looks at the first point; need not be square to the first leg.

    Returns:
        Rows whose batch shape is that of `points`. A straight that comes out negative says that two bends overlap
        by that much. Two successive points that coincide, or a path that doubles back, give nan or infinity:
        `leg_lengths` and `turn_angles` of `railmodel.geometry.points` say where, before this is called.
    """
    points = np.asarray(points, dtype=float)
    batch, bends = points.shape[:-2], points.shape[-2] - 2
    radius = np.broadcast_to(np.asarray(radius, dtype=float), (*batch, bends))
    top = np.broadcast_to(np.asarray(top, dtype=float), (*batch, 3))
    count = int(np.prod(batch, dtype=int))
    flat_points, flat_radius = points.reshape(count, bends + 2, 3), radius.reshape(count, bends)
    flat_top = top.reshape(count, 3)
    straights = np.empty((count, bends + 1))
    rotation, angle = np.empty((count, bends)), np.empty((count, bends))
    for start in range(0, count, _BLOCK):
        part = slice(start, start + _BLOCK)
        straights[part], rotation[part], angle[part] = _block(flat_points[part], flat_radius[part], flat_top[part])
    straights = straights.reshape(*batch, bends + 1)
    return BendRows(
        distance=straights[..., :-1],
        rotation=rotation.reshape(*batch, bends),
        angle=angle.reshape(*batch, bends),
        radius=radius,
        tail=straights[..., -1],
    )


def _block(points: Array, radius: Array, top: Array) -> tuple[Array, Array, Array]:
    """Straights (m, n + 1), rotations (m, n) and angles (m, n) of one block of m rails."""
    x, y, z = np.ascontiguousarray(points.transpose(2, 1, 0))  # each (n + 2, m)
    dx, dy, dz = x[1:] - x[:-1], y[1:] - y[:-1], z[1:] - z[:-1]
    straight = np.sqrt(dx * dx + dy * dy + dz * dz)
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = 1 / straight
        dx, dy, dz = dx * inverse, dy * inverse, dz * inverse
        ax, ay, az, bx, by, bz = dx[:-1], dy[:-1], dz[:-1], dx[1:], dy[1:], dz[1:]
        cx, cy, cz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx  # bend axes, not unit length
        sine = np.sqrt(cx * cx + cy * cy + cz * cz)
        cosine = ax * bx + ay * by + az * bz
        half = sine / (1 + cosine)  # tangent of half the bend angle
        setback = np.ascontiguousarray(radius.T) * half
        straight[:-1] -= setback
        straight[1:] -= setback
        rotation = np.empty_like(sine)
        if len(rotation):
            # dihedral of legs a, b, c: sine part a . (b x c), cosine part (a x b) . (b x c)
            over = dx[:-2] * cx[1:] + dy[:-2] * cy[1:] + dz[:-2] * cz[1:]
            along = cx[:-1] * cx[1:] + cy[:-1] * cy[1:] + cz[:-1] * cz[1:]
            np.arctan2(over, along, out=rotation[1:])
            ux, uy, uz = top.T
            flat = ux * dx[0] + uy * dy[0] + uz * dz[0]
            ux, uy, uz = ux - flat * dx[0], uy - flat * dy[0], uz - flat * dz[0]
            up = ux * dx[1] + uy * dy[1] + uz * dz[1]
            rotation[0] = _turn_from_top(ux, uy, uz, dx, dy, dz, up)
            rotation[rotation <= -np.pi + REVERSAL] = np.pi
            rotation += 0.0
        angle = 2 * np.arctan(half)
    return straight.T, rotation.T, angle.T


def _turn_from_top(ux: Array, uy: Array, uz: Array, dx: Array, dy: Array, dz: Array, up: Array) -> Array:
    """Turn from the top direction u to the first bend's direction, right-handed about the first leg."""
    over = (
        dx[0] * (uy * dz[1] - uz * dy[1])
        + dy[0] * (uz * dx[1] - ux * dz[1])
        + dz[0] * (ux * dy[1] - uy * dx[1])
    )
    return np.asarray(np.arctan2(over, up))


def points_from_rows(rows: BendRows, at: ArrayLike, heading: ArrayLike, top: ArrayLike) -> Array:
    """Intersection points of rows laid out from a start.

    Args:
        rows: bend rows, batch shape (...).
        at: (..., 3) leading end, mm.
        heading: (..., 3) unit travel direction there.
        top: (..., 3) unit direction of the top face there, square to the heading.

    Returns:
        (..., n + 2, 3) end point, intersection points, end point, mm.
    """
    batch, bends = rows.tail.shape, rows.count
    point = np.broadcast_to(np.asarray(at, dtype=float), (*batch, 3)).copy()
    along = np.broadcast_to(np.asarray(heading, dtype=float), (*batch, 3)).copy()
    normal = np.broadcast_to(np.asarray(top, dtype=float), (*batch, 3)).copy()
    setback = rows.radius * np.tan(rows.angle / 2)
    legs = rows.straights
    legs[..., :-1] += setback
    legs[..., 1:] += setback
    points = np.empty((*batch, bends + 2, 3))
    points[..., 0, :] = point
    for i in range(bends):
        point = point + along * legs[..., i, None]
        points[..., i + 1, :] = point
        cos_turn, sin_turn = np.cos(rows.rotation[..., i, None]), np.sin(rows.rotation[..., i, None])
        normal = normal * cos_turn + cross(along, normal) * sin_turn
        cos_bend, sin_bend = np.cos(rows.angle[..., i, None]), np.sin(rows.angle[..., i, None])
        along, normal = along * cos_bend + normal * sin_bend, normal * cos_bend - along * sin_bend
    points[..., -1, :] = point + along * legs[..., -1, None]
    return points


def same_shape(a: BendRows, b: BendRows, tolerance: float = LENGTH) -> bool:
    """Whether two tables with one batch shape describe the same rail, each straight and arc within `tolerance` mm."""
    return bool(
        a.count == b.count
        and np.allclose(a.straights, b.straights, rtol=0, atol=tolerance)
        and np.allclose(a.radius * a.angle, b.radius * b.angle, rtol=0, atol=tolerance)
        and np.allclose(a.radius, b.radius, rtol=0, atol=tolerance)
        and np.all(np.abs(wrap(a.roll - b.roll)) * a.developed_length[..., None] <= tolerance)
    )
