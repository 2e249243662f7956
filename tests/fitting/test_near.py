"""What the solver knows of clearances: gaps of the whole travel, how they change, and when to look again."""

import numpy as np
import pytest
from solver_jobs import LEVEL, task_of

from railmodel.fitting.bodies import rail_body
from railmodel.fitting.clearance import gaps
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.mirror import shape_key
from railmodel.fitting.motion import Motion, Span, Turning
from railmodel.fitting.near import line_of
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Shape, Sphere
from railmodel.fitting.solve import Task
from railmodel.geometry.rows import Array

BENT = """\
parts:
  - name: rail
    tube: main
    start: {at: [0, 8, 500], free: {x: [-50, 50], y: [-50, 50], z: [450, 550]}}
    path:
      - {straight: 400, free: [350, 450]}
      - bend: {toward: top, angle: 30, radius: 200, free: {angle: [20, 40]}}
      - {straight: 400, free: [350, 450]}
      - bend: {toward: left, angle: 20, radius: 150, free: {angle: [10, 30]}}
      - straight: 500
keep_clear:
"""

SHAPES = {
    "ball over a straight": "{sphere: {at: [200, 10, 640], diameter: 60}}, gap: 25",
    "ball under the bend": "{sphere: {at: [480, 5, 380], diameter: 60}}, gap: 25",
    "ball beside the last straight": "{sphere: {at: [1150, 150, 850], diameter: 60}}, gap: 25",
    "ball in front of the end": "{sphere: {at: [1240, -250, 960], diameter: 60}}, gap: 25",
    "rod along": "{capsule: {from: [100, 120, 520], to: [500, 120, 560], diameter: 30}}, gap: 25",
    "moving box": "{box: {at: [250, 0, 380], size: [80, 300, 40], turn: [0, 10, 5]}}, moves: {up: 30}, gap: 25",
    "rolling axle": "{cylinder: {from: [700, -300, 480], to: [700, 300, 480], diameter: 70}}, moves: {roll: 4}",
}


def one_shape(name: str) -> Task:
    return task_of(f"{BENT}  - {{name: it, shape: {SHAPES[name]}}}\n")


def gap_at(task: Task, x: Array) -> float:
    """The least gap as the clearance search finds it, without the solver's memory."""
    line = line_of(task.problem.lay_out(x[None], slopes=False)[0])
    assert line is not None
    section = task.problem.plans[0].real.section
    ((shape, _),) = shapes_of(task.problem.frame.source)
    (found,) = gaps([rail_body("rail", line, section, 0.002)], [shape])
    return found.gap


@pytest.mark.parametrize("name", SHAPES)
def test_gaps_change_as_the_nearest_places_say(name: str) -> None:
    # Against gaps worked out afresh 4 mm of a straight, or about as much at the end of a bend, to either side. The
    # search may give away 0.02 mm and the pieces of a bend are facets: 2 % is what these can show.
    task = one_shape(name)
    x = task.problem.written
    on = np.ones(1, dtype=bool)
    laid = task.problem.lay_out(x[None])
    task.clear.look(task.problem.lay_out(x[None], slopes=False), on)
    found = task.clear.group(on).measure(laid)
    assert found.value[0, 0] == pytest.approx(gap_at(task, x), abs=0.05)
    for k, variable in enumerate(task.problem.variables):
        step = np.zeros(len(x))
        step[k] = 0.04 if variable.kind == "length" else 0.02
        slope = (gap_at(task, x + step) - gap_at(task, x - step)) / (2 * step[k])
        assert found.slope[0, 0, k] == pytest.approx(slope, rel=0.03, abs=1.0)  # mm for a whole range, 100 mm or 20 deg


@pytest.mark.parametrize("name", SHAPES)
def test_slopes_of_nearest_places_are_central_differences_of_them(name: str) -> None:
    task = one_shape(name)
    x, on = task.problem.written, np.ones(1, dtype=bool)
    task.clear.look(task.problem.lay_out(x[None], slopes=False), on)
    group = task.clear.group(on)
    found = group.measure(task.problem.lay_out(x[None]))
    for k in range(len(x)):
        step = np.zeros(len(x))
        step[k] = 1e-5
        ahead, behind = (group.measure(task.problem.lay_out((x + s)[None])).value[0, 0] for s in (step, -step))
        assert found.slope[0, 0, k] == pytest.approx((ahead - behind) / 2e-5, rel=1e-6, abs=1e-5)


def test_a_level_face_comes_nearer_to_a_ball_one_for_one() -> None:
    # closed form: gap = 640 - 30 - (z + 40); both ends rise together
    text = LEVEL + "keep_clear:\n  - {name: it, shape: {sphere: {at: [600, 10, 640], diameter: 60}}}\n"
    task = task_of(text)
    on = np.ones(1, dtype=bool)
    laid = task.problem.lay_out(task.problem.written[None])
    task.clear.look(task.problem.lay_out(task.problem.written[None], slopes=False), on)
    found = task.clear.group(on).measure(laid)
    assert found.value[0, 0] == pytest.approx(70.0, abs=0.05)
    assert found.slope[0, 0] == pytest.approx([-200.0, -200.0], abs=0.1)  # half of 400 mm each


def test_what_cannot_have_come_near_is_not_looked_at_again(monkeypatch: pytest.MonkeyPatch) -> None:
    from railmodel.fitting import near

    text = LEVEL + """\
keep_clear:
  - {name: close, shape: {sphere: {at: [600, 10, 640], diameter: 60}}, gap: 60}
  - {name: far, shape: {sphere: {at: [600, 10, 1640], diameter: 60}}, gap: 60}
"""  # fmt: skip
    task = task_of(text)
    asked: list[list[str]] = []

    def counted(bodies: list[object], shapes: list[KeepClear]) -> object:
        asked.append([shape.name for shape in shapes])
        return gaps(bodies, shapes)  # type: ignore[arg-type]

    monkeypatch.setattr(near, "gaps", counted)
    on, x = np.ones(2, dtype=bool), task.problem.written
    first = task.clear.look(task.problem.lay_out(x[None], slopes=False), on)
    second = task.clear.look(task.problem.lay_out((x + 0.03)[None], slopes=False), on)
    assert asked == [["close", "far"], ["close"]]
    assert first == pytest.approx([70, 1070], abs=0.1)
    assert second[0] == pytest.approx(58, abs=0.1)
    assert 1070 - 12 * 1.06 <= second[1] <= 1070  # a bound that is never above the true gap, 1058
    only = task.clear.look(task.problem.lay_out((x + 0.06)[None], slopes=False), np.array([False, True]))
    assert np.isinf(only[0])


ROD = {"start": (1.0, -9.0, 3.0), "end": (1.0, 9.0, 3.0)}
BACK = {"start": ROD["end"], "end": ROD["start"]}
PLACED: list[tuple[Shape, Shape, bool]] = [
    (Sphere(at=(1, 2, 3), diameter=4), Sphere(at=(1, 2, 3), diameter=4), True),
    (Sphere(at=(1, 2, 3), diameter=4), Sphere(at=(1, -2, 3), diameter=4), False),
    (Cylinder(**ROD, diameter=4), Cylinder(**BACK, diameter=4), True),
    (Cylinder(**ROD, diameter=4), Capsule(**ROD, diameter=4), False),
    (Box(at=(0, 0, 0), size=(1, 2, 3)), Box(at=(0, -0.0, 0), size=(1, 2, 3), turn=(-0.0, 0, 0)), True),
]


@pytest.mark.parametrize(("one", "other", "same"), PLACED)
def test_the_same_solid_is_known_again(one: Shape, other: Shape, same: bool) -> None:
    assert (shape_key(KeepClear(name="a", shape=one)) == shape_key(KeepClear(name="b", shape=other))) is same


def test_an_axle_that_rolls_both_ways_is_its_own_mirror_image() -> None:
    roll = Motion(roll=Turning((0, 0, 5), (1, 0, 0), Span(-0.1, 0.1)), lift=Span(-3, 4))
    axle = KeepClear(name="axle", shape=Cylinder(start=(0, -9, 5), end=(0, 9, 5), diameter=2), motion=roll)
    assert shape_key(axle) == shape_key(axle.mirrored("its image"))
    leaning = Motion(roll=Turning((0, 0, 5), (1, 0, 0), Span(0, 0.1)))
    other = KeepClear(name="axle", shape=axle.shape, motion=leaning)
    assert shape_key(other) != shape_key(other.mirrored("its image"))
