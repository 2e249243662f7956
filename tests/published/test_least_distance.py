"""Least gaps against the CAD kernel's exact distance, and against closed forms.

The kernel is Open CASCADE (BRepExtrema_DistShapeShape) on exact solids: planes, cylinders, spheres, tori. Closed forms:
distance of a point to a plane, to a line, and to a circle's axis.
"""

import os

import cadquery as cq
import numpy as np
import pytest
from kernel_shapes import carried, kernel_distance, kernel_shape, kernel_tube
from numpy.typing import NDArray
from rails import random_section, random_start

from railmodel.fitting.bodies import rail_body, round_body
from railmodel.fitting.clearance import gaps, part_gaps
from railmodel.fitting.motion import Motion, MotionSet, Span, Turning
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Sphere
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows, wrap
from railmodel.geometry.section import Section

Array = NDArray[np.float64]
Convex = Box | Sphere | Cylinder | Capsule

MANY = os.environ.get("CI") == "true"
BELOW = 0.05
"""What the reported gap may lie below the true one, mm (this project's promise)."""

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)


def random_rail(rng: np.random.Generator, section: Section) -> Centreline:
    bends = int(rng.integers(0, 4))
    rotation = wrap(rng.integers(-1, 3, bends) * (np.pi / 2))
    radius = max(section.height, section.width) * rng.uniform(0.8, 4.0, bends)
    straights = rng.uniform(0.0, 600.0, bends + 1) * (rng.random(bends + 1) > 0.15)
    straights[-1] += 30.0
    rows = BendRows.of(straights[:-1], rotation, rng.uniform(0.05, 1.6, bends), radius, straights[-1])
    return Centreline(rows, random_start(rng))


def random_shape(rng: np.random.Generator, at: Array) -> Convex:
    size, along = rng.uniform(10.0, 400.0, 3), rng.normal(size=3) * rng.uniform(20.0, 500.0)
    kind = rng.integers(4)
    if kind == 0:
        x, y, z = rng.uniform(-np.pi, np.pi, 3) * rng.integers(0, 2)
        return Box(at=tuple(at), size=tuple(size), turn=(x, y, z))
    if kind == 1:
        return Sphere(at=tuple(at), diameter=float(size[0]))
    kinds = Cylinder if kind == 2 else Capsule
    return kinds(start=tuple(at - along / 2), end=tuple(at + along / 2), diameter=float(size[0]))


def beside(rng: np.random.Generator, line: Centreline) -> Array:
    """A place near a rail, mostly outside anything placed there."""
    at = line.pose_at(rng.uniform(0, line.length)).at[0]
    off = rng.normal(size=3)
    return at + off / np.linalg.norm(off) * 10 ** rng.uniform(2.0, 3.3)


def within(reported: float, true: float, below: float = BELOW) -> bool:
    if true <= 1e-9:  # the kernel gives 0 for any overlap
        return reported <= 1e-6
    return true - below <= reported <= true + 1e-6


@pytest.mark.long
def test_never_above_the_cad_kernel_and_at_most_a_twentieth_below() -> None:
    rng = np.random.default_rng(20)
    touching = 0
    for _ in range(300 if MANY else 40):
        section = random_section(rng)
        line = random_rail(rng, section)
        shape = random_shape(rng, beside(rng, line))
        true = kernel_distance(kernel_tube(line, section), kernel_shape(shape))
        found = gaps([rail_body("rail", line, section)], [KeepClear(name="shape", shape=shape)])[0]
        assert within(found.gap, true), (found, true)
        touching += true == 0
    assert touching < 0.5 * (300 if MANY else 40)  # most of them say something about distance


def test_between_parts_never_above_the_cad_kernel_and_at_most_a_twentieth_below() -> None:
    rng = np.random.default_rng(7)
    for _ in range(60 if MANY else 8):
        section = random_section(rng)
        first, second = random_rail(rng, section), random_rail(rng, TUBE)
        shift = first.pose_at(rng.uniform(0, first.length)).at[0] + rng.normal(size=3) * 300
        shift -= second.pose_at(rng.uniform(0, second.length)).at[0]
        start = second.start
        second = Centreline(second.rows, Pose(start.at + shift, start.t, start.s, start.u))
        true = kernel_distance(kernel_tube(first, section), kernel_tube(second, TUBE))
        found = part_gaps([rail_body("first", first, section), rail_body("second", second, TUBE)])[0]
        assert within(found.gap, true), (found, true)


@pytest.mark.long
@pytest.mark.parametrize("kind", [Sphere, Cylinder])
def test_a_travel_at_many_positions_of_the_cad_kernel(kind: type[Sphere] | type[Cylinder]) -> None:
    """An axle that lifts and rolls under a kicked-up rail: 2,000 positions in CI, fewer at the desk.

    The kernel is quicker with the middle of a sphere, and with the axis of a cylinder whose ends are far from the
    rail; the gap is less than to those by the radius.
    """
    line = Centreline.from_points([[0, 380, 0], [600, 380, 0], [800, 380, 90], [1500, 380, 90]], [177.8, 177.8])
    shape: Sphere | Cylinder
    if kind is Sphere:
        shape = Sphere(at=(760.0, 250.0, -190.0), diameter=200.0)
        middle = cq.Vertex.makeVertex(*shape.at)
    else:
        shape = Cylinder(start=(760.0, -700.0, -190.0), end=(760.0, 700.0, -190.0), diameter=80.0)
        middle = cq.Edge.makeLine(cq.Vector(*shape.start), cq.Vector(*shape.end))
    motion = Motion(lift=Span(-70.0, 100.0), roll=Turning((760.0, 0.0, -190.0), (1.0, 0.0, 0.0), Span(-0.09, 0.09)))
    found = gaps([rail_body("rail", line, TUBE)], [KeepClear(name="axle", shape=shape, motion=motion)])[0]
    tube, motions = kernel_tube(line, TUBE), MotionSet([motion])
    lifts, rolls = np.linspace(-70, 100, 50 if MANY else 6), np.linspace(-0.09, 0.09, 40 if MANY else 5)
    met = []
    for lift in lifts:
        for roll in rolls:
            rotation, shift = motions.place(np.zeros(1, dtype=int), np.array([[0.0, roll, 0.0, lift]]))
            met.append(kernel_distance(tube, carried(middle, rotation[0], shift[0])) - shape.diameter / 2)
    assert min(met) > 0
    assert min(met) - BELOW <= found.gap <= min(met) + 1e-6  # the least is in a corner of the travel, which is met
    assert found.at.up == pytest.approx(100.0)


def test_a_sphere_beside_a_straight() -> None:
    """Its centre stands (distance - radius) from the flat, the rounding or the end: point to plane and to line."""
    line = Centreline.from_points([[0, 0, 0], [1000, 0, 0]], [])
    body = rail_body("straight", line, TUBE)
    half_height, half_width, corner = TUBE.height / 2, TUBE.width / 2, TUBE.corner
    for x, out in ((1.0, 5.0), (400.0, 60.0), (999.0, 250.0)):
        above, beside = (x, 3.0, half_height + out + 20.0), (x, -half_width - out - 20.0, 4.0)
        from_corner = (out + 20.0 + corner) / np.sqrt(2)
        off_corner = (x, half_width - corner + from_corner, half_height - corner + from_corner)
        for at in (above, beside, off_corner):
            found = gaps([body], [KeepClear(name="ball", shape=Sphere(at=at, diameter=40.0))])[0]
            assert within(found.gap, out)
            assert found.place.station == pytest.approx(x, abs=0.5)
    behind = gaps([body], [KeepClear(name="ball", shape=Sphere(at=(-120.0, 0.0, 0.0), diameter=40.0))])[0]
    assert behind.gap == pytest.approx(100.0, abs=1e-6)
    assert behind.place.station == pytest.approx(0.0)


@pytest.mark.parametrize("roll", [0.0, np.pi / 2, np.pi, -np.pi / 2])
@pytest.mark.parametrize("turn", [0.1, 0.6, 1.15])
def test_a_sphere_inside_and_outside_of_a_bend(roll: float, turn: float) -> None:
    """Square to the bend's axis the gap is (distance from the axis) against (radius less or plus half the depth)."""
    radius, ball, out = 177.8, 25.0, 12.0
    rows = BendRows.of([300.0], [roll], [1.3], [radius], 300.0)
    line = Centreline(rows, Pose.of([40.0, -30.0, 20.0], [0.9, 0.3, -0.2], [0.1, 0.2, 1.0]))
    bend = line.bends[0]
    half = (TUBE.height if abs(np.cos(roll)) > 0.5 else TUBE.width) / 2
    ray = -np.cos(turn) * bend.inward + np.sin(turn) * bend.start.t  # from the centre to the tube
    for distance in (radius - half - out - ball, radius + half + out + ball):
        at = tuple(bend.centre + distance * ray)
        found = gaps([rail_body("rail", line, TUBE)], [KeepClear(name="ball", shape=Sphere(at=at, diameter=2 * ball))])[
            0
        ]
        assert within(found.gap, out)
        assert (found.place.kind, found.place.number) == ("bend", 1)
        assert found.place.station == pytest.approx(bend.station + turn * radius, abs=8.0)


@pytest.mark.parametrize("angle", [0.0, 0.3, 0.7])
def test_a_cylinder_parallel_to_a_straight(angle: float) -> None:
    """Distance of two parallel lines less the cylinder's radius, from the flat and from the rounded corner."""
    line = Centreline.from_points([[0, 0, 0], [1000 * np.cos(angle), 1000 * np.sin(angle), 0]], [])
    along, side = line.start.t, line.start.s
    out, radius = 31.0, 20.0
    beside = (TUBE.width / 2 + out + radius) * side + 10.0 * line.start.u
    corner = (TUBE.width / 2 - TUBE.corner) * side + (TUBE.height / 2 - TUBE.corner) * line.start.u
    off_corner = corner + (side + line.start.u) / np.sqrt(2) * (TUBE.corner + out + radius)
    for off in (beside, off_corner):
        shape = Cylinder(start=tuple(200 * along + off), end=tuple(700 * along + off), diameter=2 * radius)
        found = gaps([rail_body("rail", line, TUBE)], [KeepClear(name="pipe", shape=shape)])[0]
        assert within(found.gap, out)
    pipe = round_body("pipe", tuple(200 * along + beside), tuple(700 * along + beside), 2 * radius)
    assert within(part_gaps([rail_body("rail", line, TUBE), pipe])[0].gap, out)


@pytest.mark.parametrize("depth", [0.5, 7.0, 30.0])
def test_an_overlap_is_as_deep_as_the_sphere_would_have_to_move(depth: float) -> None:
    """Square to the tube, on a straight and in a bend: radius plus half the depth, less the distance of the centres."""
    rows = BendRows.of([300.0], [0.0], [1.3], [177.8], 300.0)
    line = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    for pose in (line.pose_at([150.0]), line.pose_at([300.0 + 0.6 * 177.8])):
        at = pose.at[0] - pose.u[0] * (TUBE.height / 2 + 60.0 - depth)
        found = gaps(
            [rail_body("rail", line, TUBE)], [KeepClear(name="ball", shape=Sphere(at=tuple(at), diameter=120.0))]
        )
        assert -1.06 * depth - BELOW <= found[0].gap <= -depth + 1e-6


def test_a_rod_through_a_bend_is_not_drawn_out_along_the_tube() -> None:
    """The shortest way out is sideways, half the tube's width and the rod's radius; not by the rod's own thickness."""
    rows = BendRows.of([300.0], [0.0], [1.3], [177.8], 300.0)
    line = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    pose = line.pose_at([300.0 + 0.6 * 177.8])
    at, up = pose.at[0], pose.u[0]
    rod = Cylinder(start=tuple(at - 300 * up), end=tuple(at + 300 * up), diameter=8.0)
    found = gaps([rail_body("rail", line, TUBE)], [KeepClear(name="rod", shape=rod)])[0]
    assert found.gap == pytest.approx(-(TUBE.width / 2 + 4.0), abs=BELOW)


def test_the_two_published_axis_systems_differ_by_half_a_turn_not_by_a_mirror() -> None:
    """SAE J182/J1100: X rearward, Y right, Z up. ISO 8855: X forward, Y left, Z up. (x, y, z) -> (-x, -y, z).

    Signs of Y and Z in J182 from memory; X rearward and both systems right-handed by their published descriptions.
    """
    rearward, right, up = np.eye(3)
    iso = np.stack([-rearward, -right, up])  # ISO 8855 axes in the axes used here
    assert np.linalg.det(iso) == pytest.approx(1.0)
    np.testing.assert_allclose(iso, np.diag([np.cos(np.pi), np.cos(np.pi), 1.0]), atol=1e-15)
    rng = np.random.default_rng(3)
    line = random_rail(rng, TUBE)
    shape = Cylinder(start=(400.0, -700.0, -300.0), end=(400.0, 700.0, -300.0), diameter=80.0)
    turned = Centreline(line.rows, Pose.of(iso @ line.start.at, iso @ line.start.t, iso @ line.start.u))
    seen = Cylinder(start=tuple(iso @ shape.start), end=tuple(iso @ shape.end), diameter=80.0)
    here, there = (
        gaps([rail_body("rail", one, TUBE)], [KeepClear(name="axle", shape=clear)])[0]
        for one, clear in ((line, shape), (turned, seen))
    )
    assert there.gap == pytest.approx(here.gap, abs=1e-3)
    left = np.array([0.0, -400.0, 0.0])  # a point on the vehicle's left stays on its left: +Y in ISO 8855
    assert (iso @ left)[1] > 0
