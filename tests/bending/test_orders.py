"""Orders put the tube on the bender so that it comes out as drawn: every case is proved by laying the part there."""

from dataclasses import replace
from itertools import pairwise
from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from railmodel.bending.orders import Sense, orders
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows, wrap
from railmodel.geometry.section import Section
from railmodel.part import OPPOSITE, End, Face, RailPart

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
SENSES: tuple[Sense, Sense] = ("clockwise", "counter-clockwise")


def right_rail(rolls: list[float], angle: float = 0.4, **given: object) -> RailPart:
    """A right rail running rearward, with a bend toward each roll (quarter turns from the top face)."""
    rotation = wrap(np.diff(np.array(rolls) * pi / 2, prepend=0.0))
    count = len(rolls)
    rows = BendRows.of([200.0] * count, rotation, [angle] * count, [177.8] * count, 300.0)
    line = Centreline(rows, Pose.of([0, 400, 0], [1, 0, 0], [0, 0, 1]))
    part = RailPart(name="rail", hand="right", tube="main", section=TUBE, line=line, sides=("outboard", "inboard"))
    return replace(part, **given)  # type: ignore[arg-type]


def on_the_bender(part: RailPart, end: End, bend: int, sense: Sense) -> dict[Face, tuple[int, int, int]]:
    """Where each face looks, in bender axes, when the finished part lies with the start of a bend at the die.

    Nothing is taken from the orders: the part's own pose there is turned so that its leading side points along +x
    and the centre of the bend lies on the die's side.
    """
    reading = part.read_from(end)
    stretch = reading.line.bends[bend - 1]
    here = stretch.start
    die_side = np.array([0.0, 1.0 if sense == "counter-clockwise" else -1.0, 0.0])
    ahead = np.array([1.0, 0.0, 0.0])
    centre = (stretch.centre - here.at) / stretch.radius
    vehicle = np.stack([-here.t, centre, np.cross(-here.t, centre)], axis=-1)
    bender = np.stack([ahead, die_side, np.cross(ahead, die_side)], axis=-1)
    turn = bender @ vehicle.T
    faces: dict[Face, tuple[int, int, int]] = {}
    for face, way in zip(("top", "bottom", *reading.sides), (here.u, -here.u, here.s, -here.s), strict=True):
        x, y, z = np.round(turn @ way).astype(int)
        faces[face] = (int(x), int(y), int(z))  # type: ignore[index]
    return faces


parts = st.builds(
    lambda rolls, mirror: right_rail(rolls).mirrored() if mirror else right_rail(rolls),
    st.lists(st.integers(-1, 2), min_size=1, max_size=6),
    st.booleans(),
)


def test_worked_example_clockwise_bender_right_rail_front_leading_bend_toward_top() -> None:
    """Worked by hand in the design of the bender axes: top face on the die, inboard face up."""
    first = orders(right_rail([0]).read, "clockwise").bends[0]
    assert (first.face_on_die, first.face_up) == ("top", "inboard")
    assert first.turn == "load the tube with the top face against the die and the inboard face up"


@given(parts, st.sampled_from(["front", "rear"]), st.sampled_from(SENSES))
def test_the_ordered_faces_are_those_of_the_part_laid_on_the_bender(part: RailPart, end: End, sense: Sense) -> None:
    side = 1 if sense == "counter-clockwise" else -1
    for order in orders(part.read_from(end), sense).bends:
        faces = on_the_bender(part, end, order.bend, sense)
        assert faces[order.face_on_die] == (0, side, 0)
        assert faces[order.face_up] == (0, 0, 1)


@given(parts, st.sampled_from(["front", "rear"]), st.sampled_from(SENSES))
def test_turning_the_tube_as_told_brings_the_next_faces_there(part: RailPart, end: End, sense: Sense) -> None:
    """Clockwise for someone who looks from the tail at the die is right-handed about +x, where they look."""
    told = orders(part.read_from(end), sense).bends
    for before, order in pairwise(told):
        faces = on_the_bender(part, end, before.bend, sense)
        turn = Rotation.from_rotvec([np.radians(order.turn_degrees), 0, 0])
        after = {face: tuple(np.round(turn.apply(way)).astype(int)) for face, way in faces.items()}
        assert after == on_the_bender(part, end, order.bend, sense)


@given(parts, st.sampled_from(SENSES))
def test_the_other_hand_turns_the_other_way_and_keeps_its_face_names(part: RailPart, sense: Sense) -> None:
    here, there = orders(part.read, sense).bends, orders(part.mirrored().read, sense).bends
    assert [o.face_on_die for o in here] == [o.face_on_die for o in there]
    assert [o.turn_degrees % 360 for o in here] == [-o.turn_degrees % 360 for o in there]


@pytest.mark.parametrize(
    ("rolls", "words"),
    [
        ([0, 0], "do not turn the tube"),
        ([0, 1], "turn the tube 90 degrees clockwise"),
        ([0, -1], "turn the tube 90 degrees counter-clockwise"),
        ([0, 2], "turn the tube over, 180 degrees"),
        ([2, -1], "turn the tube 90 degrees clockwise"),
    ],
)
def test_turns_in_words(rolls: list[float], words: str) -> None:
    assert orders(right_rail(rolls).read, "clockwise").bends[1].turn == words


def test_a_roll_that_is_not_legal_is_ordered_at_the_nearest_quarter_turn() -> None:
    told = orders(right_rail([0.01, 0.98, 2.02]).read, "clockwise").bends
    assert [o.face_on_die for o in told] == ["top", "inboard", "bottom"]
    assert [o.turn_degrees for o in told] == [0, 90, 90]


def test_a_planar_pair_has_one_table_and_two_seam_positions() -> None:
    """Seam inboard on both rails: the two are bent alike and loaded with the seam on opposite sides."""
    right = right_rail([0, 2, 2, 0], seam="inboard", seam_on="wide")
    left = right.mirrored()
    assert np.array_equal(right.line.rows.rotation, left.line.rows.rotation)
    loaded = [orders(part.read, "clockwise").seam_when_loaded for part in (right, left)]
    assert loaded == ["up", "down"]
    assert [orders(part.read, "counter-clockwise").seam_when_loaded for part in (right, left)] == ["down", "up"]


@given(parts, st.sampled_from(["front", "rear"]), st.sampled_from(SENSES), st.sampled_from(["top", "inboard"]))
def test_the_seam_lies_where_its_face_lies(part: RailPart, end: End, sense: Sense, seam: Face) -> None:
    part = replace(part, seam=seam)
    told = orders(part.read_from(end), sense)
    side = 1 if sense == "counter-clockwise" else -1
    where = {(0, 0, 1): "up", (0, 0, -1): "down", (0, side, 0): "on the die", (0, -side, 0): "away from the die"}
    for order in told.bends:
        assert order.seam == where[on_the_bender(part, end, order.bend, sense)[seam]]
    assert told.seam_when_loaded == told.bends[0].seam
    stretched = [o.bend for o in told.bends if o.face_on_die == OPPOSITE[seam]]
    assert list(told.seam_on_outer_wall) == stretched
    assert [f.level for f in told.findings] == ["warn"] * bool(stretched)


def test_a_seam_on_the_outer_wall_is_said() -> None:
    told = orders(right_rail([0, 1, -1], seam="inboard").read, "clockwise")
    assert told.seam_on_outer_wall == (3,)
    assert "weld seam (inboard face) on the outer, stretched wall of bend 3" in told.findings[0].says
    assert [order.seam_wall for order in told.bends] == ["side", "inner", "outer"]
    assert told.bends[0].turn.endswith("; weld seam up")


def test_a_seam_the_mill_cannot_give_is_a_stop() -> None:
    told = orders(right_rail([0], seam="top", seam_on="wide").read, "clockwise")
    assert [f.level for f in told.findings] == ["stop"]
    assert "that face is narrow" in told.findings[0].says
    assert "choose inboard or outboard" in told.findings[0].says
    assert told.seam_when_loaded is None
    square = Section(height=50.8, width=50.8, wall=3.0, corner=6.0)
    assert orders(right_rail([0], seam="top", seam_on="wide", section=square).read, "clockwise").findings == ()


def test_a_seam_on_a_face_the_part_does_not_have_is_a_stop() -> None:
    told = orders(right_rail([0], seam="left").read, "clockwise")
    assert told.findings[0].says == (
        "rail right has no left face to put the weld seam on; choose top, bottom, inboard, outboard"
    )


def test_a_straight_part_has_nothing_to_order() -> None:
    told = orders(right_rail([], seam="inboard").read, "clockwise")
    assert (told.bends, told.seam_when_loaded, told.findings) == ((), None, ())
