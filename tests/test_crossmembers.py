"""Crossmembers: how long they are cut and how their ends lie on the rails, by closed forms and on the rails' faces."""

from math import acos, atan2, cos, degrees, hypot, radians, sin, sqrt, tan
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jobfiles import job_file

from railmodel.checks import all_checks
from railmodel.crossmember_checks import crossmember_ends
from railmodel.end_cuts import to_cut
from railmodel.frame import Frame, build_frame
from railmodel.geometry.outline import around
from railmodel.job.reader import read_job
from railmodel.part import RailPart

HEAD = """\
job: Test frame
units: mm
tubes:
  main: {height: 80, width: 40, wall: 3, corner: 6}
  cross: {height: 60, width: 50, wall: 3, corner: 8}
parts:
"""


def job_of(folder: Path, rails: str, member: str, *, sizes: str = "") -> Frame:
    head = HEAD if not sizes else HEAD.replace("cross: {height: 60, width: 50, wall: 3, corner: 8}", sizes)
    return build_frame(
        read_job(job_file(folder, f"{head}{rails}crossmembers:\n- {{name: cross, tube: cross, {member}}}\n"))
    )


def member(folder: Path, rails: str, wanted: str) -> RailPart:
    found = job_of(folder, rails, wanted)
    assert found.faults == ()
    return found.parts[-1]


def refusal(folder: Path, rails: str, wanted: str) -> str:
    (fault,) = job_of(folder, rails, wanted).faults
    assert (fault.rule, fault.level, fault.part) == ("crossmember", "stop", "cross")
    return fault.says


def pair(*points: str) -> str:
    return f"- {{name: rail, tube: main, hand: pair, points: [{', '.join(points)}]}}\n"


PARALLEL = pair("[0, 400, 500]", "[2000, 400, 500]")
NARROWING = pair("[0, 500, 500]", "[2000, 300, 500]")
NARROW = atan2(200, 2000)
SWEPT = pair("[0, 400, 500]", "{at: [1000, 400, 500], radius: 300}", "[1800, 900, 500]")
"""A pair that spreads by a bend toward outboard."""
SPLAY = atan2(500, 800)


def off_faces(folder: Path, cross: RailPart, rails: str) -> np.ndarray:
    """How far the rim of each cut end lies off the rails' side faces, mm (2, m), by the rails' own centrelines."""
    by_label = {part.label: part for part in job_of(folder, rails, "between: [rail], x: 1").parts}
    spots = around(cross.section, np.linspace(0, cross.section.girth, 997))
    start = cross.line.start
    base = start.at + spots @ np.array([start.s, start.u])
    assert cross.cuts is not None
    found = []
    for cut in cross.cuts:
        rim = base + to_cut(cut, base, start.t)[:, None] * start.t
        rail = by_label[cut.rail]
        station, _ = rail.line.closest(rim)
        frame = rail.line.pose_at(station)
        found.append(np.abs(np.sum((rim - frame.at) * frame.s, axis=1)) - rail.section.width / 2)
    return np.array(found)


@pytest.mark.parametrize("ends", ["square", "mitred", "coped"])
def test_between_parallel_rails_it_is_as_long_as_the_gap(tmp_path: Path, ends: str) -> None:
    """800 between the centrelines less half a rail of 40 at each end."""
    cross = member(tmp_path, PARALLEL, f"between: [rail], x: 700, ends: {ends}")
    assert cross.line.length == pytest.approx(760, abs=1e-9)
    assert cross.line.start.at == pytest.approx([700, -380, 500], abs=1e-9)
    assert cross.line.end.at == pytest.approx([700, 380, 500], abs=1e-9)
    assert cross.cuts is not None
    for cut, label, normal in zip(cross.cuts, ("rail left", "rail right"), (1, -1), strict=True):
        assert (cut.kind, cut.rail, cut.axis, cut.gap) == (ends, label, None, pytest.approx(0, abs=1e-9))
        assert cut.angle == pytest.approx(0, abs=1e-7)
        assert cut.normal == pytest.approx([0, normal, 0], abs=1e-12)


@given(st.floats(0.5, 80))
def test_any_corner_radius_reaches_the_long_corner(tmp_path_factory: pytest.TempPathFactory, narrowing: float) -> None:
    """Narrowing rails: the long side is longer by the support of the rounded outline times the slope."""
    rails = pair("[0, 800, 500]", f"[2000, {800 - narrowing}, 500]")
    cross = member(tmp_path_factory.mktemp("job"), rails, "between: [rail], x: 1000, ends: mitred")
    slope = narrowing / 2000
    at_axis = 2 * (800 - narrowing / 2 - 20 / cos(atan2(narrowing, 2000)))
    assert cross.line.length == pytest.approx(at_axis + 2 * 25 * slope, abs=1e-9)  # flat sides: the flat is the extreme


def test_a_crossmember_that_leans_reaches_its_long_corner_round_the_rounding(tmp_path: Path) -> None:
    """Slopes a across and b up: a (w/2 - c) + b (h/2 - c) + c hypot(a, b) beyond the axis, at either end."""
    cross = member(tmp_path, PARALLEL, "between: [rail], points: [[700, -400, 450], [900, 400, 550]], ends: mitred")
    heading = np.array([200, 800, 100]) / sqrt(200**2 + 800**2 + 100**2)
    start = cross.line.start
    assert start.t == pytest.approx(heading, abs=1e-12)
    a, b = (float(way[1] / heading[1]) for way in (start.s, start.u))
    reach = abs(a) * (25 - 8) + abs(b) * (30 - 8) + 8 * hypot(a, b)
    assert cross.line.length == pytest.approx(760 / heading[1] + 2 * reach, abs=1e-9)
    assert cross.cuts is not None
    for cut in cross.cuts:
        assert cut.angle == pytest.approx(acos(heading[1]), abs=1e-9)


@pytest.mark.parametrize("ends", ["mitred", "coped"])
def test_between_narrowing_rails_the_cut_has_the_rails_angle(tmp_path: Path, ends: str) -> None:
    cross = member(tmp_path, NARROWING, f"between: [rail], x: 1000, ends: {ends}")
    assert cross.cuts is not None
    for cut in cross.cuts:
        assert degrees(cut.angle) == pytest.approx(degrees(NARROW), abs=1e-9)
        assert cut.gap == 0
    at_axis = 2 * (400 - 20 / cos(NARROW))
    assert cross.line.length == pytest.approx(at_axis + 2 * 25 * tan(NARROW), abs=1e-9)
    assert np.abs(off_faces(tmp_path, cross, NARROWING)).max() < 1e-9


def test_a_square_end_between_narrowing_rails_just_fits_and_says_its_gap(tmp_path: Path) -> None:
    cross = member(tmp_path, NARROWING, "between: [rail], x: 1000, ends: square")
    assert cross.line.length == pytest.approx(2 * (400 - 20 / cos(NARROW) - 25 * tan(NARROW)), abs=1e-9)
    assert cross.cuts is not None
    assert [cut.gap for cut in cross.cuts] == pytest.approx([50 * tan(NARROW)] * 2, abs=1e-9)
    assert [cut.angle for cut in cross.cuts] == pytest.approx([0, 0], abs=1e-7)
    off = off_faces(tmp_path, cross, NARROWING)
    assert off.min() == pytest.approx(0, abs=1e-6)  # touches at one side, nowhere inside


def bend_of(rails: str, folder: Path) -> tuple[np.ndarray, float, float]:
    """Centre and radius of the right rail's bend, and the station in the middle of it."""
    rail = job_of(folder, rails, "between: [rail], x: 1").parts[0]
    bend = rail.line.bends[0]
    middle = rail.line.pose_at(bend.station + bend.length / 2).at[0]
    return bend.centre, bend.radius, float(middle[0])


def test_on_a_bend_that_bulges_toward_it_the_cope_is_the_outer_cylinder(tmp_path: Path) -> None:
    """The bend's centre lies outboard: the inner face lies at R + w/2 about it and bulges inward."""
    centre, radius, x = bend_of(SWEPT, tmp_path)
    cross = member(tmp_path, SWEPT, f"between: [rail], x: {x}")
    assert cross.cuts is not None
    right = cross.cuts[1]
    assert (right.hollow, right.radius) == (False, pytest.approx(radius + 20))
    assert right.axis is not None
    assert right.direction is not None
    assert right.axis[:2] == pytest.approx(centre[:2], abs=1e-9)
    assert abs(right.direction[2]) == pytest.approx(1)
    far = centre[1] - sqrt((radius + 20) ** 2 - (abs(x - centre[0]) + 25) ** 2)
    assert cross.line.length == pytest.approx(2 * far, abs=1e-9)
    assert np.abs(off_faces(tmp_path, cross, SWEPT)).max() < 1e-9


INWARD = pair("[0, 900, 500]", "{at: [800, 400, 500], radius: 300}", "[1800, 400, 500]")


def test_on_a_hollow_bend_the_cope_is_the_inner_cylinder(tmp_path: Path) -> None:
    """Swept inward and then straight: the centre lies outboard again; seen from outboard the face is hollow."""
    outer = "- {name: beam, tube: main, points: [[0, 1600, 500], [2000, 1600, 500]]}\n"
    centre, radius, x = bend_of(INWARD, tmp_path)
    cross = member(tmp_path, INWARD + outer, f"between: [rail right, beam], x: {x}")
    assert cross.cuts is not None
    left = cross.cuts[0]
    assert (left.rail, left.hollow, left.radius) == ("rail right", True, pytest.approx(radius - 20))
    lowest = centre[1] - sqrt((radius - 20) ** 2 - (x - centre[0]) ** 2)
    # the long corner is where the hollow is deepest: as near to below the centre as the tube's width goes
    off = max(abs(x - centre[0]) - 25, 0)
    deepest = centre[1] - sqrt((radius - 20) ** 2 - off**2)
    assert deepest <= lowest
    assert cross.line.length == pytest.approx(1580 - deepest, abs=1e-9)
    assert np.abs(off_faces(tmp_path, cross, INWARD + outer)[0]).max() < 1e-9


def test_a_mitred_end_stays_off_a_hollow_face_and_touches_a_bulging_one(tmp_path: Path) -> None:
    outer = "- {name: beam, tube: main, points: [[0, 1600, 500], [2000, 1600, 500]]}\n"
    _, _, x = bend_of(INWARD, tmp_path)
    for rails, between in ((INWARD + outer, "rail right, beam"), (SWEPT, "rail")):
        _, _, x = bend_of(rails, tmp_path)
        cross = member(tmp_path, rails, f"between: [{between}], x: {x}, ends: mitred")
        off = off_faces(tmp_path, cross, rails)[0]
        assert off.min() == pytest.approx(0, abs=1e-4)  # it touches between two of the places looked at
        assert off.min() > -1e-9
        assert off.max() > 0.1
        assert cross.cuts is not None
        assert cross.cuts[0].axis is None
        assert cross.cuts[0].gap >= off.max() - 1e-6


def test_bends_up_and_down_leave_the_side_faces_flat(tmp_path: Path) -> None:
    rails = pair("[0, 400, 500]", "{at: [1000, 400, 500], radius: 300}", "[1800, 400, 800]")
    _, _, x = bend_of(rails, tmp_path)
    cross = member(tmp_path, rails, f"between: [rail], x: {x}")
    assert cross.line.length == pytest.approx(760, abs=1e-9)
    assert cross.cuts is not None
    assert [cut.axis for cut in cross.cuts] == [None, None]


@pytest.mark.parametrize(
    ("words", "z"),
    [("", 500), (", flush: centre", 500), (", flush: top", 510), (", flush: bottom", 490), (", height: 487", 487)],
)
def test_height(tmp_path: Path, words: str, z: float) -> None:
    """A rail 80 high and a crossmember 60 high: tops level 10 above the centre."""
    cross = member(tmp_path, PARALLEL, f"between: [rail], x: 700{words}")
    assert cross.line.start.at[2] == pytest.approx(z, abs=1e-9)


def test_between_two_named_parts_whichever_is_named_first(tmp_path: Path) -> None:
    one = member(tmp_path, PARALLEL, "between: [rail left, rail right], x: 700")
    other = member(tmp_path, PARALLEL, "between: [rail right, rail left], x: 700")
    assert one.line.start.at == pytest.approx(other.line.start.at)
    assert one.cuts is not None
    assert one.cuts[0].rail == "rail left"


CROSSING = (
    "- {name: one, tube: main, points: [[0, -500, 500], [2000, 900, 500]]}\n"
    "- {name: two, tube: main, points: [[0, 500, 500], [2000, -900, 500]]}\n"
)


@pytest.mark.parametrize("wanted", ["x: 1500", "points: [[1500, -400, 500], [1500, 500, 500]]"])
def test_rails_that_cross_change_sides(tmp_path: Path, wanted: str) -> None:
    """Behind the crossing the part named two lies at the left, though it begins at the right."""
    cross = member(tmp_path, CROSSING, f"between: [one, two], {wanted}")
    assert cross.cuts is not None
    assert [cut.rail for cut in cross.cuts] == ["two", "one"]
    assert cross.line.start.at[1] < cross.line.end.at[1]
    assert np.abs(off_faces_of(cross, job_of(tmp_path, CROSSING, f"between: [one, two], {wanted}"))).max() < 1e-9


def off_faces_of(cross: RailPart, frame: Frame) -> np.ndarray:
    by_label = {part.label: part for part in frame.parts}
    start = cross.line.start
    base = start.at + around(cross.section, np.linspace(0, cross.section.girth, 499)) @ np.array([start.s, start.u])
    found = []
    assert cross.cuts is not None
    for cut in cross.cuts:
        rim = base + to_cut(cut, base, start.t)[:, None] * start.t
        pose = by_label[cut.rail].line.start
        found.append(np.abs((rim - pose.at) @ pose.s) - by_label[cut.rail].section.width / 2)
    return np.array(found)


@pytest.mark.parametrize(
    ("rails", "wanted", "says"),
    [
        (PARALLEL, "x: 2500", "does not pass X 2500.0 mm"),
        (PARALLEL, "points: [[2200, -400, 500], [2200, 400, 500]]", "passes rail left by, beyond its rear end"),
        (PARALLEL, "points: [[-300, -400, 500], [-300, 400, 500]]", "passes rail left by, beyond its front end"),
        (PARALLEL, "x: 700, height: 571", "it passes over rail left"),
        (PARALLEL, "x: 700, height: 429", "it passes under rail left"),
        (PARALLEL, "points: [[700, -100, 500], [700, 100, 900]]", "it passes under rail left"),
        (PARALLEL, "points: [[700, 400, 500], [700, 400, 500]]", "its two ends lie on one spot"),
        (PARALLEL, "points: [[700, 390, 500], [700, 410, 500]]", "its middle lies inside"),
        (PARALLEL, "points: [[100, 0, 500], [900, 0, 500]]", "does not meet rail"),
    ],
)
def test_a_crossmember_that_does_not_meet_its_rails_says_why(
    tmp_path: Path, rails: str, wanted: str, says: str
) -> None:
    said = refusal(tmp_path, rails, f"between: [rail], {wanted}")
    assert says in said
    assert said.count("cross:") == 1
    assert said.endswith("move it, or name the rails it runs between")


def test_a_crossmember_wider_than_the_curve_cannot_be_coped(tmp_path: Path) -> None:
    tight = pair("[0, 400, 500]", "{at: [1000, 400, 500], radius: 60}", "[1010, 900, 500]")
    rails = tight
    _, _, x = bend_of(rails, tmp_path)
    wide = "cross: {height: 60, width: 240, wall: 3, corner: 8}"
    (fault,) = job_of(tmp_path, rails, f"between: [rail], x: {x}", sizes=wide).faults
    assert "too wide for the curve of rail left" in fault.says


def test_long_rails_are_not_stepped_over(tmp_path: Path) -> None:
    """A rail of 50 m: the search for its thin wall must not jump over it."""
    rails = pair("[0, 400, 500]", "[50000, 400, 500]")
    assert member(tmp_path, rails, "between: [rail], x: 25000").line.length == pytest.approx(760, abs=1e-9)


def test_sine_rule_of_an_oblique_run(tmp_path: Path) -> None:
    """A brace in plan at 30 degrees to square: axis length 760 / cos 30, angle 30 at both ends."""
    y = 400 * tan(radians(30))
    cross = member(tmp_path, PARALLEL, f"between: [rail], points: [[{1000 - y}, -400, 500], [{1000 + y}, 400, 500]]")
    assert cross.cuts is not None
    assert [degrees(cut.angle) for cut in cross.cuts] == pytest.approx([30, 30], abs=1e-9)
    assert cross.line.length == pytest.approx(760 / cos(radians(30)) + 2 * 25 * tan(radians(30)), abs=1e-9)
    assert sin(radians(30)) == pytest.approx(abs(cross.line.start.t[0]))


def ends_said(folder: Path, rails: str, wanted: str) -> list[tuple[str, str, float]]:
    found = crossmember_ends(job_of(folder, rails, wanted))
    return [(finding.level, finding.says, float(finding.found or 0)) for finding in found]


def test_an_end_on_a_flat_face_has_nothing_to_say(tmp_path: Path) -> None:
    for ends in ("square", "mitred", "coped"):
        assert ends_said(tmp_path, PARALLEL, f"between: [rail], x: 700, ends: {ends}") == []
    assert ends_said(tmp_path, NARROWING, "between: [rail], x: 1000") == []
    _, _, x = bend_of(SWEPT, tmp_path)
    assert ends_said(tmp_path, SWEPT, f"between: [rail], x: {x}") == []


def test_the_gap_of_a_square_end_is_a_note(tmp_path: Path) -> None:
    found = ends_said(tmp_path, NARROWING, "between: [rail], x: 1000, ends: square")
    assert [level for level, _, _ in found] == ["note", "note"]
    assert [gap for _, _, gap in found] == pytest.approx([5, 5])
    assert found[0][1] == "cross: its front end is cut square and leaves a gap of up to 5.0 mm to rail left"


@pytest.mark.parametrize(("off", "into"), [(10.0, False), (-10.0, True)])
def test_a_bend_that_begins_within_the_tubes_width_is_warned_of(tmp_path: Path, off: float, into: bool) -> None:
    """Beside the tangent point the face is flat on one side and curved on the other; one cut fits only one of them.

    On the straight 10 mm before the bend the plane is taken, and the rail turns away outboard: a gap. On the bend
    the cylinder is taken, and on the straight side it would lie deeper in the rail than the flat face.
    """
    rail = job_of(tmp_path, SWEPT, "between: [rail], x: 1").parts[0]
    x = float(rail.line.bends[0].start.at[0]) - off
    (level, says, amount), _ = ends_said(tmp_path, SWEPT, f"between: [rail], x: {x}")
    assert level == "warn"
    assert "bends within the tube's width" in says
    radius = 320
    wanted = sqrt((25 - 10) ** 2 + radius**2) - radius  # 15 mm of the half width lie beyond the tangent point
    if not into:
        assert "stands off rail left" in says
        assert amount == pytest.approx(wanted, rel=0.05)
    else:
        assert says.startswith("cross: its front end runs")
        assert amount == pytest.approx(15**2 / 2 / radius, rel=0.1)


def test_an_end_that_hangs_over_the_end_of_its_rail_is_warned_of(tmp_path: Path) -> None:
    found = ends_said(tmp_path, PARALLEL, "between: [rail], x: 1990")
    assert [level for level, _, _ in found] == ["warn", "warn"]
    assert found[0][2] == pytest.approx(15)
    assert "reaches 15.0 mm past the end of rail left" in found[0][1]


def test_an_end_that_stands_above_or_reaches_the_rounding_is_noted(tmp_path: Path) -> None:
    """60 high at 520: top at 550 against the rail's 540; flush at 540: the rounding of 6 mm falls away by 6."""
    above = ends_said(tmp_path, PARALLEL, "between: [rail], x: 700, height: 520")
    assert [(level, amount) for level, _, amount in above] == [("note", pytest.approx(10))] * 2
    flush = ends_said(tmp_path, PARALLEL, "between: [rail], x: 700, flush: top")
    assert [(level, amount) for level, _, amount in flush] == [("note", pytest.approx(6))] * 2
    assert "reaches into the rounding of rail left" in flush[0][1]
    some = ends_said(tmp_path, PARALLEL, "between: [rail], x: 700, height: 507")  # 3 mm into the rounding
    assert some[0][2] == pytest.approx(6 - sqrt(36 - 9))


def test_the_check_is_in_the_registry() -> None:
    assert crossmember_ends in all_checks()
