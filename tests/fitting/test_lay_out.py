"""Parts laid out in duals are the parts the program builds, and their slopes are central differences."""

from collections.abc import Iterator
from math import degrees
from pathlib import Path

import numpy as np
import pytest
from jobfiles import HEAD

from railmodel.fitting.dual import Dual
from railmodel.fitting.fit_point import foot_on
from railmodel.fitting.lay_out import Laid, Plan, material_points
from railmodel.fitting.measures import FAR, feet, nearest_stretch, roll_at
from railmodel.fitting.problem import plans_of
from railmodel.fitting.variables import Variable, variables_of
from railmodel.frame import build_frame
from railmodel.geometry.roll import plumb
from railmodel.geometry.rows import Array
from railmodel.job.edit import set_values
from railmodel.job.reader import JobFile, job_from
from railmodel.part import RailPart

PARTS = {
    "points": """
  - name: rail
    tube: main
    hand: pair
    points:
      - {at: [0, 300, 500], free: {z: [480, 520]}}
      - {at: [500, 300, 500], radius: 200, free: {x: [400, 600], z: [480, 520]}}
      - {at: [1000, 300, 600], radius: 200, free: {y: [250, 350]}}
      - {at: [1500, 400, 610], radius: 160, free: {x: [1400, 1600]}}
      - [2300, 400, 700]
""",
    "points at a face": """
  - name: rail
    tube: main
    hand: pair
    points_at: inside
    points:
      - {at: [0, 300, 500], free: {z: [480, 520]}}
      - {at: [500, 300, 500], radius: 200, free: {x: [400, 600], z: [480, 520]}}
      - {at: [1000, 300, 600], radius: 200, free: {y: [250, 350]}}
      - {at: [1500, 400, 610], radius: 160, free: {x: [1400, 1600]}}
      - [2300, 400, 700]
""",
    "path": """
  - name: rail
    tube: main
    start: {at: [1, 2, 3], heading: [1, 0.2, 0.1], top: [0, 0.3, 1], free: {x: [-10, 10], z: [0, 20]}}
    path:
      - {straight: 300, free: [250, 350]}
      - bend: {toward: top, angle: 20, radius: 200, free: {angle: [10, 30]}}
      - {straight: 200, free: [150, 350]}
      - offset: {toward: left, by: 90, angle: 25, radius: 160, free: {by: [80, 130], angle: [15, 35]}}
      - {straight: 200, free: [150, 350]}
      - offset: {toward: bottom, by: 90, over: 420, radius: 160, free: {by: [60, 100], over: [400, 500]}}
      - straight: 500
""",
    "rows": """
  - name: rail
    tube: main
    start: {at: [1, 2, 3], heading: [1, 0.2, 0.1], top: [0, 0.3, 1], free: {x: [-10, 10], z: [0, 20]}}
    rows:
      - {distance: 300, rotation: 90, angle: 30, radius: 100, free: {distance: [250, 350], angle: [20, 40]}}
      - {distance: 300, rotation: -90, angle: 30, radius: 200, free: {distance: [250, 350], angle: [20, 40]}}
    tail: 200
    free: {tail: [100, 300]}
""",
}
"""With an offset that needs all its run, faces that slide, and every kind of value that may be free."""


class Case:
    """One part with free values, and values for it."""

    def __init__(self, text: str) -> None:
        self.source = job_from(f"{HEAD}parts:{text}".encode(), Path("job.yaml"))
        self.variables: tuple[Variable, ...] = variables_of(self.source)
        frame = build_frame(self.source)
        self.plan: Plan = plans_of(frame, self.variables)[0]
        rng = np.random.default_rng(5)
        low, high = (np.array([getattr(one, end) for one in self.variables]) for end in ("low", "high"))
        self.values: Array = low + (high - low) * rng.random((6, len(low)))

    def laid(self, values: Array) -> Laid:
        return self.plan.lay_out(Dual.variables(values))

    def built(self, lane: int) -> RailPart:
        """The part as the program builds it from the changed file."""
        changes = {
            one.loc: repr(degrees(value) if one.kind == "angle" else float(value))
            for one, value in zip(self.variables, self.values[lane], strict=True)
        }
        changed: JobFile = job_from(set_values(self.source.text, changes).encode(), self.source.path)
        return build_frame(changed).parts[0]


@pytest.fixture(params=PARTS)
def case(request: pytest.FixtureRequest) -> Case:
    return Case(PARTS[request.param])


def columns(laid: Laid, plan: Plan) -> Iterator[Dual]:
    count = laid.length.shape[1]
    stretch, share = np.repeat(np.arange(count), 3), np.tile([0.0, 0.4, 1.0], count)
    yield from (laid.at, laid.t, laid.u, laid.s, laid.length, laid.inward, laid.angle, laid.roll)
    yield from (laid.end, laid.end_t, laid.end_u, laid.slack)
    yield material_points(laid, stretch, share, np.full(len(share), 20.0), np.full(len(share), -33.0))
    yield roll_at(laid, 700.0)
    yield roll_at(laid, 330.0)


def test_it_is_the_part_the_program_builds(case: Case) -> None:
    laid = case.laid(case.values)
    for lane in range(len(case.values)):
        line = case.built(lane).line
        for i, stretch in enumerate(line.stretches):
            assert laid.at.value[lane, i] == pytest.approx(stretch.start.at, abs=1e-9)
            assert laid.t.value[lane, i] == pytest.approx(stretch.start.t, abs=1e-12)
            assert laid.s.value[lane, i] == pytest.approx(stretch.start.s, abs=1e-12)
            assert laid.length.value[lane, i] == pytest.approx(stretch.length, abs=1e-9)
        for i, bend in enumerate(line.bends):
            assert laid.inward.value[lane, i] == pytest.approx(bend.inward, abs=1e-12)
            assert laid.roll.value[lane, i] == pytest.approx(bend.roll, abs=1e-12)
        assert laid.end.value[lane] == pytest.approx(line.end.at, abs=1e-9)
        assert laid.end_u.value[lane] == pytest.approx(line.end.u, abs=1e-12)


def test_slopes_are_central_differences(case: Case) -> None:
    found = list(columns(case.laid(case.values), case.plan))
    for k, variable in enumerate(case.variables):
        step = np.zeros(len(case.variables))
        step[k] = 1e-3 if variable.kind == "length" else 1e-6
        ahead, behind = (list(columns(case.laid(case.values + sign * step), case.plan)) for sign in (1, -1))
        for one, after, before in zip(found, ahead, behind, strict=True):
            slope = (after.value - before.value) / (2 * step[k])
            size = max(1.0, float(np.abs(slope).max(initial=0.0)))
            assert np.abs(one.slope[..., k] - slope).max(initial=0.0) <= 1e-6 * size


def test_points_of_the_part_lie_where_it_is(case: Case) -> None:
    laid = case.laid(case.values)
    for lane in (0, 3):
        line = case.built(lane).line
        stretch = np.arange(len(line.stretches))
        points = material_points(laid, stretch, np.full(len(stretch), 0.3), np.full(len(stretch), 7.0), stretch * 2.0)
        for i, one in enumerate(line.stretches):
            pose = one.pose(0.3 * one.length)
            assert points.value[lane, i] == pytest.approx(pose.at + 7.0 * pose.s + 2.0 * i * pose.u, abs=1e-9)


def around(part: RailPart, rng: np.random.Generator, count: int) -> Array:
    """Points near the part: beside a straight, beside a bend, a little beyond an end."""
    station = rng.uniform(-30.0, part.line.length + 30.0, count)
    pose = part.line.pose_at(station)
    return np.asarray(pose.at + rng.uniform(-90, 90, (count, 1)) * pose.s + rng.uniform(-90, 90, (count, 1)) * pose.u)


@pytest.mark.parametrize("face", range(4))
def test_feet_are_those_of_the_check(case: Case, face: int) -> None:
    rng = np.random.default_rng(face)
    across = np.array([(0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0)])[face]
    roll = face * np.pi / 2
    laid = case.laid(case.values)
    for lane in (0, 4):
        part = case.built(lane)
        section = part.section
        reach = section.height / 2 if face % 2 == 0 else section.width / 2
        points = around(part, rng, 60)
        found = feet(laid, points, np.tile(across, (60, 1)), np.full(60, reach))
        for i, point in enumerate(points):
            foot = foot_on(part.line, section, point, roll)
            if foot.beyond:  # the check measures at the end, the solver drives the foot onto the part
                assert found.inside.value[lane, i] == pytest.approx(-foot.beyond, abs=1e-6)
                continue
            assert found.gap.value[lane, i] == pytest.approx(foot.gap, abs=1e-7)
            assert found.aside.value[lane, i] == pytest.approx(foot.aside, abs=1e-7)
            assert found.clear.value[lane, i] == pytest.approx(min(foot.from_bend, FAR), abs=1e-6)


def test_slopes_of_feet_are_central_differences(case: Case) -> None:
    part = case.built(0)
    points = around(part, np.random.default_rng(9), 60)
    across = np.tile([[0.0, 1.0], [1.0, 0.0]], (30, 1))

    def measured(values: Array) -> list[Dual]:
        found = feet(case.laid(values), points, across, np.full(60, 40.0))
        return [found.gap, found.aside, found.clear, found.inside]

    values = case.values[:1]
    found = measured(values)
    for k, variable in enumerate(case.variables):
        step = np.zeros(len(case.variables))
        step[k] = 1e-4 if variable.kind == "length" else 1e-7
        steady = np.ones(60, dtype=bool)  # where the foot does not change over to another stretch meanwhile
        here = nearest_stretch(case.laid(values), points)[0]
        for sign in (1, -1):
            steady &= nearest_stretch(case.laid(values + sign * step), points)[0] == here
        ahead, behind = measured(values + step), measured(values - step)
        for one, after, before in zip(found, ahead, behind, strict=True):
            slope = (after.value - before.value)[0, steady] / (2 * step[k])
            size = max(1.0, float(np.abs(slope).max()))
            agree = np.abs(one.slope[0, steady, k] - slope) <= 1e-6 * size
            assert agree.mean() >= 0.95  # the rest stands half-way between two bends or two ends


def test_the_top_face_rolls_as_the_check_says(case: Case) -> None:
    laid = case.laid(case.values)
    for lane in range(3):
        line = case.built(lane).line
        for straight in line.straights:
            middle = float(straight.pose(straight.length / 2).at[0])
            expected = plumb(straight)
            assert expected is not None
            assert roll_at(laid, middle).value[lane] == pytest.approx(expected, abs=1e-9)
