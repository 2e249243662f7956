"""Marks, set angles, trims and cut lengths: what is written on the flat tube adds up, from either end."""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, degrees, pi, radians

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from rails import TUBE, part, random_legal_line

from railmodel.bending.mark_out import MarkOut, Tooling, mark_out, trims
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.job.shop import Die
from railmodel.part import End, RailPart

INCH = 25.4
SIXTEENTH = INCH / 16
ENDS: tuple[End, End] = ("front", "rear")


@dataclass(frozen=True)
class Springs:
    """Springback = fixed + part x finished angle, as trade sheets write it."""

    fixed: float = 0.0
    part: float = 0.0

    def set_angle(self, finished: float) -> float:
        return finished * (1 + self.part) + self.fixed


@dataclass(frozen=True)
class Uses:
    """Tube use = (1 - k) x arc."""

    k: float = 0.0

    def used(self, angle: float, radius: float) -> float:
        return (1 - self.k) * angle * radius


def die(**given: float) -> Die:
    return Die.model_validate({"height": 100, "width": 50, "way": "hard", "radius": 200, **given})


def rail(straights: list[float], angles: list[float], radius: float = 200.0) -> RailPart:
    """Bends up and down by turns, degrees; lengths in mm."""
    rotation = [0.0, *[pi] * (len(angles) - 1)][: len(angles)]
    rows = BendRows.of(straights[:-1], rotation, np.radians(angles), [radius] * len(angles), straights[-1])
    return part(Centreline(rows, Pose.of((0, 300, 0), (1, 0, 0), (0, 0, 1))))


def marked(drawn: RailPart, tool: Tooling, end: End = "front", *, angle_step: float = 0.0) -> MarkOut:
    return mark_out(drawn.read_from(end), [tool] * drawn.line.rows.count, angle_step=angle_step, trim_step=SIXTEENTH)


def test_marks_of_a_worked_example() -> None:
    """Worked by hand from the start-tangent rule: straights so far plus the stock of the bends before.

    300, bend of 30 degrees on 200 mm (arc 104.7198, 98 % of it used: 102.6254), 250, the same bend back, 400.
    """
    found = marked(rail([300, 250, 400], [30, 30]), Tooling(die(), Springs(), Uses(0.02)))
    assert [bend.mark for bend in found.bends] == pytest.approx([300.0, 652.6254], abs=1e-4)
    assert [bend.tube_use for bend in found.bends] == pytest.approx([102.6254, 102.6254], abs=1e-4)
    assert found.cut_length == pytest.approx(300 + 250 + 400 + 2 * 102.6254, abs=2e-4)
    assert (found.trim_lead, found.trim_tail) == (0.0, 0.0)


@given(
    seed=st.integers(0, 2**32 - 1),
    bends=st.integers(0, 8),
    end=st.sampled_from(ENDS),
    grip=st.none() | st.floats(0, 900),
    tail=st.none() | st.floats(0, 900),
    k=st.floats(-0.05, 0.15),
)
def test_last_mark_use_tail_and_trim_make_the_cut_length(
    seed: int, bends: int, end: End, grip: float | None, tail: float | None, k: float
) -> None:
    drawn = part(random_legal_line(np.random.default_rng(seed), bends))
    tool = Tooling(
        die(**{name: value for name, value in (("grip", grip), ("tail", tail)) if value}), Springs(), Uses(k)
    )
    found = marked(drawn, tool, end)
    rows = found.reading.line.rows
    assert abs(found.sum_check) <= 1e-9
    # the same length by another road: every straight, every bend's stock, both trims
    pieces = rows.straights.sum() + (1 - k) * (rows.angle * rows.radius).sum() + found.trim_lead + found.trim_tail
    assert abs(found.cut_length - pieces) <= 1e-9
    for first, second in pairwise(found.bends):
        straight = float(rows.distance[second.bend.number - 1])
        assert second.mark - first.mark - first.tube_use == pytest.approx(straight, abs=1e-9)


@given(seed=st.integers(0, 2**32 - 1), bends=st.integers(1, 8), k=st.floats(0, 0.03))
def test_the_other_end_marks_the_same_tube_from_its_other_end(seed: int, bends: int, k: float) -> None:
    """Without trims the cut length is one, and a bend's two start marks and its stock make it up."""
    drawn = part(random_legal_line(np.random.default_rng(seed), bends))
    front, rear = (marked(drawn, Tooling(None, Springs(), Uses(k)), end) for end in ENDS)
    assert front.cut_length == pytest.approx(rear.cut_length, abs=1e-9)
    for one, other in zip(front.bends, reversed(rear.bends), strict=True):
        assert one.bend.written == other.bend.written
        assert one.mark + one.tube_use + other.mark == pytest.approx(front.cut_length, abs=1e-9)


@pytest.mark.parametrize("offset", [6.35, -6.35, 0.0])
def test_the_gauge_mark_is_the_mark_with_the_dies_offset_positive_toward_the_tail(offset: float) -> None:
    found = marked(rail([300, 250, 400], [30, 30]), Tooling(die(mark_offset=offset), Springs(), Uses()))
    plain = marked(rail([300, 250, 400], [30, 30]), Tooling(die(), Springs(), Uses()))
    for bend, bare in zip(found.bends, plain.bends, strict=True):
        assert bend.mark == bare.mark
        assert bend.mark_at_gauge - bend.mark == pytest.approx(offset, abs=1e-12)
    assert found.cut_length == plain.cut_length


@given(finished=st.floats(1, 120), step=st.sampled_from([0.05, 0.1, 0.25, 0.5, 1.0]), part_=st.floats(0, 0.05))
def test_the_set_angle_is_the_controllers_nearest_step(finished: float, step: float, part_: float) -> None:
    tool = Tooling(None, Springs(radians(0.96), part_), Uses())
    bend = marked(rail([300, 400], [finished]), tool, angle_step=radians(step)).bends[0]
    exact = finished * (1 + part_) + 0.96
    assert degrees(bend.exact_set_angle) == pytest.approx(exact, abs=1e-9)
    steps = degrees(bend.set_angle) / step
    assert steps == pytest.approx(round(steps), abs=1e-9)
    assert abs(degrees(bend.set_angle) - exact) <= step / 2 + 1e-9
    assert degrees(bend.finished_angle) == pytest.approx(finished, abs=1e-12)


def test_a_controller_without_steps_takes_the_exact_angle() -> None:
    bend = marked(rail([300, 400], [31.234]), Tooling(None, Springs(radians(1.0)), Uses())).bends[0]
    assert bend.set_angle == bend.exact_set_angle
    assert degrees(bend.set_angle) == pytest.approx(32.234)


def test_trims_make_up_what_grip_and_tail_lack_rounded_up_to_the_tape() -> None:
    """152.4 mm grip against 100: 52.4 mm short, 33.008 sixteenths, so 34; 228.6 against 201.6125: 17 sixteenths."""
    drawn = rail([100, 250, 228.6 - 17 * SIXTEENTH], [30, 30])
    found = marked(drawn, Tooling(die(grip=152.4, tail=228.6), Springs(), Uses()))
    assert found.trim_lead == pytest.approx(34 * SIXTEENTH, abs=1e-9)
    assert found.trim_tail == pytest.approx(17 * SIXTEENTH, abs=1e-9)
    assert found.bends[0].mark == pytest.approx(100 + 34 * SIXTEENTH, abs=1e-9)
    assert abs(found.sum_check) <= 1e-9


@given(lead=st.floats(0, 400), tail=st.floats(1, 400), step=st.sampled_from([SIXTEENTH, INCH / 32, 1.0]))
def test_a_trim_is_enough_and_no_step_more_than_enough(lead: float, tail: float, step: float) -> None:
    reading = rail([lead, 250, tail], [30, 30]).read
    tool = die(grip=150, tail=220)
    found = trims(reading, [tool, tool], step)
    for trim, has, needs in zip(found, (lead, tail), (150, 220), strict=True):
        assume(abs(needs - has) > 2e-6 or needs == has)
        assert has + trim >= needs - 1e-6
        assert trim == pytest.approx(step * round(trim / step), abs=1e-9)
        assert trim == 0 if has >= needs else trim <= step * (ceil((needs - has) / step) + 1e-9)


def test_exactly_enough_grip_and_tail_needs_no_trim() -> None:
    tool = die(grip=150, tail=220)
    assert trims(rail([150, 250, 220], [30, 30]).read, [tool, tool], SIXTEENTH) == (0.0, 0.0)
    # what floating point leaves of an exact length is no reason to cut a sixteenth more
    assert trims(rail([150 - 1e-9, 250, 220 - 1e-9], [30, 30]).read, [tool, tool], SIXTEENTH) == (0.0, 0.0)


def test_grip_is_the_first_dies_and_tail_the_last_ones_from_either_end() -> None:
    drawn = rail([50, 250, 60], [30, 30])
    short, long = die(grip=70, tail=80), die(grip=110, tail=120)
    assert trims(drawn.read_from("front"), [short, long], 1.0) == (20.0, 60.0)
    assert trims(drawn.read_from("rear"), [long, short], 1.0) == (50.0, 30.0)


def test_a_die_that_does_not_say_and_no_die_at_all_add_no_trim() -> None:
    reading = rail([0, 250, 1], [30, 30]).read
    assert trims(reading, [die(), die()], 1.0) == (0.0, 0.0)
    assert trims(reading, [None, None], 1.0) == (0.0, 0.0)


def test_a_bend_that_begins_beyond_the_end_of_the_tube_is_no_reason_for_a_trim_where_no_grip_is_known() -> None:
    """A straight below zero is a fault of the shape and named as one; stock does not cure it."""
    assert trims(rail([-30, 250, -30], [30, 30]).read, [die(), die()], 1.0) == (0.0, 0.0)


def test_a_straight_part_is_cut_at_its_length() -> None:
    drawn = part(Centreline(BendRows.of([], [], [], [], 711.2), Pose.of((0, 0, 0), (0, 1, 0), (0, 0, 1))), TUBE)
    found = mark_out(drawn.read, [], angle_step=0.0, trim_step=1.0)
    assert (found.cut_length, found.trim_lead, found.trim_tail, found.bends, found.sum_check) == (711.2, 0, 0, (), 0)
