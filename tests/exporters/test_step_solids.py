"""Exact solids: closed, valid, of the volume Pappus gives, made of nothing but planes, cylinders, tori and cones."""

from collections import Counter

import cadquery
import numpy as np
import pytest
from rails import TUBE, part, random_legal_line, random_section, rolled

from exporters.solids import solid
from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

START = Pose.of([10.0, -300.0, 40.0], [1.0, 0.1, 0.05], [0.0, 0.0, 1.0])
QUARTER = np.pi / 2


def one_bend(roll: float = 0.0, radius: float = 200.0, before: float = 300.0, after: float = 400.0) -> Centreline:
    return Centreline(BendRows.of([before], [roll], [1.1], [radius], after), START)


def faces(shape: cadquery.Solid) -> Counter[str]:
    return Counter(face.geomType() for face in shape.Faces())


def off_pappus(shape: cadquery.Solid, section: Section, line: Centreline) -> float:
    """Relative difference of the volume from section area x centreline length (Pappus-Guldin)."""
    return abs(shape.Volume() / (section.area * line.length) - 1)


@pytest.mark.parametrize("seed", range(8))
def test_200_random_legal_rails_are_valid_and_have_the_volume_pappus_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for _ in range(25):
        section = random_section(rng)
        line = random_legal_line(rng, int(rng.integers(0, 5)), section=section)
        shape = solid(part(line, section))
        assert shape.isValid(), (section, line)
        assert off_pappus(shape, section, line) < 1e-9
        assert set(faces(shape)) <= {"PLANE", "CYLINDER", "TORUS"}


@pytest.mark.parametrize("off", [0.0, 1e-12, 1e-10, 1e-9, 1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3, 0.026, 0.3, 0.785, 1.5])
def test_a_rail_off_the_legal_roll_by_any_amount_is_as_exact(off: float) -> None:
    rng = np.random.default_rng(17)
    for _ in range(2):
        section = random_section(rng)
        line = rolled(random_legal_line(rng, 2, section=section), off)
        line = Centreline(BendRows.of(**{**columns(line.rows), "radius": line.rows.radius * 1.5}), line.start)
        shape = solid(part(line, section))
        assert shape.isValid(), (section, line)
        assert off_pappus(shape, section, line) < 1e-9
        assert set(faces(shape)) <= {"PLANE", "CYLINDER", "TORUS", "CONE"}


def columns(rows: BendRows) -> dict[str, object]:
    return {name: getattr(rows, name) for name in ("distance", "rotation", "angle", "radius", "tail")}


@pytest.mark.parametrize("roll", [0.0, QUARTER, np.pi, -QUARTER])
def test_a_rounded_tube_with_one_bend_has_these_faces(roll: float) -> None:
    # two outlines of 4 flats and 4 corners; two straights, one bend, two ends
    straights = {"PLANE": 2 * 2 * 4, "CYLINDER": 2 * 2 * 4}
    bend = {"PLANE": 2 * 2, "CYLINDER": 2 * 2, "TORUS": 2 * 4}
    expected = Counter(straights) + Counter(bend) + Counter({"PLANE": 2})
    assert faces(solid(part(one_bend(roll)))) == expected


@pytest.mark.parametrize(
    ("section", "expected"),
    [
        (Section(height=100, width=50, wall=4, corner=0), {"PLANE": 2 + 8 + 4, "CYLINDER": 4}),
        (Section(height=100, width=50, wall=4, corner=3), {"PLANE": 2 + 8 + 4, "CYLINDER": 4 + 4, "TORUS": 4}),
        (Section(height=50, width=50, wall=4, corner=25), {"PLANE": 2, "CYLINDER": 8, "TORUS": 8}),
        (Section(height=100, width=50, wall=4, corner=25), {"PLANE": 2 + 4 + 4, "CYLINDER": 8, "TORUS": 8}),
    ],
    ids=["sharp", "sharp inside", "round", "flat oval"],
)
def test_corners_from_sharp_to_full_round(section: Section, expected: dict[str, int]) -> None:
    """A straight and a bend; the flat oval bends in the plane of its two flats."""
    line = one_bend(after=0.0)
    shape = solid(part(line, section))
    assert faces(shape) == Counter(expected)
    assert shape.isValid()
    assert off_pappus(shape, section, line) < 1e-9


def test_every_edge_belongs_to_two_faces_and_the_tube_has_one_hole_through_it() -> None:
    shape = solid(part(one_bend()))
    assert len(shape.Shells()) == 1
    uses = Counter(edge.hashCode() for face in shape.Faces() for edge in face.Edges())
    assert set(uses.values()) == {2}
    # Euler-Poincare: V - E + F - (inner loops) = 2 (shells - holes); the two ends have an inner loop each
    assert len(shape.Vertices()) - len(shape.Edges()) + len(shape.Faces()) - 2 == 2 * (1 - 1)


def test_the_centreline_lies_in_the_bore_and_the_wall_lies_round_it() -> None:
    line = one_bend(QUARTER)
    shape = solid(part(line))
    for station in np.linspace(1.0, line.length - 1.0, 7):
        pose = line.pose_at(station)
        at, s, u = pose.at[0], pose.s[0], pose.u[0]
        assert not shape.isInside(cadquery.Vector(*at))
        for direction, half in ((s, 25.0), (-s, 25.0), (u, 50.0), (-u, 50.0)):
            assert shape.isInside(cadquery.Vector(*(at + (half - 2.0) * direction)))
            assert not shape.isInside(cadquery.Vector(*(at + (half + 0.01) * direction)))
            assert not shape.isInside(cadquery.Vector(*(at + (half - 4.01) * direction)))


def test_a_left_part_is_the_mirror_image_of_the_right_built_from_its_own_line() -> None:
    right = part(random_legal_line(np.random.default_rng(3), 3), hand="right")
    one, other = solid(right), solid(right.mirrored())
    assert other.isValid()
    assert other.Volume() == pytest.approx(one.Volume(), rel=1e-12)
    assert other.Center().toTuple() == pytest.approx([one.Center().x, -one.Center().y, one.Center().z], abs=1e-8)


def test_straights_too_short_to_matter_are_left_out() -> None:
    def rail(speck: float) -> Centreline:
        return Centreline(BendRows.of([speck, speck], [0.0, QUARTER], [0.5, 0.7], [200.0, 150.0], speck), START)

    for speck in (0.0, 9e-7, -9e-7):
        shape = solid(part(rail(speck)))
        assert shape.isValid()
        assert len(shape.Faces()) == 2 * 16 + 2
        assert off_pappus(shape, TUBE, rail(0.0)) < 1e-9


def test_a_bend_tighter_than_the_tube_is_deep_is_refused() -> None:
    with pytest.raises(GeometryError, match=r"rail, bend 1 from the front end: centreline radius 45 mm is 5 mm too sm"):
        solid(part(one_bend(0.0, radius=45.0)))
    assert solid(part(one_bend(QUARTER, radius=45.0))).isValid()  # the easy way the tube is only 50 deep
    with pytest.raises(GeometryError, match="use a radius above 25 mm"):
        solid(part(one_bend(QUARTER, radius=25.0)))
    reach = 17 * np.sin(0.5) + 42 * np.cos(0.5) + 8  # half flats and corner of the tube, seen at the roll
    with pytest.raises(GeometryError, match=r"0\.001001 mm too small"):
        solid(part(one_bend(0.5, radius=reach - 0.001)))
    assert solid(part(one_bend(0.5, radius=reach + 0.001))).isValid()
    slight = Centreline(BendRows.of([100.0], [0.0], [1e-3], [50.0005], 100.0), START)  # 0.5 nm along the inside
    with pytest.raises(GeometryError, match=r"use a radius above 50\.001 mm"):
        solid(part(slight))


def test_bends_that_overlap_are_refused() -> None:
    def rail(first: float, between: float, last: float) -> Centreline:
        return Centreline(BendRows.of([first, between], [0.0, 0.0], [1.0, 1.0], [200.0, 200.0], last), START)

    with pytest.raises(GeometryError, match=r"bends 1 and 2 from the front end overlap by 3\.5 mm; move the points"):
        solid(part(rail(10.0, -3.5, 10.0)))
    with pytest.raises(GeometryError, match="bend nearest the front end begins 2 mm beyond"):
        solid(part(rail(-2.0, 10.0, 10.0)))
    with pytest.raises(GeometryError, match="bend nearest the rear end begins 2 mm beyond"):
        solid(part(rail(10.0, 10.0, -2.0)))


def test_a_rail_of_no_length_is_refused() -> None:
    with pytest.raises(GeometryError, match="the centreline has no length"):
        solid(part(Centreline(BendRows.of([], [], [], [], 0.0), START)))
