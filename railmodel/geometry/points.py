"""Intersection points as a customer gives them: what is wrong with them, and where their centreline lies."""

from collections.abc import Callable, Iterator
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from railmodel.geometry.centreline import Pose
from railmodel.geometry.rows import Array, rows_from_points
from railmodel.geometry.section import Section
from railmodel.tolerances import ANGLE, LENGTH

PointsAt = Literal["centre", "top", "bottom", "inside", "outside"]

DOUBLES_BACK: float = 1e-6
"""A bend this close to 180 degrees (radians) is one: its corner point lies 2 million radii away."""


def point_faults(points: Array, say: Callable[[float], str]) -> Iterator[tuple[str, str, Array, int | None]]:
    """What keeps points (n + 2, 3) from making a rail.

    Args:
        points: first end, intersection points, last end, mm.
        say: turns a length in mm into words.

    Yields:
        Rule, one sentence, the place, and the bend number (None at an end).
    """
    legs = np.diff(points, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    short = lengths <= LENGTH
    for i in np.flatnonzero(short).tolist():
        says = f"points {i + 1} and {i + 2} lie on one spot ({say(lengths[i])} apart); take one out or move it"
        yield "doubled point", says, points[i], i or None
    for i in range(1, len(points) - 1):
        if short[i - 1] or short[i]:
            continue
        sine = np.linalg.norm(np.cross(legs[i - 1], legs[i])) / (lengths[i - 1] * lengths[i])
        onward = np.dot(legs[i - 1], legs[i]) > 0
        if onward and sine <= ANGLE:
            says = f"point {i + 1} lies on the line between its neighbours, a bend of 0 degrees; take it out or move it"
            yield "no bend", says, points[i], i
        elif not onward and sine <= DOUBLES_BACK:
            says = (
                f"the rail doubles back at point {i + 1}, a bend of 180 degrees that no corner point can describe; "
                "use two points, or write the part as a path"
            )
            yield "doubles back", says, points[i], i


def points_on_centreline(
    points: ArrayLike, top: ArrayLike, at: PointsAt, section: Section, sides: tuple[str, str]
) -> Array:
    """Centreline points of points (n + 2, 3) that were measured to a face.

    Each face of a legal rail has intersection points of its own, shifted by half the section and, at a bend, slid
    along the leg by the tangent of half the bend angle.

    Args:
        points: as measured, mm.
        top: (3,) where the top face looks at the first point.
        at: what they were measured to; inside and outside are the faces called inboard and outboard.
        section: the tube.
        sides: names of the faces at +s and -s.

    Raises:
        GeometryError: top has no direction square to the first leg.
    """
    points = np.asarray(points, dtype=float)
    pose = Pose.of(points[0], points[1] - points[0], top)
    if at == "centre":
        return points
    up = {"top": section.height / 2, "bottom": -section.height / 2}.get(at, 0.0)
    side = 0.0
    if at in ("inside", "outside"):
        side = section.width / 2 * (1 if sides[0] == ("inboard" if at == "inside" else "outboard") else -1)
    rows = rows_from_points(points, np.zeros(len(points) - 2), pose.u)
    shifts = []
    for roll, angle in zip(rows.roll, rows.angle, strict=True):
        shift, inward = up * pose.u + side * pose.s, pose.direction(roll)
        shifts.append(shift - np.dot(shift, inward) * np.tan(angle / 2) * pose.t)
        if len(shifts) == 1:
            shifts.insert(0, shift)
        forward = np.cos(angle) * pose.t + np.sin(angle) * inward
        lean = np.cos(angle) * inward - np.sin(angle) * pose.t - inward
        u = pose.u + np.dot(pose.u, inward) * lean
        pose = Pose.of(pose.at, forward, u)
    shifts.append(up * pose.u + side * pose.s)
    if len(shifts) == 1:
        shifts.append(shifts[0])
    return np.asarray(points - np.array(shifts))
