"""What stands on a tube: its places held against arc lengths, points and areas worked out by hand."""

from math import atan, cos, hypot, pi, sin, tan
from pathlib import Path

import numpy as np
import pytest
import shapely
from papers import HAULER, TRAILER, frame_at, job_of

from railmodel.bending.flat_station import flat_station
from railmodel.bending.plan import plan_job
from railmodel.fitting.footprints import Footprint, beside, footprints
from railmodel.frame import Frame

RAIL = """\
job: Rail with brackets
units: mm
tubes: {main: {height: 80, width: 40, wall: 3, corner: 6}}
parts:
  - name: rail
    tube: main
    HAND
    leading_end: LEAD
    points: [[0, 300, 400], {at: [600, 300, 400], radius: 200}, {at: [1200, 300, 600], radius: 200}, [1800, 300, 600]]
"""
THETA = atan(200 / 600)
TANGENT, ARC = 200 * tan(THETA / 2), 200 * THETA
LENGTH = 600 + hypot(600, 200) + 600 - 4 * TANGENT + 2 * ARC


def of(folder: Path, more: str, lead: str = "front", hand: str = "hand: pair") -> Frame:
    return frame_at(job_of(folder, RAIL.replace("LEAD", lead).replace("HAND", hand) + more))


def on(frame: Frame, label: str) -> dict[str, Footprint]:
    part = next(part for part in frame.parts if part.label == label)
    found = footprints(frame, part.read)
    assert [one.at[0] for one in found] == sorted(one.at[0] for one in found)
    return {one.name: one for one in found}


def walked(points: list[tuple[float, float]], radius: float, to: tuple[float, float]) -> float:
    """Length to the place nearest to a point, along a fine chain of short lines laid over a rail by hand."""
    chain = [np.array([points[0]], dtype=float)]
    for before, here, after in zip(points, points[1:], points[2:], strict=False):
        one, other = (np.subtract(end, here) / np.linalg.norm(np.subtract(end, here)) for end in (before, after))
        half = np.arccos(np.clip(one @ other, -1, 1)) / 2
        middle = (one + other) / np.linalg.norm(one + other)
        centre = np.array(here) + radius / np.sin(half) * middle
        begin, end = (np.array(here) + radius / np.tan(half) * leg - centre for leg in (one, other))
        turn = np.arctan2(begin[0] * end[1] - begin[1] * end[0], begin @ end)
        angles = np.linspace(0, turn, 4001)[:, None]
        chain.append(centre + np.cos(angles) * begin + np.sin(angles) * np.array([-begin[1], begin[0]]))
    chain.append(np.array([points[-1]], dtype=float))
    ends = np.concatenate(chain)
    steps = np.linalg.norm(np.diff(ends, axis=0), axis=1)
    track = shapely.LineString(ends)
    assert track.length == pytest.approx(steps.sum())
    return float(track.project(shapely.Point(to)))


def test_the_haulers_fit_points_stand_where_a_walk_along_its_corner_points_finds_them() -> None:
    corners = [(-26.0, 24.0), (12.0, 24.0), (30.0, 19.0), (72.0, 19.0), (88.0, 25.0), (132.0, 25.0)]
    written = {
        "front spring hanger": (-18, 20.5), "front shackle": (6, 20.5), "cab mount": (40, 21.5),
        "rear axle centre": (110, 14), "bed mount": (124, 27), "front crossmember": (-14, 24),
        "middle crossmember": (52, 19.5),
    }  # fmt: skip
    for label in ("side rail right", "side rail left"):
        found = on(frame_at(HAULER), label)
        assert set(found) == set(written)
        for name, to in written.items():
            assert found[name].at[0] / 25.4 == pytest.approx(walked(corners, 7.0, to), abs=2e-6), name
            assert found[name].face == {"front s": "bottom", "front c": "inboard", "middle ": "inboard"}.get(
                name[:7], "bottom" if "axle" in name else "top"
            )


def test_before_bending_they_lie_where_the_marks_of_the_next_bend_say() -> None:
    """The other way round: on the stock, back from the start of bend 3, whose mark holds all tube use before it."""
    marks = next(plan.marks for plan in plan_job(frame_at(HAULER)).parts if plan.marks.reading.part.hand == "right")
    found = on(frame_at(HAULER), "side rail right")
    setback = 7 * tan(atan(6 / 16) / 2)
    for name, x in (("cab mount", 40), ("middle crossmember", 52)):
        by_hand = marks.bends[2].mark / 25.4 - (72 - setback - x)
        assert flat_station(marks, found[name].at[0]) / 25.4 == pytest.approx(by_hand)
        assert by_hand < found[name].at[0] / 25.4 - 0.02  # the stretch of two bends: 1 % of 3.8 in
    tail = marks.cut_length / 25.4 - (132 - 124)
    assert flat_station(marks, found["bed mount"].at[0]) / 25.4 == pytest.approx(tail)


def test_brackets_with_a_width_cover_it_along_the_tube_over_the_flat_of_the_face() -> None:
    hanger = on(frame_at(HAULER), "side rail right")["front spring hanger"]
    (loop,) = hanger.loops
    assert np.ptp(loop, axis=0) / 25.4 == pytest.approx([3, 2 - 2 * 0.375])
    assert hanger.span == pytest.approx((6.5 * 25.4, 9.5 * 25.4))


@pytest.mark.parametrize("lead", ["front", "rear"])
@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_bracket_flat_on_a_side_has_its_outline_and_holes_there(tmp_path: Path, lead: str, hand: str) -> None:
    plate = """
plates:
  - name: bracket
    thickness: 5
    size: [120, 50]
    holes: [{at: [20, 15], diameter: 11}, {at: [100, 15], diameter: 9}]
    place: {at: [330, 320, 370], normal: [0, 1, 0]}
    mirror: true
"""  # looking at +Y with Z up, its x goes forward: up x normal = Z x Y = -X
    found = on(of(tmp_path, plate, lead), f"rail {hand}")
    bracket = found["bracket"]
    assert bracket.face == "outboard"
    stations = {"front": lambda x: x, "rear": lambda x: LENGTH - x}[lead]
    # from the plate's corner at X 330, Z 370, forward and up; the rail's centreline is at Z 400
    wanted = sorted([(stations(310), 15, 11), (stations(230), 15, 9)])
    part = next(part for part in of(tmp_path, plate, lead).parts if part.hand == hand)
    up = 1 if beside(part.read, "outboard")[1] == "top" else -1
    holes = sorted((along, 30 + up * across, diameter) for along, across, diameter in bracket.holes)
    assert np.array(holes) == pytest.approx(np.array(wanted))
    (loop,) = bracket.loops
    assert shapely.Polygon(loop).area == pytest.approx(120 * 50)
    assert bracket.span == pytest.approx(sorted((stations(330), stations(210))))
    assert 30 + up * bracket.at[1] == pytest.approx(25)


def test_a_plate_over_a_bend_of_its_own_plane_follows_the_arc(tmp_path: Path) -> None:
    """The bend's centre lies 200 over the rail at X 600 - T; the hole stands on the arc, 10 nearer to the centre."""
    half = THETA / 2
    x, z = 600 - TANGENT + 190 * sin(half), 600 - 190 * cos(half)
    plate = f"""
plates:
  - name: doubler
    thickness: 4
    size: [500, 300]
    holes: [{{at: [{800 - x}, {z - 300}], diameter: 10}}]
    place: {{at: [800, 320, 300], normal: [0, 1, 0]}}
"""
    doubler = on(of(tmp_path, plate), "rail right")["doubler"]
    ((along, across, _),) = doubler.holes
    assert along == pytest.approx(600 - TANGENT + ARC / 2)
    assert abs(across) == pytest.approx(10)
    assert len(doubler.loops) == 3  # before, on and after the bend
    shapes = [shapely.Polygon(loop) for loop in doubler.loops]
    assert all(one.intersection(other).area < 1e-6 for one in shapes for other in shapes if one is not other)
    begin, end = doubler.span
    assert begin == pytest.approx(300)
    corner = 40 / tan(pi / 2 - THETA)  # the upper edge of the rail leaves the plate's side at X 800 first
    past = (800 - 600) / cos(THETA) + corner
    assert end == pytest.approx(600 - 2 * TANGENT + ARC + past, abs=0.05)


def test_gussets_stand_on_both_tubes_as_far_from_the_corner_as_they_are_clipped() -> None:
    """The tail tube's front face is at X 4160 and the rail ends at 4200: legs 150, clip 15, 6 thick."""
    for hand in ("right", "left"):
        frame = frame_at(TRAILER)
        part = next(part for part in frame.parts if part.label == f"drawbar rail {hand}")
        theta = atan(500 / 1080)
        length = 500 + hypot(1080, 500) + 2500 - 4 * 160 * tan(theta / 2) + 2 * 160 * theta
        assert part.line.length == pytest.approx(length)
        gusset = on(frame, part.label)["tail gusset"]
        assert gusset.face == "inboard"
        assert gusset.span == pytest.approx((length - 190, length - 55))
        assert shapely.Polygon(gusset.loops[0]).area == pytest.approx(135 * 6)
    tail = footprints(frame, next(part for part in frame.parts if part.name == "tail tube").read)
    assert [one.span for one in tail] == [pytest.approx((15, 150)), pytest.approx((930, 1065))]
    assert {one.face for one in tail} == {"right"}  # it runs from left to right, so its right looks forward


@pytest.mark.parametrize("ends", ["coped", "mitred", "square"])
def test_a_crossmember_covers_its_section_stretched_by_the_angle_it_comes_in_at(tmp_path: Path, ends: str) -> None:
    """A tube cut by a plane at an angle off square shows its section over the cosine of that angle."""
    more = f"""
crossmembers:
  - {{name: slanting, tube: cross, between: [rail], points: [[1500, -280, 600], [1300, 280, 600]], ends: {ends}}}
"""
    text = RAIL.replace("tubes: {main", "tubes: {cross: {height: 50, width: 30, wall: 3, corner: 5}, main")
    frame = frame_at(job_of(tmp_path, text.replace("LEAD", "front").replace("HAND", "hand: pair") + more))
    slant = cos(atan(200 / 560))
    for label, x in (("rail right", 1300), ("rail left", 1500)):
        found = on(frame, label)["slanting"]
        assert found.face == "inboard"
        start = 1200 + TANGENT
        assert found.at[0] == pytest.approx(LENGTH - 600 + TANGENT + x - start)
        assert found.at[1] == pytest.approx(0, abs=1e-6)
        area = (50 * 30 - (4 - pi) * 25) / slant
        assert shapely.Polygon(found.loops[0]).area == pytest.approx(area, rel=2e-3)  # corners in six steps
        assert np.ptp(found.loops[0], axis=0) == pytest.approx([30 / slant, 50])


def test_what_does_not_touch_is_no_footprint(tmp_path: Path) -> None:
    plates = """
plates:
  - {name: away, thickness: 5, size: [50, 50], place: {at: [200, 322, 370], normal: [0, 1, 0]}}
  - {name: turned, thickness: 5, size: [50, 50], place: {at: [200, 320, 370], normal: [0.1, 1, 0]}}
  - {name: beside, thickness: 5, size: [50, 50], place: {at: [200, 320, 441], normal: [0, 1, 0]}}
  - {name: inside out, thickness: 5, size: [50, 50], place: {at: [200, 320, 370], normal: [0, -1, 0]}}
  - {name: only cut, thickness: 5, size: [50, 50]}
"""
    assert on(of(tmp_path, plates), "rail right") == {}


def test_a_quarter_turned_plate_stands_on_edge(tmp_path: Path) -> None:
    """A tab upright on the top face, 6 thick, 80 long: its lower edge is what touches."""
    tab = """
plates:
  - {name: tab, thickness: 6, size: [80, 60], place: {at: [150, 303, 440], normal: [0, -1, 0]}}
"""  # Z x -Y = X: its x goes rearward
    found = on(of(tmp_path, tab, hand="hand: single"), "rail")["tab"]
    assert found.face == "top"
    assert found.span == pytest.approx((150, 230))
    assert shapely.Polygon(found.loops[0]).area == pytest.approx(480)
    assert found.at[1] == pytest.approx(0)
