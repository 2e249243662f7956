"""The least gap over a whole travel against brute force: 2,000 positions, then a search around the best of them.

The positions are placed by scipy's rotations and measured by the collision library on polyhedra of the whole tube, so
nothing of the proven search is used on this side.
"""

import os
from collections.abc import Callable
from itertools import product

import coal
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from railmodel.fitting.bodies import rail_body
from railmodel.fitting.clearance import gaps
from railmodel.fitting.motion import Motion, Position, Sliding, Span, Turning
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Sphere
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.pieces import pieces
from railmodel.geometry.rows import BendRows, wrap
from railmodel.geometry.section import Section

Array = NDArray[np.float64]

MANY = os.environ.get("CI") == "true"
SAG = 0.01
TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)


def random_rail(rng: np.random.Generator) -> Centreline:
    bends = int(rng.integers(1, 4))
    straights = rng.uniform(60.0, 700.0, bends + 1)
    rotation = wrap(rng.integers(-1, 3, bends) * (np.pi / 2))
    radius, angle = rng.uniform(90.0, 260.0, bends), rng.uniform(0.1, 1.2, bends)
    return Centreline(
        BendRows.of(straights[:-1], rotation, angle, radius, straights[-1]), Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1])
    )


def random_shape(rng: np.random.Generator, at: Array) -> Box | Sphere | Cylinder | Capsule:
    size, along = rng.uniform(40.0, 400.0, 3), rng.normal(size=3) * rng.uniform(50.0, 400.0)
    kind = rng.integers(4)
    if kind == 0:
        return Box(at=tuple(at), size=tuple(size), turn=tuple(rng.uniform(-1, 1, 3)))
    if kind == 1:
        return Sphere(at=tuple(at), diameter=float(size[0]))
    return (Cylinder if kind == 2 else Capsule)(
        start=tuple(at - along / 2), end=tuple(at + along / 2), diameter=float(size[0])
    )


def random_motion(rng: np.random.Generator, at: Array) -> Motion:
    """One to three variables; half the time two of them tied."""
    near = at + rng.normal(size=(2, 3)) * 200
    chosen = rng.permutation(4)[: rng.integers(1, 4)]
    ends = np.sort(rng.uniform(-0.6, 0.6, (2, 2)))
    travel = np.sort(rng.uniform(-150, 150, (2, 2)))
    names = [("turn", "roll", "slide", "lift")[i] for i in chosen]
    return Motion(
        turn=Turning(tuple(near[0]), tuple(rng.normal(size=3)), Span(*ends[0])) if "turn" in names else None,
        roll=Turning(tuple(near[1]), (1.0, 0.0, 0.0), Span(*ends[1])) if "roll" in names else None,
        slide=Sliding(tuple(rng.normal(size=3)), Span(*travel[0])) if "slide" in names else None,
        lift=Span(*travel[1]) if "lift" in names else None,
        ties=((names[0], names[1]),) if len(names) > 1 and rng.random() < 0.5 else (),
    )


def placing(motion: Motion, at: Position) -> tuple[Array, Array]:
    """Rotation and shift of a position: turn, roll, slide, lift in this order, by scipy's rotations."""
    rotation, shift = np.eye(3), np.zeros(3)
    for turning, value in ((motion.turn, at.turn), (motion.roll, at.roll)):
        if turning is not None:
            axis = np.array(turning.axis) / np.linalg.norm(turning.axis)
            turn, through = Rotation.from_rotvec(axis * value).as_matrix(), np.array(turning.through)
            rotation, shift = turn @ rotation, turn @ (shift - through) + through
    if motion.slide is not None:
        shift = shift + np.array(motion.slide.direction) / np.linalg.norm(motion.slide.direction) * at.slide
    return rotation, shift + [0.0, 0.0, at.up]


def brute(line: Centreline, shape: KeepClear) -> Callable[[Position], float]:
    """The least distance of all pieces at one position."""
    solids = [piece.solid() for piece in pieces(line, TUBE, SAG)]
    drawn, own, move = shape.shape.solids().frame(0)
    request = coal.DistanceRequest()

    def distance(at: Position) -> float:
        rotation, shift = placing(shape.motion, at)
        there = coal.Transform3s(rotation @ own, rotation @ move + shift)
        return min(
            coal.distance(solid, coal.Transform3s(), drawn, there, request, coal.DistanceResult()) for solid in solids
        )

    return distance


@pytest.mark.parametrize("seed", range(100 if MANY else 6))
def test_over_the_whole_travel_never_above_2000_positions_and_at_most_a_twentieth_below(seed: int) -> None:
    rng = np.random.default_rng(seed)
    line = random_rail(rng)
    at = line.pose_at(rng.uniform(0, line.length)).at[0] + rng.normal(size=3) * 350
    shape = KeepClear(name="shape", shape=random_shape(rng, at), motion=random_motion(rng, at))
    drivers = len(shape.motion.drivers)
    found = gaps([rail_body("rail", line, TUBE)], [shape])[0]
    measure = brute(line, shape)

    def distance(parameters: Array) -> float:
        return measure(shape.motion.position(np.clip(parameters, 0, 1)))

    each = round(2000 ** (1 / drivers))
    grid = np.array(list(product(np.linspace(0, 1, each), repeat=drivers)))
    met = np.array([distance(spot) for spot in grid])
    assert found.gap <= met.min() + SAG
    if met.min() > 0.5:
        best = min(
            minimize(distance, grid[i], method="Nelder-Mead", bounds=[(0, 1)] * drivers, options={"xatol": 1e-7}).fun
            for i in np.argsort(met)[:5]
        )
        assert found.gap >= min(best, met.min()) - 0.05
        assert found.gap <= measure(found.at) + SAG
        assert measure(found.at) - 0.05 <= np.linalg.norm(np.subtract(found.on_part, found.on_shape)) + 1e-9
        assert np.linalg.norm(np.subtract(found.on_part, found.on_shape)) <= found.gap + 0.05
