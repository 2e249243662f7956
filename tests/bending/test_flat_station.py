"""Places on the finished part, found again on the flat tube."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.bending.flat_station import flat_station
from railmodel.bending.mark_out import MarkOut, Tooling, mark_out
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.job.shop import Die
from railmodel.part import RailPart

TUBE = Section(height=76.2, width=50.8, wall=4.8, corner=9.5)
DIE = Die(height=76.2, width=50.8, way="hard", radius=200.0, grip=150.0, tail=150.0)


class Stretchy:
    """A bend that uses 98 % of its finished arc, and springs back by nothing."""

    def used(self, angle: float, radius: float) -> float:
        return 0.98 * angle * radius

    def set_angle(self, finished: float) -> float:
        return finished


def marked(distance: list[float], angle: list[float], tail: float) -> MarkOut:
    rows = BendRows.of(distance, [0.0] * len(angle), angle, [200.0] * len(angle), tail)
    line = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    part = RailPart(name="rail", hand="single", tube="tube", section=TUBE, line=line, dies=("hard",) * len(angle))
    return mark_out(part.read, [Tooling(DIE, Stretchy(), Stretchy())] * len(angle), angle_step=0.0, trim_step=1.0)


def test_before_the_first_bend_it_is_the_finished_distance_and_the_trim() -> None:
    marks = marked([100.0], [0.5], 300.0)
    assert marks.trim_lead == 50.0  # the clamp wants 150
    assert flat_station(marks, 0.0) == 50.0
    assert flat_station(marks, 40.0) == 90.0


def test_after_a_bend_the_stock_it_was_stretched_by_is_missing() -> None:
    marks = marked([200.0], [0.5], 300.0)
    after = 200.0 + 0.5 * 200.0 + 70.0
    assert flat_station(marks, after) == pytest.approx(after - 0.02 * 0.5 * 200.0)


def test_a_part_without_bends_is_its_own_flat() -> None:
    assert flat_station(marked([], [], 500.0), 123.0) == 123.0


@given(st.lists(st.tuples(st.floats(0, 500), st.floats(0.05, 2.5)), max_size=6), st.floats(0, 500), st.data())
def test_it_runs_from_the_lead_trim_to_the_tail_trim_through_every_mark(
    bends: list[tuple[float, float]], tail: float, data: st.DataObject
) -> None:
    marks = marked([distance for distance, _ in bends], [angle for _, angle in bends], tail)
    line = marks.reading.line
    assert flat_station(marks, 0.0) == pytest.approx(marks.trim_lead)
    assert flat_station(marks, line.length) == pytest.approx(marks.cut_length - marks.trim_tail)
    for bend, mark in zip(line.bends, marks.bends, strict=True):
        assert flat_station(marks, bend.station) == pytest.approx(mark.mark)
        assert flat_station(marks, bend.station + bend.length) == pytest.approx(mark.mark + mark.tube_use)
    places = sorted(data.draw(st.lists(st.floats(0, 1), min_size=2, max_size=8)))
    found = [flat_station(marks, share * line.length) for share in places]
    assert all(a <= b + 1e-9 for a, b in pairwise(found))
    assert bool(np.isfinite(found).all())
