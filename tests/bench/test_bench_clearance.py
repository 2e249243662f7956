"""Speed of the clearance check: a hauler against the CAD kernel in one run, a large mesh, and many shapes.

Processor time of this process is measured, so that what else runs on the computer does not count.
"""

from collections.abc import Callable, Sequence
from time import process_time

import numpy as np
import pytest
from kernel_shapes import carried, kernel_distance, kernel_shape, kernel_tube

from railmodel.fitting.bodies import Body, rail_body
from railmodel.fitting.clearance import gaps, part_gaps
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.motion import STILL, Motion, MotionSet, Sliding, Span, Turning
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Sphere
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.section import Section

Recorder = Callable[[str, object], None]

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
IN = 25.4
POSITIONS = 21


def lines() -> dict[str, Centreline]:
    """Two rails of six bends, a cap, and four crossmembers."""
    points = np.array(
        [[-26, 15, 21], [-4, 15, 21], [14, 15, 25.5], [60, 15, 25.5], [72, 17, 25.5], [84, 17, 25.5], [92, 17, 29],
         [110, 17, 29]]
    )  # fmt: skip
    right = Centreline.from_points(points * IN, np.array([7, 7, 5, 5, 7, 7]) * IN)
    cap = Centreline.from_points(
        np.array([[112, 15, 29], [124, 15, 29], [124, -15, 29], [112, -15, 29]]) * IN, [127] * 2
    )
    cross = {
        f"crossmember {x}": Centreline.from_points(np.array([[x, -13, z], [x, 13, z]]) * IN, [])
        for x, z in ((-2, 21), (28, 25.5), (56, 25.5), (102, 29))
    }
    return {"right": right, "left": right.mirrored(), "cap": cap, **cross}


def hauler() -> list[Body]:
    return [rail_body(name, line, TUBE) for name, line in lines().items()]


def twelve_shapes() -> list[KeepClear]:
    """An axle, its tyres and head, steered tyres, a swinging shaft; engine, gearbox, tank, exhaust, bed, battery."""
    axle = Motion(
        name="axle", lift=Span(-3 * IN, 4 * IN), roll=Turning((98 * IN, 0, 13 * IN), (1, 0, 0), Span(-0.09, 0.09))
    )
    steer = Turning((0, 26 * IN, 13 * IN), (0.1, 0.1, 1), Span(-0.56, 0.49))
    front = Motion(name="front", lift=Span(-3 * IN, 3 * IN), turn=steer)
    swing = Motion(roll=Turning((48 * IN, 0, 22 * IN), (0, 1, 0), Span(-0.09, 0.09)))

    def round_one(
        kind: type[Cylinder] | type[Capsule], start: object, end: object, diameter: float
    ) -> Cylinder | Capsule:
        first, last = (tuple(np.array(one, dtype=float) * IN) for one in (start, end))
        return kind(start=first, end=last, diameter=diameter * IN)

    rear = KeepClear(name="rear right", shape=round_one(Cylinder, (98, 26, 13), (98, 36, 13), 28), motion=axle)
    steered = KeepClear(name="front right", shape=round_one(Cylinder, (0, 24, 13), (0, 32, 13), 28), motion=front)
    return [
        KeepClear(name="axle", shape=round_one(Cylinder, (98, -30, 13), (98, 30, 13), 3), motion=axle),
        rear,
        rear.mirrored("rear left"),
        steered,
        steered.mirrored("front left"),
        KeepClear(name="shaft", shape=round_one(Cylinder, (48, 0, 22), (92, 0, 14), 3), motion=swing),
        KeepClear(name="engine", shape=Box(at=(254, 0, 720), size=(711, 508, 610))),
        KeepClear(name="gearbox", shape=Box(at=(960, 0, 560), size=(610, 356, 330), turn=(0, 0.05, 0))),
        KeepClear(name="tank", shape=round_one(Capsule, (60, 24, 20), (80, 24, 20), 10)),
        KeepClear(name="exhaust", shape=round_one(Capsule, (20, 8, 15), (120, 9, 17), 2.5)),
        KeepClear(name="bed", shape=Box(at=(2286, 0, 940), size=(2032, 1778, 51))),
        KeepClear(name="battery", shape=Sphere(at=(300, 700, 500), diameter=250)),
    ]


def seconds(work: Callable[[], object], times: int = 3) -> float:
    best = np.inf
    for _ in range(times):
        began = process_time()
        work()
        best = min(best, process_time() - began)
    return float(best)


def test_a_hundred_times_faster_than_the_cad_kernel_at_21_positions(record_property: Recorder) -> None:
    """The kernel is timed at two positions of every pair that moves, extrapolated to 21; its solids stand ready."""
    shapes = twelve_shapes()
    assert sum(shape.motion.moves for shape in shapes) == 6
    gaps(hauler(), shapes)  # the collision library's own loading does not count
    ours = seconds(lambda: gaps(hauler(), shapes))
    found = gaps(hauler(), shapes)
    tubes = {name: kernel_tube(line, TUBE) for name, line in lines().items()}
    solids = [kernel_shape(shape.shape) for shape in shapes]  # type: ignore[arg-type]
    motions, theirs = MotionSet([shape.motion for shape in shapes]), 0.0
    for gap in found:
        j = [shape.name for shape in shapes].index(gap.shape)
        drivers = len(shapes[j].motion.drivers)
        middle = motions.values(np.array([j]), np.array([[0.5] * drivers + [0.0] * (4 - drivers)]))
        least = np.array([[gap.at.turn, gap.at.roll, gap.at.slide, gap.at.up]])
        for values in (middle, least) if drivers else (least,):
            rotation, shift = motions.place(np.array([j]), values)
            placed = carried(solids[j], rotation[0], shift[0])
            began = process_time()
            true = kernel_distance(tubes[gap.part], placed)
            theirs += (process_time() - began) * (POSITIONS / 2 if drivers else 1)
            assert gap.gap <= true + 1e-6
        assert max(gap.gap, 0.0) >= true - 0.05  # at the reported position
    record_property("7 parts x 12 shapes, s", ours)
    record_property("kernel at 21, s", theirs)
    record_property("kernel's time over ours", theirs / ours)
    assert theirs > 100 * ours


def test_parts_against_each_other(record_property: Recorder) -> None:
    bodies = hauler()
    record_property("7 parts, 21 pairs, s", seconds(lambda: part_gaps(bodies)))


def sphere_mesh(at: Sequence[float]) -> MeshShape:
    """200,000 triangles of a ball: rings and segments."""
    rings, around = 251, 400
    polar, turn = np.linspace(0, np.pi, rings), np.linspace(0, 2 * np.pi, around + 1)
    grid = np.stack(
        [
            np.outer(np.sin(polar), np.cos(turn)),
            np.outer(np.sin(polar), np.sin(turn)),
            np.outer(np.cos(polar), 0 * turn + 1),
        ],
        axis=-1,
    )
    a, b, c, d = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    triangles = np.concatenate([np.stack(three, axis=2).reshape(-1, 3, 3) for three in ((a, b, c), (a, c, d))])
    return MeshShape(200.0 * triangles + np.array(at), closed=True)


@pytest.mark.parametrize("motion", [STILL, Motion(lift=Span(-76, 102), slide=Sliding((1, 0, 0), Span(-20, 20)))])
def test_a_mesh_of_200000_triangles_takes_less_than_a_second(motion: Motion, record_property: Recorder) -> None:
    bodies, at = hauler(), (2300.0, 0.0, 330.0)
    mesh, ball = sphere_mesh(at), KeepClear(name="ball", shape=Sphere(at=at, diameter=400.0), motion=motion)
    assert len(mesh.triangles) == 200_000
    took = seconds(lambda: gaps(bodies, [KeepClear(name="mesh", shape=mesh, motion=motion)]))
    record_property(f"200,000 triangles{', moving' if motion.moves else ''}, s", took)
    for meshed, exact in zip(
        gaps(bodies, [KeepClear(name="mesh", shape=mesh, motion=motion)]), gaps(bodies, [ball]), strict=True
    ):
        assert exact.gap - 0.5 <= meshed.gap <= exact.gap + 0.1  # facets stand back from the ball by 0.02
    assert took < 1.0


def test_from_10_to_1000_shapes_the_time_grows_less_than_40_times(record_property: Recorder) -> None:
    rng = np.random.default_rng(5)
    bodies, twelve = hauler(), twelve_shapes()

    def several(count: int) -> list[KeepClear]:
        found = []
        for i in range(count):
            x, y, z = rng.uniform([-600, -900, 0], [3200, 900, 1200])
            at, size = (x, y, z), tuple(rng.uniform(30, 200, 3))
            shape = Box(at=at, size=size) if i % 3 else Sphere(at=at, diameter=size[0])
            found.append(
                KeepClear(name=f"shape {i}", shape=shape, motion=twelve[3 * (i % 2)].motion if i % 4 < 2 else STILL)
            )
        return found

    gaps(bodies, several(2))
    few, many = several(10), several(1000)
    short, long = seconds(lambda: gaps(bodies, few), 5), seconds(lambda: gaps(bodies, many), 3)
    record_property("10 shapes, s", short)
    record_property("1000 shapes, s", long)
    record_property("1000 over 10", long / short)
    assert long < 40 * short
