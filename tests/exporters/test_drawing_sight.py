"""What a drawing shows of bodies: true arcs and lines, nothing twice, nothing that lies behind."""

from math import radians
from pathlib import Path

import numpy as np
import pytest
import shapely
from flats import TUBE, line, side_rail
from hypothesis import given
from hypothesis import strategies as st
from jobfiles import HEAD, job_file
from papers import HAULER, RACK, TRAILER, frame_at
from rails import part, random_legal_line

from exporters.drawing.bodies import plate_body, tube_body
from exporters.drawing.curves import ArcPiece, Curve, Drawn, LinePiece, merged
from exporters.drawing.features import VIEWS, extent
from exporters.drawing.sight import centrelines, see
from exporters.views import PICTORIAL, PLAN, SIDE
from railmodel.frame import build_frame
from railmodel.geometry.section import Section
from railmodel.job.reader import read_job
from railmodel.plates import plates


def points(curve: Curve, count: int = 60) -> np.ndarray:
    return curve.at(np.linspace(0, 1, count))


def shape(drawn: list[Drawn], *styles: str) -> shapely.Geometry:
    return shapely.union_all([shapely.LineString(points(one.curve)) for one in drawn if one.style in styles])


def length(drawn: list[Drawn], style: str) -> float:
    return sum(one.curve.length for one in drawn if one.style == style)


def test_a_rail_seen_square_is_lines_and_true_arcs_at_half_its_depth():
    drawn = see([tube_body(side_rail(line=line([12, 20, 15], [0, 180], [30, 30], 7), dies=()))], SIDE, dashed=True)
    outlines = [one.curve for one in drawn if one.style == "visible"]
    arcs = [curve for curve in outlines if isinstance(curve, ArcPiece)]
    half = TUBE.height / 2
    assert sorted(arc.radius for arc in arcs) == pytest.approx([7 * 25.4 - half] * 2 + [7 * 25.4 + half] * 2, abs=1e-9)
    assert [arc.end - arc.begin for arc in arcs] == pytest.approx([radians(30)] * 4)
    straights = sorted(curve.length for curve in outlines if isinstance(curve, LinePiece))
    wanted = [*[TUBE.height] * 2, *[12 * 25.4] * 2, *[15 * 25.4] * 2, *[20 * 25.4] * 2]
    assert straights == pytest.approx(sorted(wanted), abs=1e-6)
    tangents = [one.curve.length for one in drawn if one.style == "tangent"]
    assert tangents == pytest.approx([TUBE.height] * 4)


def test_a_rail_seen_square_has_no_hidden_lines_of_its_own():
    for view in VIEWS:
        assert length(see([tube_body(side_rail())], view, dashed=True), "hidden") == 0


def test_what_lies_behind_another_body_is_dashed_or_left_out():
    near = part(line([40], [], [], 7), TUBE, name="near")
    behind = part(line([10], [], [], 7), TUBE, name="behind")
    moved = behind.line.start.at + np.array([254.0, 500.0, 0.0])  # farther from an eye at the left
    far = part(
        type(behind.line)(behind.line.rows, type(behind.line.start)(moved, *(
            getattr(behind.line.start, axis) for axis in "tsu"
        ))), type(TUBE)(height=40.0, width=30.0, wall=3.0, corner=3.0), name="behind",
    )  # fmt: skip
    bodies = [tube_body(near), tube_body(far)]
    dashed = see(bodies, SIDE, dashed=True)
    assert length(dashed, "hidden") == pytest.approx(2 * (254 + 40), rel=1e-4)
    assert length(dashed, "visible") == pytest.approx(2 * (40 * 25.4 + TUBE.height), rel=1e-9)
    assert length(see(bodies, SIDE, dashed=False), "hidden") == 0
    from_above = see(bodies, PLAN, dashed=True)
    assert length(from_above, "hidden") == 0


@pytest.mark.parametrize("view", [SIDE, PLAN, PICTORIAL], ids=lambda view: view.name)
@pytest.mark.parametrize("job", [HAULER, RACK, TRAILER], ids=lambda path: path.stem)
def test_nothing_is_drawn_twice(job, view):
    frame = frame_at(job)
    bodies = [tube_body(one) for one in frame.parts]
    bodies += [plate_body(plate, place) for plate in plates(frame) for place in plate.places]
    drawn = see(bodies, view, dashed=True)
    total = sum(one.curve.length for one in drawn)
    apart = shapely.union_all([shapely.LineString(points(one.curve, 20)) for one in drawn], grid_size=1e-3)
    assert apart.length == pytest.approx(total, rel=2e-3)


@pytest.mark.parametrize("seed", range(3))
def test_the_outline_of_a_lone_tube_is_that_of_all_its_faces(seed):
    """Silhouette: the union of every face's shadow, by shapely, has its border drawn in full."""
    rng = np.random.default_rng(seed)
    body = tube_body(part(random_legal_line(rng, 3)))
    for view in (SIDE, PICTORIAL):
        faces = [shapely.Polygon(corners) for corners in view.flat(body.faces)]
        shadow = shapely.union_all([face.buffer(0.01) for face in faces if face.is_valid and face.area > 1e-6])
        drawn = see([body], view, dashed=False)
        border = shape(drawn, "visible", "tangent").buffer(0.5)
        rims = shapely.get_exterior_ring(shapely.get_parts(shadow))
        missing = sum(rim.difference(border).length for rim in rims)
        assert missing < 0.01 * sum(rim.length for rim in rims)
        assert shape(drawn, "visible", "tangent").difference(shadow.buffer(0.5)).length == 0


def test_a_round_tube_is_as_wide_as_its_diameter_from_wherever_it_is_seen():
    """Two lines along it and an end that is an ellipse, never the box about it."""
    pipe = Section(height=50, width=50, wall=3, corner=25)
    body = tube_body(part(line([40], [], [], 7), pipe))
    for view in (SIDE, PLAN, PICTORIAL):
        drawn = see([body], view, dashed=False)
        outline = [one.curve for one in drawn if one.style == "visible" and one.curve.length > 800]
        assert len(outline) == 2
        one, other = (points(curve, 2) for curve in outline)
        along = (one[1] - one[0]) / np.linalg.norm(one[1] - one[0])
        apart = other[0] - one[0]
        assert abs(along[0] * apart[1] - along[1] * apart[0]) == pytest.approx(50, rel=0.006)  # chords of 32


def test_lines_on_each_other_become_one_and_hidden_ones_give_way():
    at = np.array
    over = [LinePiece(at([0.0, 0.0]), at([10.0, 0.0])), LinePiece(at([12.0, 0.0]), at([5.0, 0.0]))]
    behind = [LinePiece(at([-3.0, 1e-9]), at([20.0, 0.0]))]
    found = merged(over, [], behind)
    spans = sorted((one.style, *sorted(float(x) for x, _ in points(one.curve, 2))) for one in found)
    assert spans == [
        ("hidden", pytest.approx(-3), pytest.approx(0)), ("hidden", pytest.approx(12), pytest.approx(20)),
        ("visible", pytest.approx(0), pytest.approx(12)),
    ]  # fmt: skip


@given(st.lists(st.tuples(st.floats(0, 6), st.floats(0.05, 6)), min_size=1, max_size=6))
def test_arcs_on_one_circle_cover_once_what_they_covered(spans):
    arcs = [ArcPiece(np.array([3.0, 4.0]), 50.0, begin, begin + turn) for begin, turn in spans]
    found = [one.curve for one in merged(arcs, [], [])]
    angles = np.linspace(0, 2 * np.pi, 1999, endpoint=False)

    def covering(curves: list[ArcPiece], slack: float) -> np.ndarray:
        inside = [(angles - c.begin + slack) % (2 * np.pi) < c.end - c.begin + 2 * slack for c in curves]
        return np.sum(inside, axis=0)

    assert np.all(covering(found, 1e-4)[covering(arcs, -1e-4) > 0] > 0)
    assert np.all(covering(arcs, 1e-4)[covering(found, -1e-4) > 0] > 0)
    assert covering(found, -1e-4).max() <= 1


def test_centrelines_are_arcs_where_bends_are_seen_square_and_crosses_where_tubes_point_at_the_eye():
    frame = frame_at(HAULER)
    found = centrelines(frame.parts, SIDE)
    radii = [one.curve.radius for one in found if isinstance(one.curve, ArcPiece)]
    assert radii == pytest.approx([7 * 25.4] * 4)
    crosses = [one.curve for one in found if isinstance(one.curve, LinePiece) and one.curve.length < 100]
    assert len(crosses) >= 4


@pytest.mark.parametrize("axis", [(1, 0, 0), (0, 1, 0), (0, 0, 1)])
def test_sizes_over_all_are_those_of_the_exact_outline(axis):
    """A bend of 90 degrees seen from its side: the outermost point is the rounded corner's or the straight's face."""
    drawn = part(line([10, 10], [90], [90], 5), TUBE)

    class Only:
        parts = (drawn,)

    low, high = extent(Only, (), np.array(axis, dtype=float))
    half = {0: 0.0, 1: TUBE.width / 2, 2: TUBE.height / 2}[axis.index(1)]
    if axis == (0, 0, 1):
        assert (low, high) == pytest.approx((-half, half))
    elif axis == (1, 0, 0):
        assert (low, high) == pytest.approx((0, 15 * 25.4 + TUBE.width / 2))
    else:
        assert (low, high) == pytest.approx((-15 * 25.4, half))


def test_a_rolled_tube_reaches_only_as_far_as_its_rounded_corners(tmp_path: Path):
    rolled = "[{name: rail, tube: box, start: {at: [0, 0, 0], top: [0, 1, 1]}, path: [{straight: 500}]}]"
    frame = build_frame(read_job(job_file(tmp_path, f"{HEAD}parts: {rolled}\n")))
    low, high = extent(frame, (), np.array([0.0, 0.0, 1.0]))
    corner = 6.0  # 2 x wall
    assert high == pytest.approx((25 - corner) * np.sqrt(2) + corner)
    assert low == pytest.approx(-high)
