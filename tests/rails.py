"""Rails for tests: random legal ones from a seeded generator, and parts made of a section and a centreline."""

from dataclasses import replace
from typing import Any

import numpy as np

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows, wrap
from railmodel.geometry.section import Section
from railmodel.part import RailPart

TUBE = Section(height=100.0, width=50.0, wall=4.0, corner=8.0)


def random_section(rng: np.random.Generator) -> Section:
    """25 to 150 mm a side; corners from sharp to as round as the smaller side lets them be."""
    height, width = rng.uniform(25.0, 150.0, 2)
    half = min(height, width) / 2
    wall = rng.uniform(1.0, half * 0.6)
    corner = rng.choice([0.0, wall / 2, wall, min(2 * wall, half), half])
    return Section(height=height, width=width, wall=wall, corner=float(corner))


def random_start(rng: np.random.Generator) -> Pose:
    """Within 3 m of the datum, looking anywhere."""
    heading, top = rng.normal(size=(2, 3))
    return Pose.of(rng.uniform(-3000, 3000, 3), heading, top)


def random_legal_line(rng: np.random.Generator, bends: int, *, section: Section = TUBE) -> Centreline:
    """Bends a die can make: quarter turns between them, radii above half the larger depth, some straights zero."""
    straights = rng.uniform(0.0, 800.0, bends + 1) * (rng.random(bends + 1) > 0.2)
    straights[-1] += 10.0
    rotation = wrap(rng.integers(-1, 3, bends) * (np.pi / 2))
    angle = np.radians(rng.uniform(2.0, 170.0, bends))
    radius = max(section.height, section.width) / 2 * rng.uniform(1.02, 5.0, bends)
    return Centreline(BendRows.of(straights[:-1], rotation, angle, radius, straights[-1]), random_start(rng))


def rolled(line: Centreline, off: float) -> Centreline:
    """The same line with every bend turned about the tube by `off` radians, so that no die can make it."""
    rotation = line.rows.rotation.copy()
    rotation[:1] += off
    return Centreline(replace(line.rows, rotation=wrap(rotation)), line.start)


def part(line: Centreline, section: Section = TUBE, **fields: Any) -> RailPart:
    """A single part called "rail" of a tube called "tube", unless `fields` of `RailPart` say otherwise."""
    return RailPart(**{"name": "rail", "hand": "single", "tube": "tube", "section": section, "line": line, **fields})
