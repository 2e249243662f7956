"""One tube of one hand: names of faces and hands, reading from either end, and what its bends are called."""

from math import pi

import numpy as np
import pytest
from drawn import centrelines
from hypothesis import given
from hypothesis import strategies as st

from railmodel.geometry.centreline import Centreline
from railmodel.geometry.section import Section
from railmodel.part import OPPOSITE, End, Face, Hand, RailPart

TUBE = Section(height=80.0, width=40.0, wall=3.0, corner=6.0)
SIDES: tuple[tuple[Face, Face], ...] = (("right", "left"), ("outboard", "inboard"), ("inboard", "outboard"))
ENDS: tuple[End, End] = ("front", "rear")


@st.composite
def rail_parts(draw: st.DrawFn, least: int = 0) -> RailPart:
    """A part of either hand, legal to bend or not, with a die name at every bend."""
    line = draw(centrelines(least, 6))
    hand: Hand = draw(st.sampled_from(("left", "right", "single")))
    return RailPart(
        name="rail", hand=hand, tube="main", section=TUBE, line=line, sides=draw(st.sampled_from(SIDES)),
        dies=tuple(f"die {i}" for i in range(line.rows.count)), leading_end=draw(st.sampled_from(ENDS)),
    )  # fmt: skip


@pytest.mark.parametrize(("hand", "label"), [("right", "rail right"), ("left", "rail left"), ("single", "rail")])
def test_a_label_is_the_name_with_its_hand(hand: Hand, label: str) -> None:
    line = Centreline.from_points([[0, 0, 0], [100, 0, 0]], [])
    assert RailPart(name="rail", hand=hand, tube="main", section=TUBE, line=line).label == label


@given(rail_parts(), st.sampled_from(ENDS))
def test_every_face_lies_where_its_roll_says_whichever_end_is_read(part: RailPart, end: End) -> None:
    reading = part.read_from(end)
    place = reading.line.start
    right, left = reading.sides
    named: tuple[tuple[np.ndarray, Face], ...] = (
        (place.s, right), (-place.s, left), (place.u, "top"), (-place.u, "bottom"),
    )  # fmt: skip
    for side, face in named:
        assert np.abs(place.direction(reading.roll_of(face)) - side).max() < 1e-14
        assert reading.face(reading.roll_of(face)) == face


@given(rail_parts())
def test_faces_keep_their_names_from_either_end(part: RailPart) -> None:
    front, rear = part.read_from("front"), part.read_from("rear")
    there, back = front.line.end, rear.line.start
    for face in ("top", "bottom", *part.sides):
        ahead, behind = there.direction(front.roll_of(face)), back.direction(rear.roll_of(face))
        assert np.abs(ahead - behind).max() < 1e-9


@given(rail_parts(least=1))
def test_from_the_rear_the_order_turns_round_and_every_bend_keeps_its_face_die_and_way(part: RailPart) -> None:
    front, rear = part.read_from("front").bends, part.read_from("rear").bends
    assert [bend.number for bend in front] == [bend.number for bend in rear] == list(range(1, len(front) + 1))
    assert [bend.written for bend in rear] == [bend.written for bend in front][::-1]
    for ours, theirs in zip(front, reversed(rear), strict=True):
        assert ours.off == pytest.approx(-theirs.off, abs=1e-12)
        if abs(abs(ours.off) - pi / 4) > 1e-9:  # half way between two faces, either is the nearest
            assert (ours.toward, ours.die, ours.way) == (theirs.toward, theirs.die, theirs.way)


@given(rail_parts())
def test_the_leading_end_only_chooses_the_reading(part: RailPart) -> None:
    assert part.read.end == part.leading_end
    rows = part.read.line.rows
    expected = part.line.rows if part.leading_end == "front" else part.line.rows.reversed()
    assert np.array_equal(rows.rotation, expected.rotation)
    assert np.array_equal(rows.straights, expected.straights)


@given(rail_parts(least=1))
def test_the_other_hand_keeps_the_names_of_its_faces_and_bends_the_other_way_round(part: RailPart) -> None:
    other = part.mirrored()
    assert {part.hand, other.hand} in ({"left", "right"}, {"single"})
    assert other.sides == (part.sides[1], part.sides[0])
    for ours, theirs in zip(part.read.bends, other.read.bends, strict=True):
        if abs(abs(ours.off) - pi / 4) > 1e-9:
            assert (ours.toward, ours.way, ours.die) == (theirs.toward, theirs.way, theirs.die)
        assert ours.off == pytest.approx(-theirs.off, abs=1e-12)
    for face in ("top", "bottom", *part.sides):
        mirrored = part.line.start.direction(part.read_from("front").roll_of(face)) * [1, -1, 1]
        assert np.abs(other.line.start.direction(other.read_from("front").roll_of(face)) - mirrored).max() < 1e-14


@given(rail_parts(least=1))
def test_mirrored_twice_it_is_the_same_part(part: RailPart) -> None:
    again = part.mirrored().mirrored()
    assert (again.hand, again.sides, again.label) == (part.hand, part.sides, part.label)
    assert np.array_equal(again.line.rows.rotation, part.line.rows.rotation)
    assert np.array_equal(again.line.start.at, part.line.start.at)


@given(rail_parts(least=1))
def test_the_face_a_bend_goes_toward_is_the_one_on_its_inside(part: RailPart) -> None:
    reading = part.read
    for bend, stretch in zip(reading.bends, reading.line.bends, strict=True):
        toward = stretch.start.direction(reading.roll_of(bend.toward))
        assert np.dot(toward, stretch.inward) >= np.cos(pi / 4) - 1e-9
        assert np.dot(toward, stretch.inward) == pytest.approx(np.cos(bend.off), abs=1e-9)
        assert bend.way == ("hard" if bend.toward in ("top", "bottom") else "easy")  # this tube stands tall


def test_depth_and_way_toward_a_face() -> None:
    line = Centreline.from_points([[0, 0, 0], [100, 0, 0]], [])
    part = RailPart(name="rail", hand="single", tube="main", section=TUBE, line=line)
    assert (part.depth_toward("top"), part.depth_toward("left")) == (80.0, 40.0)
    assert (part.way_toward("bottom"), part.way_toward("right")) == ("hard", "easy")
    flat = RailPart(name="rail", hand="single", tube="main", section=TUBE.turned, line=line)
    assert (flat.way_toward("bottom"), flat.way_toward("right")) == ("easy", "hard")


def test_opposite_faces_are_opposite_both_ways() -> None:
    assert all(OPPOSITE[OPPOSITE[face]] == face for face in OPPOSITE)


def test_a_face_the_part_does_not_have_has_no_roll() -> None:
    line = Centreline.from_points([[0, 0, 0], [100, 0, 0]], [])
    part = RailPart(name="rail", hand="single", tube="main", section=TUBE, line=line)
    with pytest.raises(KeyError):
        part.read.roll_of("inboard")
