"""Points as customers give them: what is wrong with them, and the centreline of points measured to a face."""

from math import degrees, pi, radians

import numpy as np
import pytest
from drawn import numbers, poses
from hypothesis import given
from hypothesis import strategies as st

from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.points import PointsAt, point_faults, points_on_centreline
from railmodel.geometry.rows import BendRows, rows_from_points, wrap
from railmodel.geometry.section import Section

SECTION = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
CLOSE = 1e-9  # mm


def mm(length: float) -> str:
    return f"{length:.1f} mm"


def faults(points: list[list[float]]) -> list[tuple[str, int | None]]:
    return [(rule, bend) for rule, _, _, bend in point_faults(np.array(points, dtype=float), mm)]


def sentences(points: list[list[float]]) -> list[str]:
    return [says for _, says, _, _ in point_faults(np.array(points, dtype=float), mm)]


def test_points_of_a_plain_rail_have_no_fault() -> None:
    assert faults([[0, 0, 0], [900, 0, 0], [1200, 0, 200], [2000, 0, 200]]) == []
    assert faults([[0, 0, 0], [900, 0, 0]]) == []


def test_a_doubled_point_is_named_with_its_bend_and_its_remedy() -> None:
    points: list[list[float]] = [[0, 0, 0], [900, 0, 0], [900, 0, 0], [2000, 0, 200]]
    assert faults(points) == [("doubled point", 1)]
    assert sentences(points) == ["points 2 and 3 lie on one spot (0.0 mm apart); take one out or move it"]


def test_a_doubled_end_belongs_to_no_bend() -> None:
    assert faults([[0, 0, 0], [0, 0, 0], [900, 0, 0], [2000, 0, 200]]) == [("doubled point", None)]


@pytest.mark.parametrize("off", [0.0, 1e-8])
def test_a_point_in_line_with_its_neighbours_is_a_bend_of_nought(off: float) -> None:
    points: list[list[float]] = [[0, 0, 0], [900, 0, off], [2000, 0, 0]]
    assert faults(points) == [("no bend", 1)]
    assert "point 2 lies on the line between its neighbours" in sentences(points)[0]


@pytest.mark.parametrize("off", [0.0, 1e-8, 1e-6, 1e-5, 1e-4])
def test_a_rail_that_doubles_back_has_no_corner_point(off: float) -> None:
    points: list[list[float]] = [[0, 0, 0], [900, 0, 0], [100, 0, off]]
    assert faults(points) == [("doubles back", 1)]
    assert "write the part as a path" in sentences(points)[0]


@given(st.lists(st.tuples(*[numbers(-3000.0, 3000.0)] * 3), min_size=2, max_size=8), numbers(-1.0, 1.0))
def test_points_without_a_fault_make_finite_rows(places: list[tuple[float, ...]], tiny: float) -> None:
    points = [list(place) for place in places]
    points.append([points[-2][0], points[-2][1], points[-2][2] + tiny * 1e-4])  # nearly there and back
    if faults(points):
        return
    rows = rows_from_points(points, np.full(len(points) - 2, 100.0), [0.3, 0.4, 0.5])
    columns = (rows.distance, rows.rotation, rows.angle, rows.radius, rows.tail)
    assert all(np.isfinite(column).all() for column in columns)
    assert (rows.angle > 0).all()
    assert (rows.angle < pi).all()


@given(st.lists(st.sampled_from([[0, 0, 0], [500, 0, 0], [0, 0, 400], [1000, 0, 0]]), min_size=2, max_size=7))
def test_every_fault_says_where_and_what_to_do(points: list[list[float]]) -> None:
    for rule, says, where, bend in point_faults(np.array(points, dtype=float), mm):
        assert rule in {"doubled point", "no bend", "doubles back"}
        assert where.tolist() in points
        assert bend is None or 1 <= bend <= len(points) - 2
        assert "; " in says


@st.composite
def legal_lines(draw: st.DrawFn) -> Centreline:
    """A rail that flat-sided dies can bend, up to six bends, starting anywhere."""
    count = draw(st.integers(0, 6))

    def column(low: float, high: float, size: int = count) -> list[float]:
        return draw(st.lists(numbers(low, high), min_size=size, max_size=size))

    quarters = draw(st.lists(st.integers(-1, 2), min_size=count, max_size=count))
    straights = column(80.0, 900.0, count + 1)
    angles = column(radians(2), radians(120))
    radii = column(60.0, 300.0)
    rows = BendRows.of(straights[:-1], np.array(quarters) * pi / 2, angles, radii, straights[-1])
    return Centreline(rows, draw(poses()))


def face_points(line: Centreline, s: float, u: float) -> np.ndarray:
    """Corner points of the line that lies (s, u) off the centreline, by intersecting its straights' own lines."""
    starts = np.array([straight.start.at + s * straight.start.s + u * straight.start.u for straight in line.straights])
    ways = np.array([straight.start.t for straight in line.straights])
    corners = []
    for a, da, b, db in zip(starts, ways, starts[1:], ways[1:], strict=False):
        along, _, rank, _ = np.linalg.lstsq(np.stack([da, -db], axis=1), b - a, rcond=None)
        assert rank == 2
        assert np.linalg.norm(a + along[0] * da - b - along[1] * db) < 1e-7  # the two lines do meet
        corners.append(a + along[0] * da)
    return np.array([starts[0], *corners, line.end.at + s * line.end.s + u * line.end.u])


HALF_UP, HALF_SIDE = SECTION.height / 2, SECTION.width / 2


@pytest.mark.parametrize(
    ("at", "sides", "s", "u"),
    [
        ("top", ("right", "left"), 0.0, HALF_UP),
        ("bottom", ("outboard", "inboard"), 0.0, -HALF_UP),
        ("inside", ("outboard", "inboard"), -HALF_SIDE, 0.0),
        ("inside", ("inboard", "outboard"), HALF_SIDE, 0.0),
        ("outside", ("outboard", "inboard"), HALF_SIDE, 0.0),
        ("outside", ("inboard", "outboard"), -HALF_SIDE, 0.0),
        ("centre", ("right", "left"), 0.0, 0.0),
    ],
)
@given(line=legal_lines())
def test_points_measured_to_a_face_give_the_centreline_whose_face_passes_through_them(
    at: PointsAt, sides: tuple[str, str], s: float, u: float, line: Centreline
) -> None:
    measured = face_points(line, s, u)
    legs = np.diff(measured, axis=0)
    if (np.sum(legs * [straight.start.t for straight in line.straights], axis=1) <= 1.0).any():
        return  # on the inside of a tight corner the face's own straight is gone
    centre = points_on_centreline(measured, line.start.u, at, SECTION, sides)
    assert np.abs(centre - line.points).max() < 1e-7  # what the intersections above lose at small angles
    again = rows_from_points(centre, line.rows.radius, line.start.u)
    assert np.abs(again.angle - line.rows.angle).max(initial=0.0) < 1e-9
    assert np.abs(wrap(again.roll - line.rows.roll)).max(initial=0.0) < 1e-7


def test_the_worked_case_up_over_a_step_measured_under_the_rail() -> None:
    # common practice: points taken off the bottom of a 76.2 mm tube that rises 45 degrees
    measured = [[0.0, 0, 0], [1000, 0, 0], [1500, 0, 500], [2500, 0, 500]]
    centre = points_on_centreline(measured, [0, 0, 1], "bottom", SECTION, ("right", "left"))
    slide = 38.1 * np.tan(radians(22.5))
    expected = [[0, 0, 38.1], [1000 - slide, 0, 38.1], [1500 - slide, 0, 538.1], [2500, 0, 538.1]]
    assert np.abs(centre - expected).max() < CLOSE


def test_without_bends_the_points_just_shift() -> None:
    centre = points_on_centreline([[0, 0, 0], [0, 500, 0]], [0, 0, 1], "top", SECTION, ("right", "left"))
    assert np.abs(centre - [[0, 0, -38.1], [0, 500, -38.1]]).max() < CLOSE


def test_a_top_along_the_first_leg_is_refused() -> None:
    with pytest.raises(GeometryError, match="cannot look along the tube"):
        points_on_centreline([[0, 0, 0], [0, 0, 500]], [0, 0, 1], "top", SECTION, ("right", "left"))


@given(legal_lines())
def test_points_to_rows_to_points_to_rows(line: Centreline) -> None:
    rows = rows_from_points(line.points, line.rows.radius, line.start.u)
    start = Pose.of(line.points[0], line.start.t, line.start.u)
    again = Centreline(BendRows.of(rows.distance, rows.rotation, rows.angle, rows.radius, rows.tail), start)
    assert np.abs(again.points - line.points).max() < CLOSE
    assert np.abs(np.degrees(wrap(rows.roll - line.rows.roll))).max(initial=0.0) < degrees(1e-9)
