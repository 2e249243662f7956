"""Rails of one tube for the tests of the bender: a given one, and random ones that flat-sided dies can bend."""

from math import pi

import numpy as np

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows, wrap
from railmodel.geometry.section import Section
from railmodel.part import RailPart

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
R = 177.8


def part(distance: list[float], rolls: list[float], angle: list[float], tail: float, radius: float = R) -> RailPart:
    """A right rail running rearward; rolls in quarter turns from the top face."""
    rotation = wrap(np.diff(np.array(rolls, dtype=float) * pi / 2, prepend=0.0))
    rows = BendRows.of(distance, rotation, angle, [radius] * len(angle), tail)
    line = Centreline(rows, Pose.of([0, 400, 0], [1, 0, 0], [0, 0, 1]))
    return RailPart(name="rail", hand="right", tube="main", section=TUBE, line=line, sides=("outboard", "inboard"))


def random_part(rng: np.random.Generator, bends: int, least: float = 0.05, most: float = 2.0) -> RailPart:
    """Any straights, rolls and angles (radians, least to most)."""
    distance = rng.uniform(120, 600, bends).tolist()
    rolls = rng.integers(-1, 3, bends).tolist()
    return part(distance, rolls, rng.uniform(least, most, bends).tolist(), float(rng.uniform(100, 600)))
