"""Fit points: how far a point of the vehicle stands from a face of a tube, measured square to it. mm, radians."""

from dataclasses import dataclass
from math import inf, tan
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from railmodel.geometry.centreline import Centreline, Pose, Stretch
from railmodel.geometry.roll import off_legal, plumb
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.tolerances import LENGTH


@dataclass(frozen=True, slots=True, kw_only=True)
class Foot:
    """Where a point stands on a face.

    Args:
        gap: distance from the face along its outward normal; negative is inside the tube.
        at: (3,) the foot, on the face.
        along: length along the centreline from its start.
        kind: whether it stands on a straight or on a bend.
        number: straights count from 0, bends from 1.
        from_bend: length from the foot to the nearest bend; negative on a bend (how deep in), infinite without bends.
        aside: how far the point lies off the middle of the face, across the tube.
        off_face: how far it lies beyond the flat of the face (past the start of a rounded corner); 0 when on it.
        beyond: how far it lies beyond an end of the tube; 0 when within.
        roll: how far the tube is rolled from plumb there; None where it stands upright.
    """

    gap: float
    at: Array
    along: float
    kind: Literal["straight", "bend"]
    number: int
    from_bend: float
    aside: float
    off_face: float
    beyond: float
    roll: float | None

    def wedge(self, width: float) -> float | None:
        """How thick a wedge makes a bracket of a width (mm) plumb, mm; None where the tube stands upright."""
        return None if self.roll is None else abs(width * tan(self.roll))


def foot_on(line: Centreline, section: Section, point: ArrayLike, roll: float) -> Foot:
    """The foot of a point on the face at a roll (from the top face, right-handed about the travel direction).

    The foot stands where the centreline comes nearest to the point, so that the line from foot to point is square to
    the tube; beyond an end it is measured at that end.
    """
    point = np.asarray(point, dtype=float)
    station = float(line.closest(point)[0][0])
    pose = line.pose_at(station)
    t, outward = pose.t[0], pose.direction(roll)[0]
    sideways = np.cross(outward, t)
    upright = round(roll / (np.pi / 2)) % 2 == 0
    reach = (section.height if upright else section.width) / 2
    across = (section.width if upright else section.height) / 2
    off = point - pose.at[0]
    aside = float(off @ sideways)
    stretch = line.stretches[int(line.stretch_at(station)[()])]
    if stretch.kind == "bend" and station - stretch.station <= LENGTH:  # the tangent belongs to the straight
        stretch = line.stretches[line.stretches.index(stretch) - 1]
    there = Pose(pose.at[0], t, pose.s[0], pose.u[0])
    rolled = plumb(Stretch("straight", stretch.number, station, 0.0, there))
    return Foot(
        gap=float(off @ outward) - reach,
        at=pose.at[0] + reach * outward + aside * sideways,
        along=station,
        kind=stretch.kind,
        number=stretch.number,
        from_bend=_from_bend(line, station),
        aside=aside,
        off_face=max(abs(aside) - (across - section.corner), 0.0),
        beyond=float(abs(off @ t)) if abs(off @ t) > LENGTH else 0.0,
        roll=None if rolled is None else float(off_legal(rolled)),
    )


def _from_bend(line: Centreline, station: float) -> float:
    """Length from a station to the nearest bend; negative inside one."""
    nearest = inf
    for bend in line.bends:
        begin, end = bend.station, bend.station + bend.length
        inside = min(station - begin, end - station)
        nearest = min(nearest, -inside if inside > LENGTH else max(begin - station, station - end, 0.0))
    return nearest
