"""A bent centreline in space: straights and arcs, tangent at every joint, with the tube frame carried along.

The tube frame (t, s, u): t along the centreline, u from the bottom to the top face, s = u x t, right-handed. Through
a bend the frame turns with the bend and does not twist about t.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from railmodel.errors import GeometryError
from railmodel.geometry.rows import Array, BendRows, points_from_rows, rows_from_points
from railmodel.geometry.vectors import cross
from railmodel.tolerances import ANGLE


@dataclass(frozen=True, slots=True)
class Pose:
    """Places on a centreline with the tube frame there; every field is (..., 3), directions are unit length."""

    at: Array
    t: Array
    s: Array
    u: Array

    @classmethod
    def of(cls, at: ArrayLike, heading: ArrayLike, top: ArrayLike) -> "Pose":
        """A pose from a point and two directions; `top` is made square to `heading`.

        Raises:
            GeometryError: a direction of no length, or a top that looks along the heading.
        """
        at = np.array(at, dtype=float)
        t, up = np.array(heading, dtype=float), np.array(top, dtype=float)
        for name, direction in (("heading", t), ("top", up)):
            if not np.all(np.linalg.norm(direction, axis=-1) > ANGLE):
                raise GeometryError(f"{name} {direction.tolist()} has no direction; give a vector such as [1, 0, 0]")
        t = t / np.linalg.norm(t, axis=-1, keepdims=True)
        up = up / np.linalg.norm(up, axis=-1, keepdims=True)
        u = up - t * np.sum(up * t, axis=-1, keepdims=True)
        size = np.linalg.norm(u, axis=-1, keepdims=True)
        if not np.all(size > 1e-6):
            raise GeometryError(
                f"the top face cannot look along the tube: top {up.tolist()} and heading {t.tolist()} are parallel; "
                "give a top that is square to the heading"
            )
        u = u / size
        return cls(at, t, cross(u, t), u)

    def mirrored(self) -> "Pose":
        """The mirror image through the vehicle's centre plane (y -> -y)."""
        flip = np.array([1.0, -1.0, 1.0])
        return Pose(self.at * flip, self.t * flip, cross(self.u * flip, self.t * flip), self.u * flip)

    def turned_back(self) -> "Pose":
        """The same place travelled the other way; the top face stays the top face."""
        return Pose(self.at, -self.t, -self.s, self.u)

    def direction(self, roll: ArrayLike) -> Array:
        """The direction across the tube at a roll (radians from the top face, right-handed about t)."""
        roll = np.asarray(roll, dtype=float)[..., None]
        return np.asarray(np.cos(roll) * self.u - np.sin(roll) * self.s)


@dataclass(frozen=True, slots=True)
class Stretch:
    """One straight or bend of a centreline.

    Args:
        kind: "straight" or "bend".
        number: straights count from 0, bends from 1.
        station: centreline length from the start to where it begins, mm.
        length: its centreline length, mm.
        start: pose where it begins.
        angle: bend angle, radians; 0 on a straight.
        radius: centreline radius, mm; infinite on a straight.
        roll: where the bend goes: turn from the top face about t, radians; 0 on a straight.
    """

    kind: Literal["straight", "bend"]
    number: int
    station: float
    length: float
    start: Pose
    angle: float = 0.0
    radius: float = np.inf
    roll: float = 0.0

    @property
    def inward(self) -> Array:
        """(3,) direction from the start of the bend toward its centre."""
        return self.start.direction(self.roll)

    @property
    def centre(self) -> Array:
        """(3,) centre of the bend."""
        return self.start.at + self.radius * self.inward

    @property
    def axis(self) -> Array:
        """(3,) unit axis the bend turns about, right-handed."""
        return cross(self.start.t, self.inward)

    def pose(self, distance: ArrayLike) -> Pose:
        """Poses at distances (m,) from its start, mm."""
        distance = np.asarray(distance, dtype=float)[..., None]
        at, t, s, u = self.start.at, self.start.t, self.start.s, self.start.u
        if self.kind == "straight":
            still = np.zeros_like(distance)
            return Pose(at + distance * t, t + still, s + still, u + still)
        turn, inward = distance / self.radius, self.inward
        sine, versine = np.sin(turn), 2 * np.sin(turn / 2) ** 2
        # a vector with components a along t and b along inward turns to a t' + b n'
        shift_t, shift_n = sine * inward - versine * t, -sine * t - versine * inward
        return Pose(
            at + self.radius * (sine * t + versine * inward),
            t + shift_t,
            s + np.dot(s, inward) * shift_n,
            u + np.dot(u, inward) * shift_n,
        )


@dataclass(frozen=True)
class Centreline:
    """Bend rows laid out from a start pose: one rail's centreline.

    Args:
        rows: bend rows without batch axis.
        start: pose at the first end.
    """

    rows: BendRows
    start: Pose

    @classmethod
    def from_points(cls, points: ArrayLike, radius: ArrayLike, top: ArrayLike = (0.0, 0.0, 1.0)) -> "Centreline":
        """Through intersection points (n + 2, 3) with a radius (n,) at each inner one; `top` holds at the first."""
        points = np.asarray(points, dtype=float)
        start = Pose.of(points[0], points[1] - points[0], top)
        rows = rows_from_points(points, radius, start.u)
        return cls(BendRows.of(rows.distance, rows.rotation, rows.angle, rows.radius, rows.tail), start)

    @property
    def length(self) -> float:
        """Developed length along the centreline, mm."""
        return float(self.rows.developed_length)

    @property
    def points(self) -> Array:
        """(n + 2, 3) first end, intersection points, last end, mm."""
        return points_from_rows(self.rows, self.start.at, self.start.t, self.start.u)

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """Straights and bends in order: straight 0, bend 1, straight 1, ... , straight n (zero-length ones too)."""
        rows, pose, station, found = self.rows, self.start, 0.0, []
        for i, (length, roll) in enumerate(zip(rows.straights, [*rows.roll, 0.0], strict=True)):
            straight = Stretch("straight", i, station, float(length), pose)
            found.append(straight)
            pose, station = straight.pose(length), station + float(length)
            if i < rows.count:
                angle, radius = float(rows.angle[i]), float(rows.radius[i])
                bend = Stretch("bend", i + 1, station, angle * radius, pose, angle, radius, float(roll))
                found.append(bend)
                pose, station = _square(bend.pose(angle * radius)), station + angle * radius
        return tuple(found)

    @property
    def straights(self) -> tuple[Stretch, ...]:
        """The n + 1 straights."""
        return self.stretches[::2]

    @property
    def bends(self) -> tuple[Stretch, ...]:
        """The n bends."""
        return self.stretches[1::2]

    @property
    def end(self) -> Pose:
        """Pose at the last end, still travelling outward."""
        last = self.stretches[-1]
        return last.pose(last.length)

    def stretch_at(self, station: ArrayLike) -> Array:
        """(m,) index into `stretches` for stations (m,) along the centreline, mm; beyond the ends: the end ones."""
        begins = np.array([stretch.station for stretch in self.stretches])
        return np.clip(np.searchsorted(begins, np.asarray(station), side="right") - 1, 0, None)

    def pose_at(self, station: ArrayLike) -> Pose:
        """Poses at stations (m,) along the centreline, mm; beyond an end the end straight goes on."""
        station = np.atleast_1d(np.asarray(station, dtype=float))
        which = self.stretch_at(station)
        fields = [np.empty((len(station), 3)) for _ in range(4)]
        for index in set(which.tolist()):  # numpy.unique would load the masked arrays
            here = which == index
            stretch = self.stretches[index]
            pose = stretch.pose(station[here] - stretch.station)
            for field, value in zip(fields, (pose.at, pose.t, pose.s, pose.u), strict=True):
                field[here] = value
        return Pose(*fields)

    def closest(self, points: ArrayLike) -> tuple[Array, Array]:
        """The nearest place of the centreline to points (m, 3).

        Returns:
            Station (m,) along the centreline and distance (m,), mm.
        """
        points = np.atleast_2d(np.asarray(points, dtype=float))
        places = [_nearest(points, *stretches) for stretches in self._reaches]
        station, distance = (np.concatenate(each, axis=-1) for each in zip(*places, strict=True))
        nearest = np.argmin(distance, axis=-1)[:, None]
        return np.take_along_axis(station, nearest, -1)[:, 0], np.take_along_axis(distance, nearest, -1)[:, 0]

    @cached_property
    def _reaches(self) -> tuple[tuple[Array, Array], ...]:
        """The straights, then the bends: (k, 3, 3) at, t and inward, and (k, 3) station, length and radius."""
        return tuple(
            (
                np.array([[part.start.at, part.start.t, part.inward] for part in group]).reshape(-1, 3, 3),
                np.array([[part.station, max(part.length, 0.0), part.radius] for part in group]).reshape(-1, 3),
            )
            for group in (self.straights, self.bends)
        )

    def reversed(self) -> "Centreline":
        """The same tube from its other end."""
        return Centreline(self.rows.reversed(), self.end.turned_back())

    def mirrored(self) -> "Centreline":
        """The other hand: mirror image through the vehicle's centre plane."""
        return Centreline(self.rows.mirrored(), self.start.mirrored())


def _square(pose: Pose) -> Pose:
    """The pose with its frame made exactly unit length and square again."""
    t = pose.t / np.linalg.norm(pose.t)
    u = pose.u - t * np.dot(pose.u, t)
    u = u / np.linalg.norm(u)
    return Pose(pose.at, t, cross(u, t), u)


def _nearest(points: Array, frames: Array, sizes: Array) -> tuple[Array, Array]:
    """Station and distance (m, k) of the place of each of k straights, or k bends, nearest to points (m, 3)."""
    (at, t, inward), (begin, length, radius) = np.moveaxis(frames, 1, 0), sizes.T
    off = points[:, None] - at
    ahead = np.sum(off * t, axis=-1)
    if np.isinf(radius).any():
        along = np.clip(ahead, 0.0, length)
        away = off - along[..., None] * t
    else:
        turn = np.clip(np.arctan2(ahead, radius - np.sum(off * inward, axis=-1)), 0.0, length / radius)
        along = turn * radius
        step = np.sin(turn)[..., None] * t + (2 * np.sin(turn / 2) ** 2)[..., None] * inward
        away = off - radius[:, None] * step
    return begin + along, np.linalg.norm(away, axis=-1)
