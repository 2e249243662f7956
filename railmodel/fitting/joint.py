"""Joints: how well two tube ends meet. mm, radians."""

from dataclasses import dataclass
from math import pi

import numpy as np

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.part import End


@dataclass(frozen=True, slots=True, kw_only=True)
class Meeting:
    """Two ends that should meet face to face.

    Args:
        gap: from the first end to the second along the first's outward direction; negative where they overlap.
        offset: how far the two centrelines stand aside of each other, square to that direction.
        angle: between the two end faces; 0 when the tubes meet in line.
        roll: how far the sections are turned against each other about that direction; a half turn counts as none.
    """

    gap: float
    offset: float
    angle: float
    roll: float


def outward(line: Centreline, end: End) -> Pose:
    """The pose at an end, travelling out of the tube."""
    return line.end if end == "rear" else line.start.turned_back()


def meeting(first: Pose, second: Pose) -> Meeting:
    """How two ends meet; both poses travel out of their tubes (see `outward`)."""
    apart = second.at - first.at
    gap = float(apart @ first.t)
    sine = float(np.linalg.norm(np.cross(first.t, -second.t)))
    up = second.u - first.t * float(second.u @ first.t)
    turn = float(np.arctan2(np.cross(first.u, up) @ first.t, first.u @ up))
    return Meeting(
        gap=gap,
        offset=float(np.linalg.norm(apart - gap * first.t)),
        angle=float(np.arctan2(sine, -(first.t @ second.t))),
        roll=abs(turn - pi * round(turn / pi)),
    )
