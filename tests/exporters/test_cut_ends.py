"""Mitred and coped ends: exact solids that touch their rails, STEP without splines, flat layouts of the same cut."""

import re
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from math import asin, atan2, cos, hypot, pi, sqrt
from pathlib import Path

import cadquery
import ezdxf
import numpy as np
import pytest
from jobfiles import job_file
from scipy.integrate import quad
from scipy.spatial import cKDTree

from exporters.flat_layout import write_flat_layout
from exporters.solids import check_solid, solid
from exporters.step import write_part
from railmodel.errors import GeometryError
from railmodel.frame import Frame, build_frame
from railmodel.geometry.section import Section
from railmodel.job.reader import read_job
from railmodel.part import RailPart

HEAD = """\
job: Test frame
units: mm
tubes:
  main: {height: 80, width: 40, wall: 3, corner: 6}
  cross: {height: 60, width: 50, wall: 3, corner: 8}
  sharp: {height: 40, width: 30, wall: 3, corner: 0}
  thin round: {diameter: 42.4, wall: 2.6}
  beam: {diameter: 88.9, wall: 4}
parts:
"""
PARALLEL = "- {name: rail, tube: main, hand: pair, points: [[0, 400, 500], [2000, 400, 500]]}\n"
NARROWING = "- {name: rail, tube: main, hand: pair, points: [[0, 500, 500], [2000, 300, 500]]}\n"
SWEPT = (
    "- {name: rail, tube: main, hand: pair, points: [[0, 400, 500], {at: [1000, 400, 500], radius: 300}, "
    "[1800, 900, 500]]}\n"
)
HOLLOW = (
    "- {name: rail, tube: main, hand: pair, points: [[0, 900, 500], {at: [800, 400, 500], radius: 300}, "
    "[1800, 400, 500]]}\n- {name: far, tube: main, points: [[0, 1600, 500], [2000, 1600, 500]]}\n"
)
ROUND = "- {name: rail, tube: beam, hand: pair, points: [[0, 400, 500], [2000, 400, 500]]}\n"


def job_of(folder: Path, rails: str, wanted: str, tube: str = "cross") -> Frame:
    text = f"{HEAD}{rails}crossmembers:\n- {{name: member, tube: {tube}, {wanted}}}\n"
    found = build_frame(read_job(job_file(folder, text)))
    assert found.faults == ()
    return found


def mid_bend(folder: Path, rails: str) -> float:
    """The station in the middle of the right rail's bend."""
    part = build_frame(read_job(job_file(folder, f"{HEAD}{rails}"))).parts[0]
    bend = part.line.bends[0]
    return float(part.line.pose_at(bend.station + bend.length / 2).at[0, 0])


CASES: dict[str, tuple[str, str, str]] = {
    # rails, what is wanted (M is the middle of the bend), tube
    "parallel": (PARALLEL, "between: [rail], x: 700, ends: mitred", "cross"),
    "parallel, coped": (PARALLEL, "between: [rail], x: 700", "cross"),
    "narrowing": (NARROWING, "between: [rail], x: 1000, ends: mitred", "cross"),
    "narrowing, sharp": (NARROWING, "between: [rail], x: 1000", "sharp"),
    "leaning": (PARALLEL, "between: [rail], points: [[700, -400, 480], [900, 400, 520]], ends: mitred", "cross"),
    "round, leaning": (PARALLEL, "between: [rail], points: [[700, -400, 480], [900, 400, 520]]", "thin round"),
    "bulging": (SWEPT, "between: [rail], x: M", "cross"),
    "bulging, sharp": (SWEPT, "between: [rail], x: M", "sharp"),
    "bulging, round": (SWEPT, "between: [rail], x: M", "thin round"),
    "bulging, leaning": (SWEPT, "between: [rail], points: [[M, -500, 490], [M + 20, 500, 510]]", "cross"),
    "bulging, mitred": (SWEPT, "between: [rail], x: M, ends: mitred", "cross"),
    "hollow": (HOLLOW, "between: [rail right, far], x: M", "cross"),
    "hollow, round": (HOLLOW, "between: [rail right, far], x: M", "thin round"),
    "hollow, mitred": (HOLLOW, "between: [rail right, far], x: M, ends: mitred", "cross"),
    "round rails": (ROUND, "between: [rail], x: 900", "thin round"),
    "round rails, sharp": (ROUND, "between: [rail], x: 900", "sharp"),
    "round rails, off the middle": (ROUND, "between: [rail], x: 900, height: 510", "thin round"),
}


@pytest.fixture(params=CASES, ids=lambda name: name.replace(", ", "-").replace(" ", "_"))
def case(request: pytest.FixtureRequest, tmp_path: Path) -> Frame:
    rails, wanted, tube = CASES[request.param]
    if "M" in wanted:
        middle = mid_bend(tmp_path, rails)
        wanted = wanted.replace("M + 20", str(middle + 20)).replace("M", str(middle))
    return job_of(tmp_path, rails, wanted, tube)


def spots_of(section: Section, wall: float = 0.0) -> np.ndarray:
    """Corner tangent points of an outline (8, 2), by hand."""
    corner = max(section.corner - wall, 0)
    s, u = section.width / 2 - wall, section.height / 2 - wall
    one = [(s, u - corner), (s - corner, u)]
    return np.array([(a * x, b * y) for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1)) for x, y in one])


def test_solids_are_exact_touch_their_rails_and_go_out_and_come_back(case: Frame, tmp_path: Path) -> None:
    """Closed and valid, planes and cylinders; no gap and no overlap by the kernel's own distance and boolean."""
    part = case.parts[-1]
    shape = solid(part)
    assert shape.isValid()
    assert {face.geomType() for face in shape.Faces()} <= {"PLANE", "CYLINDER"}
    assert {edge.geomType() for edge in shape.Edges()} <= {"LINE", "CIRCLE", "ELLIPSE"}
    assert part.cuts is not None
    rails = {rail.label: rail for rail in case.parts}
    for cut in part.cuts:
        rail = solid(rails[cut.rail])
        assert rail.distance(shape) < 1e-6
        assert rail.intersect(shape).Volume() < 1e-3  # mm^3; 0.02 would be an overlap of 3e-5 mm over the ring

    path = tmp_path / "member.step"
    write_part(part, path)
    kinds = Counter(re.findall(r"= *\(? *([A-Z_0-9]+) *\(", path.read_text(encoding="ascii")))
    assert not [kind for kind in kinds if "SPLINE" in kind or kind in {"POLYLINE", "PCURVE", "BEZIER_CURVE"}]
    assert kinds["ADVANCED_FACE"] == len(shape.Faces())
    again = cadquery.importers.importStep(str(path)).val()
    assert again.isValid()
    assert again.Volume() == pytest.approx(shape.Volume(), rel=1e-7)


def test_every_rim_lies_on_its_cut(case: Frame) -> None:
    """Points along the end edges of the solid, by the kernel, against the rail's face by hand."""
    part = case.parts[-1]
    assert part.cuts is not None
    start = part.line.start
    rims: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    for edge in solid(part).Edges():
        points = np.array([edge.positionAt(f).toTuple() for f in (0.0, 0.3, 0.5, 0.8, 1.0)])
        along = (points - start.at) @ start.t
        if np.ptp(along) > part.line.length / 2:
            continue  # a line from end to end
        rims[int(along.mean() > part.line.length / 2)].append(points)
    for cut, edges in zip(part.cuts, rims, strict=True):
        points = np.concatenate(edges)
        off = np.abs((points - cut.at) @ cut.normal)
        if cut.kind == "coped" and cut.axis is not None:
            assert cut.direction is not None
            arm = points - cut.axis
            off = np.abs(np.linalg.norm(arm - np.outer(arm @ cut.direction, cut.direction), axis=1) - cut.radius)
        assert off.max() < 1.1e-5
        assert len(edges) >= 8 if part.section.corner else 4


@pytest.mark.parametrize("name", ["parallel", "narrowing", "narrowing, sharp", "leaning", "round, leaning"])
def test_between_two_planes_the_volume_is_area_times_the_axis(name: str, tmp_path: Path) -> None:
    """The ring's centroid lies on the axis, so slanted ends take off as much on one side as they add on the other."""
    rails, wanted, tube = CASES[name]
    part = job_of(tmp_path, rails, wanted, tube).parts[-1]
    assert part.cuts is not None
    axis = float(np.linalg.norm(part.cuts[1].at - part.cuts[0].at))
    assert solid(part).Volume() == pytest.approx(part.section.area * axis, rel=1e-9)


def breadth(section: Section, s: float, wall: float = 0.0) -> float:
    """Height of a rounded rectangle at a distance s from its middle."""
    half, tall, corner = section.width / 2 - wall, section.height - 2 * wall, max(section.corner - wall, 0)
    into = abs(s) - (half - corner)
    if abs(s) >= half:
        return 0.0
    return tall - 2 * corner + 2 * sqrt(corner**2 - max(into, 0) ** 2) if corner else tall


@pytest.mark.parametrize("name", ["bulging", "bulging, sharp", "bulging, round", "hollow", "hollow, round"])
def test_the_volume_between_copes_by_quadrature(name: str, tmp_path: Path) -> None:
    """Square across the vehicle the fibre at station x ends at the circle about the bend's centre: y is a root of s."""
    rails, wanted, tube = CASES[name]
    middle = mid_bend(tmp_path, rails)
    frame = job_of(tmp_path, rails, wanted.replace("M", str(middle)), tube)
    part, rail = frame.parts[-1], frame.parts[0]
    centre, radius = rail.line.bends[0].centre, rail.line.bends[0].radius
    half = rail.section.width / 2

    def fibre(s: float) -> float:
        x = middle - s  # the member's s axis runs forward: it is level and its tube runs to the right
        if name.startswith("hollow"):
            return 1600 - half - (centre[1] - sqrt((radius - half) ** 2 - (x - centre[0]) ** 2))
        return 2 * (centre[1] - sqrt((radius + half) ** 2 - (x - centre[0]) ** 2))

    size = part.section
    wanted_volume = 0.0
    for wall, sign in ((0.0, 1), (size.wall, -1)):
        edges = sorted({0.0, *(way * (size.width / 2 - x) for way in (-1, 1) for x in (wall, max(size.corner, wall)))})
        for low, high in pairwise(edges):
            wanted_volume += sign * quad(lambda s, wall=wall: breadth(size, s, wall) * fibre(s), low, high)[0]
    assert part.line.start.s == pytest.approx([-1, 0, 0], abs=1e-12)
    assert solid(part).Volume() == pytest.approx(wanted_volume, rel=1e-7)


def test_saddles_between_round_rails_have_the_radius_of_the_rails(tmp_path: Path) -> None:
    """Two pipes at right angles: the long point lies at asin(r / R) round the rail; R = 44.45, r = 21.2."""
    frame = job_of(tmp_path, *CASES["round rails"])
    part = frame.parts[-1]
    short = 2 * (400 - 44.45)
    long = 2 * (400 - 44.45 * cos(asin(21.2 / 44.45)))
    assert part.line.length == pytest.approx(long, abs=1e-9)
    assert part.cuts is not None
    assert float(np.linalg.norm(part.cuts[1].at - part.cuts[0].at)) == pytest.approx(short, abs=1e-9)
    assert [cut.radius for cut in part.cuts] == [44.45, 44.45]


def test_square_ends_are_the_plain_tube(tmp_path: Path) -> None:
    part = job_of(tmp_path, NARROWING, "between: [rail], x: 1000, ends: square").parts[-1]
    plain = solid(replace(part, cuts=None))
    assert solid(part).Volume() == pytest.approx(plain.Volume(), rel=1e-12)
    assert Counter(face.geomType() for face in solid(part).Faces()) == Counter(f.geomType() for f in plain.Faces())


def test_cuts_that_meet_within_the_tube_make_no_solid(tmp_path: Path) -> None:
    part = job_of(tmp_path, PARALLEL, "between: [rail], x: 700, ends: mitred").parts[-1]
    assert part.cuts is not None
    steep = [
        replace(cut, normal=np.array([way * 0.999, cut.normal[1] * 0.04, 0.0]))
        for cut, way in zip(part.cuts, (1, 1), strict=True)
    ]
    with pytest.raises(GeometryError, match="member: its two end cuts meet within the tube"):
        check_solid(replace(part, cuts=(steep[0], steep[1])))


def test_a_cope_that_passes_part_of_the_tube_by_makes_no_solid(tmp_path: Path) -> None:
    part = job_of(tmp_path, *CASES["round rails"]).parts[-1]
    assert part.cuts is not None
    first, second = part.cuts
    with pytest.raises(GeometryError, match="too wide for the curve of rail left cannot be coped"):
        check_solid(replace(part, cuts=(replace(first, radius=20.0), second)))


def unrolled(section: Section, s: float, u: float) -> float:
    """Girth from the middle of the corner between bottom and -s, up the -s face and over the top, by cases."""
    corner, half_w, half_h = section.corner, section.width / 2, section.height / 2
    tall, wide, arc = section.height - 2 * corner, section.width - 2 * corner, corner * pi / 2
    if abs(s) > half_w - corner and abs(u) > half_h - corner and corner:  # in a corner
        x, y = abs(s) - (half_w - corner), abs(u) - (half_h - corner)
        turn = atan2(y, x) * corner  # from the side face toward top or bottom
        if s < 0:
            return arc / 2 + tall + turn if u > 0 else (arc / 2 - turn) % section.girth
        return 1.5 * arc + tall + wide + (arc - turn) if u > 0 else 2.5 * arc + 2 * tall + wide + turn
    if abs(abs(s) - half_w) < 1e-4 and abs(u) <= tall / 2 + 1e-6:
        return arc / 2 + tall / 2 + u if s < 0 else 2.5 * arc + tall + wide + (tall / 2 - u)
    return 1.5 * arc + tall + wide / 2 + s if u > 0 else 3.5 * arc + 2 * tall + wide + (wide / 2 - s)


def drawn_cut(path: Path) -> np.ndarray:
    """The CUT outline as many points along its straight pieces, (m, 2)."""
    (line,) = ezdxf.readfile(path).modelspace().query("LWPOLYLINE[layer=='CUT']")
    corners = np.array([point[:2] for point in line.get_points()])  # type: ignore[attr-defined]
    corners = np.concatenate([corners, corners[:1]])
    steps = [max(2, int(np.linalg.norm(b - a) / 0.02)) for a, b in pairwise(corners)]
    return np.concatenate(
        [a + np.linspace(0, 1, n)[:, None] * (b - a) for a, b, n in zip(corners[:-1], corners[1:], steps, strict=True)]
    )


def test_the_flat_layout_cuts_where_the_solid_ends(case: Frame, tmp_path: Path) -> None:
    """Every outside end edge of the solid, unrolled by hand, lies within 0.05 mm of the drawn outline."""
    part = case.parts[-1]
    path = tmp_path / "flat.dxf"
    write_flat_layout(part, path, unit="mm", job="Test", revision=None)
    drawn = cKDTree(drawn_cut(path))
    start, size = part.line.start, part.section
    found = []
    for edge in solid(part).Edges():
        points = np.array([edge.positionAt(f).toTuple() for f in np.linspace(0, 1, 9)]) - start.at
        x, s, u = points @ start.t, points @ start.s, points @ start.u
        across = hypot(
            max(abs(s[4]) - size.width / 2 + size.corner, 0), max(abs(u[4]) - size.height / 2 + size.corner, 0)
        )
        flat = max(abs(s[4]) - size.width / 2, abs(u[4]) - size.height / 2)
        outside = abs(across - size.corner) < 1e-3 if size.corner else abs(flat) < 1e-3
        if outside and np.ptp(x) < part.line.length / 2:
            found += [(x_, unrolled(size, s_, u_)) for x_, s_, u_ in zip(x, s, u, strict=True)]
    off, _ = drawn.query(np.array(found))
    assert len(found) > 60
    assert off.max() < 0.05


def test_lines_along_the_tube_end_on_the_cut(tmp_path: Path) -> None:
    """Narrowing rails: at the left end the front side is the short one, by half the width times the slope."""
    part = job_of(tmp_path, NARROWING, "between: [rail], x: 1000, ends: mitred").parts[-1]
    path = tmp_path / "flat.dxf"
    write_flat_layout(replace(part, seam="top"), path, unit="mm", job="Test", revision=None)
    space = ezdxf.readfile(path).modelspace()
    slope = 0.1
    for layer, count in (("FACE_EDGE", 3), ("CORNER", 8)):
        lines = list(space.query(f"LINE[layer=='{layer}']"))
        assert len(lines) == count
        for line in lines:
            assert line.dxf.start.x == pytest.approx(part.line.length - line.dxf.end.x, abs=1e-6)
            assert -1e-9 < line.dxf.start.x < 50 * slope + 1e-9
        assert min(line.dxf.start.x for line in lines) < 0.1 * slope * 50
        assert max(line.dxf.start.x for line in lines) > 0.9 * slope * 50
    seam = [(line.dxf.start.x, line.dxf.end.x) for line in space.query("LINE[layer=='SEAM']")]
    assert min(min(pair) for pair in seam) == pytest.approx(25 * slope, abs=1e-6)
    texts = [text.dxf.text for text in space.query("TEXT")]
    assert "The front end is cut mitred, 5.71 deg off square, against rail left." in texts
    assert "The length over all is from long corner to long corner." in texts


def test_a_round_tube_is_drawn_without_lines_where_corners_would_begin(tmp_path: Path) -> None:
    part = job_of(
        tmp_path, *CASES["bulging, round"][:1], f"between: [rail], x: {mid_bend(tmp_path, SWEPT)}", "thin round"
    )
    path = tmp_path / "flat.dxf"
    write_flat_layout(part.parts[-1], path, unit="mm", job="Test", revision=None)
    space = ezdxf.readfile(path).modelspace()
    assert len(space.query("LINE[layer=='CORNER']")) == 0
    assert len(space.query("LINE[layer=='FACE_EDGE']")) == 3
    (cut,) = space.query("LWPOLYLINE[layer=='CUT']")
    assert max(point[1] for point in cut.get_points()) == pytest.approx(pi * 42.4)
    assert any("round, 42.4 diameter x 2.6 wall" in text.dxf.text for text in space.query("TEXT"))


def test_other_parts_have_square_ends_as_before(tmp_path: Path) -> None:
    part: RailPart = build_frame(read_job(job_file(tmp_path, f"{HEAD}{SWEPT}"))).parts[0]
    path = tmp_path / "flat.dxf"
    write_flat_layout(part, path, unit="mm", job="Test", revision=None)
    (cut,) = ezdxf.readfile(path).modelspace().query("LWPOLYLINE[layer=='CUT']")
    assert len(cut.get_points()) == 4
