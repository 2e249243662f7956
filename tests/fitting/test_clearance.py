"""Gaps of parts to shapes and to each other: what is answered, in which order, at which position of travel."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from railmodel.fitting.bodies import Body, rail_body, round_body
from railmodel.fitting.clearance import gaps, part_gaps
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.motion import STILL, Motion, Sliding, Span, Turning
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Shape, Sphere
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

Array = NDArray[np.float64]

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
RIGHT = Centreline.from_points([[0, 380, 0], [600, 380, 0], [800, 380, 90], [1500, 380, 90]], [177.8, 177.8])
AXLE = Motion(
    lift=Span(-60.0, 80.0), roll=Turning((760.0, 0.0, -190.0), (1.0, 0.0, 0.0), Span(-0.1, 0.1)), name="rear axle"
)


def rails() -> list[Body]:
    return [rail_body("rail right", RIGHT, TUBE), rail_body("rail left", RIGHT.mirrored(), TUBE)]


def ball(name: str, at: tuple[float, float, float], motion: Motion = STILL) -> KeepClear:
    return KeepClear(name=name, shape=Sphere(at=at, diameter=100.0), motion=motion)


def test_answers_come_part_by_part_and_within_it_shape_by_shape() -> None:
    found = gaps(rails(), [ball("one", (300, 0, 0)), ball("two", (900, 100, 400))])
    assert [(gap.part, gap.shape) for gap in found] == [
        ("rail right", "one"), ("rail right", "two"), ("rail left", "one"), ("rail left", "two"),
    ]  # fmt: skip
    assert found[0].gap == pytest.approx(380 - TUBE.width / 2 - 50, abs=0.05)
    assert found[0].on_part == pytest.approx((300, 380 - TUBE.width / 2, 0), abs=0.1)
    assert found[0].on_shape == pytest.approx((300, 50, 0), abs=0.1)
    assert (found[0].place.kind, found[0].place.number) == ("straight", 0)
    assert found[0].place.station == pytest.approx(300, abs=0.1)


def test_nothing_to_measure_gives_no_answer() -> None:
    assert gaps([], [ball("one", (0, 0, 0))]) == ()
    assert gaps(rails(), []) == ()
    assert part_gaps(rails()[:1]) == ()
    assert part_gaps(rails(), {frozenset(("rail right", "rail left"))}) == ()


def test_an_axle_is_nearest_with_one_wheel_up_on_the_side_of_the_rail() -> None:
    """The right wheel is up for a positive roll; lift as high as it goes on both sides."""
    tube = Cylinder(start=(760.0, -700.0, -190.0), end=(760.0, 700.0, -190.0), diameter=80.0)
    right, left = gaps(rails(), [KeepClear(name="axle", shape=tube, motion=AXLE)])
    assert right.at.up == left.at.up == 80.0
    assert (right.at.roll, left.at.roll) == (0.1, -0.1)
    assert right.gap == pytest.approx(left.gap, abs=0.02)


def test_shapes_share_a_motion_and_turn_about_its_pivot_not_their_own_centre() -> None:
    """A tyre at the end of the axle goes up and down with the roll; about its own centre it would only lean."""
    at = (760.0, 600.0, -190.0)
    shared = gaps(rails()[:1], [ball("tyre", at, AXLE)])[0]
    own = Motion(lift=AXLE.lift, roll=Turning(at, (1.0, 0.0, 0.0), Span(-0.1, 0.1)))
    alone = gaps(rails()[:1], [ball("tyre", at, own)])[0]
    assert shared.gap < alone.gap - 20.0


def test_tied_variables_cannot_meet_at_their_worst() -> None:
    """Lock and bump together, against lock only as far as bump lets it."""
    steer = Turning((600.0, 700.0, -100.0), (0.0, 0.0, 1.0), Span(-0.5, 0.5))
    tyre = Cylinder(start=(600.0, 560.0, -200.0), end=(600.0, 760.0, -200.0), diameter=600.0)
    free = Motion(turn=steer, lift=Span(-80.0, 80.0))
    tied = Motion(turn=steer, lift=Span(-80.0, 80.0), ties=(("turn", "lift"),))
    opposite = Motion(
        turn=Turning(steer.through, steer.axis, Span(0.5, -0.5)), lift=Span(-80.0, 80.0), ties=(("turn", "lift"),)
    )
    least, one, other = (
        gaps(rails()[:1], [KeepClear(name="tyre", shape=tyre, motion=motion)])[0].gap
        for motion in (free, tied, opposite)
    )
    assert least <= min(one, other) + 1e-6
    assert abs(one - other) > 0.1
    assert one > least + 0.02 or other > least + 0.02


def test_the_other_sides_copy_comes_as_near_to_the_other_rail() -> None:
    shape = KeepClear(name="right", shape=Sphere(at=(700, 500, -180), diameter=90.0), motion=AXLE)
    found = gaps(rails(), [shape, shape.mirrored("left")])
    assert found[0].gap == pytest.approx(found[3].gap, abs=0.02)
    assert found[1].gap == pytest.approx(found[2].gap, abs=0.02)
    assert found[0].at.roll == pytest.approx(found[3].at.roll, abs=1e-3)


def test_many_shapes_at_once_give_what_each_gives_alone() -> None:
    """Shapes of every kind, with no travel up to four variables: what one pair needs never spoils another."""
    rng = np.random.default_rng(11)
    motions = [
        STILL,
        AXLE,
        Motion(lift=Span(-50, 60)),
        Motion(turn=Turning((500, 600, 0), (0.1, 0.0, 1.0), Span(-0.4, 0.3)), slide=Sliding((1, 1, 0), Span(-40, 40))),
        Motion(
            turn=Turning((500, 600, 0), (0.0, 0.1, 1.0), Span(-0.3, 0.3)),
            roll=AXLE.roll,
            slide=Sliding((1, 0, 0), Span(-20, 20)),
            lift=Span(-20, 20),
        ),
    ]
    shapes = []
    for i in range(15):
        at = rng.uniform([-200, -800, -500], [1700, 800, 500])
        far, size = tuple(at + rng.uniform(-200, 200, 3)), rng.uniform(40, 160, 3)
        kinds: list[Shape] = [
            Box(at=tuple(at), size=tuple(size)),
            Sphere(at=tuple(at), diameter=float(size[0])),
            Cylinder(start=tuple(at), end=far, diameter=float(size[0])),
            Capsule(start=tuple(at), end=far, diameter=float(size[0])),
            MeshShape(at + rng.uniform(-90, 90, (30, 3, 3))),
        ]
        shapes.append(KeepClear(name=f"shape {i}", shape=kinds[i % 5], motion=motions[(i // 5 + i) % 5]))
    bodies = [*rails(), round_body("crossmember", (300, -350, 0), (300, 350, 0), 48.0)]
    together = gaps(bodies, shapes)
    for k, gap in enumerate(together):
        body, shape = bodies[k // len(shapes)], shapes[k % len(shapes)]
        alone = gaps([body], [shape])[0].gap
        meshed = isinstance(shape.shape, MeshShape) and shape.motion.moves
        slack = 0.45 if meshed else 0.02
        assert gap.gap == pytest.approx(alone, abs=slack + 0.04 * max(-alone, 0.0)), (body.name, shape)


def test_the_depth_of_an_overlap_over_a_travel_is_the_deepest() -> None:
    """Lifted 30 mm into the rail: the ball is that deep at the top of its travel, and the gap says so."""
    at = (300.0, 380.0, -TUBE.height / 2 - 50.0)
    found = gaps(rails()[:1], [ball("ball", at, Motion(lift=Span(-100.0, 30.0)))])[0]
    assert -30.0 * 1.03 <= found.gap <= -30.0 + 1e-6
    assert found.at.up == pytest.approx(30.0, abs=1.0)


def test_parts_that_touch_have_no_gap_and_parts_that_cross_a_negative_one() -> None:
    right = rails()[0]
    touching = rail_body("one", Centreline.from_points([[300, 0, 0], [300, 380 - TUBE.width / 2, 0]], []), TUBE)
    crossing = rail_body("other", Centreline.from_points([[300, 0, 0], [300, 372, 0]], []), TUBE)
    found = {(gap.first, gap.second): gap for gap in part_gaps([right, touching, crossing])}
    assert found["rail right", "one"].gap == pytest.approx(0.0, abs=0.05)
    assert found["rail right", "other"].gap == pytest.approx(-17.4, abs=0.1)
    assert found["rail right", "other"].first_place.station == pytest.approx(300, abs=40)
    assert found["rail right", "other"].second_place.station == pytest.approx(372, abs=20)


def test_parts_that_lie_in_the_same_place_still_say_where_they_touch() -> None:
    """One bend of 150 degrees and no straights: there the collision library finds neither depth nor nearest points."""
    thin = Section(height=76.2, width=50.8, wall=0.0254, corner=0.0)
    rows = BendRows.of([0.0], [0.0], [math.radians(150.0)], [177.8], 1e-6)
    bend = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    found = part_gaps([rail_body(name, bend, thin) for name in ("one", "other")])
    assert found[0].gap == pytest.approx(-thin.width, abs=0.1)
    for at in (found[0].on_first, found[0].on_second):
        assert math.dist(at, (0.0, 0.0, 177.8)) < 177.8 + thin.height


def test_pairs_named_as_exempt_are_left_out_and_the_rest_keep_their_order() -> None:
    bodies = [*rails(), round_body("bar", (900, -300, 90), (900, 300, 90), 40.0)]
    found = part_gaps(bodies, {frozenset(("bar", "rail left"))})
    assert [(gap.first, gap.second) for gap in found] == [("rail right", "rail left"), ("rail right", "bar")]
    assert found[0].gap == pytest.approx(760 - TUBE.width, abs=0.05)
    assert found[1].gap == pytest.approx(80 - TUBE.width / 2, abs=0.05)
