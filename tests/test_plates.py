"""Plates of a job: what they measure, what is wrong with them, and gussets set between two faces."""

from math import cos, pi, radians, sin
from pathlib import Path

import numpy as np
import pytest
from jobfiles import HEAD, job_file

from railmodel.errors import InputError
from railmodel.findings import Finding
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.plates import Plate, plate_findings, plates

RAILS = """\
parts:
  - name: rail
    tube: main
    hand: pair
    points: [[0, 300, 400], {at: [800, 300, 400], radius: 200}, [1600, 500, 400]]
crossmembers:
  - {name: cross, tube: main, between: [rail], x: 300}
"""


def framed(folder: Path, written: str, rails: str = RAILS) -> Frame:
    lines = "".join(f"  - {line}\n" for line in written.strip().splitlines())
    return build_frame(read_job(job_file(folder, f"{HEAD}{rails}plates:\n{lines}")))


def made(folder: Path, written: str) -> tuple[list[Plate], list[Finding]]:
    frame = framed(folder, written)
    return list(plates(frame)), list(plate_findings(frame))


def test_a_plate_with_holes_and_round_corners_weighs_what_it_should(tmp_path):
    written = "{name: b, thickness: 10, size: [200, 100], corner: 20, count: 4, holes: [{at: [50, 50], diameter: 30}]}"
    (base,), findings = made(tmp_path, written)
    assert findings == []
    assert base.count == 4
    assert base.area == pytest.approx(200 * 100 - (4 - pi) * 400 - pi * 225, rel=1e-12)
    assert base.cut_length == pytest.approx(600 - (8 - 2 * pi) * 20 + 30 * pi, rel=1e-12)
    # 7850 kg/m3, the density of steel that EN 10219-2 uses
    assert base.mass() == pytest.approx(base.area * 1e-6 * 0.010 * 7850)


def test_a_polygon_may_round_each_corner_by_its_own_radius(tmp_path):
    outline = "[[0, 0], {at: [100, 0], corner: 10}, {at: [100, 60], corner: 0}, [0, 60]]"
    (ear,), _ = made(tmp_path, f"{{name: ear, thickness: 6, outline: {outline}, corner: 5}}")
    assert ear.area == pytest.approx(6000 - (1 - pi / 4) * (100 + 25 + 25), rel=1e-12)


WRONG = {
    "{name: p, thickness: 6, outline: [[0, 0], [10, 10], [10, 0], [0, 10]]}":
        "p: its outline crosses itself: side 1 to 2 meets side 3 to 4; move a corner",
    "{name: p, thickness: 6, outline: [[0, 0], [10, 0], [10, 0], [0, 10]]}":
        "p: corners 2 and 3 lie on one spot; take one out",
    "{name: p, thickness: 6, outline: [[0, 0], [10, 0], [5, 0]]}":
        "p: its outline crosses itself: side 1 to 2 meets side 2 to 3; move a corner",
    "{name: p, thickness: 6, size: [40, 20], corner: 12}":
        "p: the radius at corners 2 and 3 does not fit side 2 to 3, which is 20.0 mm long and would lose 24.0 mm to "
        "it; use at most 10.0 mm, or a longer side",
    "{name: p, thickness: 6, size: [40, 20], holes: [{at: [3, 10], diameter: 8}]}":
        "p: hole 1 breaks through the edge by 1.0 mm; move it, or make it smaller",
    "{name: p, thickness: 6, size: [40, 20], holes: [{at: [50, 10], diameter: 8}]}":
        "p: hole 1 lies off the plate; move it, or make it smaller",
    "{name: p, thickness: 6, size: [40, 20], holes: [{at: [4, 10], diameter: 8}]}":
        "p: hole 1 touches the edge; move it, or make it smaller",
    "{name: p, thickness: 6, size: [40, 20], holes: [{at: [10, 10], diameter: 8}, {at: [16, 10], diameter: 8}]}":
        "p: holes 1 and 2 run into each other by 2.0 mm; move one",
    "{name: p, thickness: 6, size: [9, 9], place: {at: [0, 0, 0], normal: [0, 0, 2], up: [0, 0, 1]}}":
        "p: place: up looks along normal; give an up that is square to it",
    "{name: p, thickness: 6, gusset: {legs: [60, 60], between: [rail right top, rail left top]}}":
        "p: rail right top and rail left top look the same way or opposite ways and make no corner; "
        "name two faces that meet at an angle",
    "{name: p, thickness: 6, gusset: {legs: [60, 60], between: [rail right right, cross top]}}":
        "p: rail right has no right face; allowed: top, bottom, outboard, inboard",
    "{name: p, thickness: 6, gusset: {legs: [6, 6], between: [rail right inboard, cross right], at: [800, 300, 400]}}":
        "p: rail right inboard is curved where the gusset stands, in bend 1; "
        "give a place on a straight (at), or bend there with a template of its own",
}  # fmt: skip


@pytest.mark.parametrize("written", WRONG)
def test_what_cannot_be_cut_stops_the_job_in_one_sentence(tmp_path, written):
    _, findings = made(tmp_path, written)
    assert WRONG[written] in [finding.says for finding in findings]
    assert {(finding.rule, finding.level, finding.part) for finding in findings} == {("plate", "stop", "p")}


def test_a_plate_with_a_hole_off_it_says_so_itself(tmp_path):
    (plate,), (finding,) = made(tmp_path, "{name: p, thickness: 6, size: [9, 9], holes: [{at: [50, 5], diameter: 4}]}")
    assert plate.stops == (finding.says,)


UNREADABLE = {
    "{name: p, thickness: 6}": "found none of them; allowed: exactly one of outline, size, gusset",
    "{name: p, thickness: 6, size: [9, 9], mirror: true}": "found mirror without place",
    "{name: p, thickness: 6, size: [9, -1]}": 'found "[9, -1]"; allowed: two lengths above 0',
    "{name: p, thickness: 6, size: [9, 9], count: 0}": "found 0; allowed: a whole number from 1 to 10000",
    "{name: p, thickness: 6, outline: [[0, 0], [1, 0]]}": "found 2 of them; allowed: 3 or more",
    "{name: p, thickness: 6, outline: [[0, 0], [1, 0], 7]}": "found 7; allowed: [x, y] or {at: [x, y], corner:",
    "{name: p, thickness: 6, outline: [[0, 0], [1, 0], [1, x]]}": 'y: found "x"; allowed: a length',
    "{name: p, thickness: 6, gusset: {legs: [9, 9], between: [ghost top, cross top]}}": 'found "ghost"; allowed: rail,',
    "{name: p, thickness: 6, gusset: {legs: [60, 60], between: [rail up, cross top]}}": "which ends in no face",
    "{name: p, thickness: 6, gusset: {legs: [60, 60], between: [top, cross top]}}": "allowed: a part and its face",
    "{name: p, thickness: 6, gusset: {legs: [60, 60], clip: 60}}": "allowed: a clip shorter than both legs",
    "{name: p, thickness: 6, gusset: {legs: [60, 60], angle: 80, between: [rail top, cross top]}}": "take it out",
    "{name: p, thickness: 6, gusset: {legs: [60, 60], at: [0, 0, 0]}}": "found at without between",
}


@pytest.mark.parametrize("written", UNREADABLE)
def test_what_cannot_be_read_is_refused_with_its_place(tmp_path, written):
    with pytest.raises(InputError) as caught:
        framed(tmp_path, written)
    (problem,) = caught.value.problems
    assert UNREADABLE[written] in problem
    assert "plates[0]" in problem


def test_two_plates_may_not_share_a_name(tmp_path):
    with pytest.raises(InputError, match=r"the name of plates\[0\] as well"):
        framed(tmp_path, "{name: p, thickness: 6, size: [9, 9]}\n{name: p, thickness: 6, size: [9, 8]}")


def test_a_gusset_between_square_faces_sits_in_their_corner_on_both_hands(tmp_path):
    written = "{name: g, thickness: 6, gusset: {between: [rail inboard, cross right], legs: [90, 70], clip: 10}}"
    (gusset,), findings = made(tmp_path, written)
    assert findings == []
    assert gusset.count == 2
    assert gusset.area == pytest.approx(90 * 70 / 2 - 10 * 10 / 2, rel=1e-12)
    right, left = gusset.places
    # the rail's inner face is at Y 280, the crossmember's front face at X 280, its centre at Z 400
    assert right.points((0, 0), 3) == pytest.approx([280, 280, 400])
    assert right.points((90, 0), 3) == pytest.approx([190, 280, 400])
    assert right.points((0, 70), 3) == pytest.approx([280, 210, 400])
    assert left.points((90, 0), 3) == pytest.approx([190, -280, 400])
    assert left.points((0, 70), 3) == pytest.approx([280, -210, 400])


def test_a_gusset_on_one_hand_only(tmp_path):
    written = "{name: g, thickness: 6, gusset: {between: [rail left inboard, cross left], legs: [90, 70]}}"
    (gusset,), _ = made(tmp_path, written)
    assert len(gusset.places) == 1
    assert gusset.places[0].points((0, 70), 3) == pytest.approx([320, -210, 400])


def test_a_gusset_takes_the_angle_between_the_faces(tmp_path):
    rails = RAILS.replace("x: 300", "points: [[1250, -400, 400], [1250, 420, 400]]")
    at = "at: [1250, 420, 400]"
    written = (
        f"{{name: g, thickness: 6, gusset: {{between: [rail right inboard, cross left], legs: [90, 70], {at}}}}}\n"
        f"{{name: h, thickness: 6, gusset: {{between: [rail right inboard, cross right], legs: [90, 70], {at}}}}}"
    )
    frame = framed(tmp_path, written, rails)
    behind, before = plates(frame)
    assert list(plate_findings(frame)) == []
    slope = np.arctan2(200, 800)  # of the rail behind its bend
    for plate, angle in ((behind, pi / 2 + slope), (before, pi / 2 - slope)):
        assert plate.area == pytest.approx(90 * 70 / 2 * sin(angle), rel=1e-9)
        tips = plate.places[0].points([(0, 0), (90, 0), (70 * cos(angle), 70 * sin(angle))], 3)
        assert np.ptp(tips[:, 2]) == pytest.approx(0, abs=1e-9)
        assert tips[0, 0] == pytest.approx(tips[2, 0]) == pytest.approx(1270 if plate is behind else 1230)
        along = (tips[1] - tips[0]) / 90
        assert abs(along[:2] @ [cos(slope), sin(slope)]) == pytest.approx(1)


def test_a_crossmember_at_a_slant_makes_a_gusset_of_each_hand(tmp_path):
    rails = RAILS.replace("x: 300", "points: [[300, -300, 400], [400, 300, 400]]")
    written = "{name: g, thickness: 6, gusset: {between: [rail inboard, cross left], legs: [90, 70]}}"
    frame = framed(tmp_path, written, rails)
    assert sorted(plate.name for plate in plates(frame)) == ["g left", "g right"]
    assert sum(plate.count for plate in plates(frame)) == 2


def test_legs_that_leave_their_face_are_told(tmp_path):
    written = (
        "{name: long, thickness: 6, gusset: {between: [rail right inboard, cross right], legs: [400, 70]}}\n"
        "{name: bent, thickness: 6, gusset: {between: [rail right inboard, cross left], legs: [500, 70]}}\n"
        "{name: high, thickness: 6, gusset: {between: [rail right top, cross right], legs: [50, 50]}}"
    )
    _, findings = made(tmp_path, written)
    assert {finding.level for finding in findings} == {"warn"}
    said = " | ".join(finding.says for finding in findings)
    assert "long: its leg of 400.0 mm on rail right inboard reaches 120.0 mm beyond the part's end" in said
    assert "bent: its leg of 500.0 mm on rail right inboard runs onto bend 1" in said
    assert "high: its leg of 50.0 mm on cross right reaches 50.0 mm over the edge of the face" in said


def test_a_gusset_that_is_only_cut_is_a_right_angle_unless_it_says_otherwise(tmp_path):
    legs = "legs: [60, 40]"
    written = f"{{name: g, thickness: 6, gusset: {{{legs}}}}}\n{{name: h, thickness: 6, gusset: {{{legs}, angle: 60}}}}"
    (square, sharp), findings = made(tmp_path, written)
    assert findings == []
    assert (square.places, square.count) == ((), 1)
    assert square.area == pytest.approx(1200)
    assert sharp.area == pytest.approx(1200 * sin(radians(60)))


def test_a_placed_plate_and_its_mirror_image_are_mirror_images(tmp_path):
    place = "place: {at: [100, 280, 420], normal: [0, -1, 0], up: [0, 0, 1]}, mirror: true"
    (plate,), findings = made(tmp_path, f"{{name: p, thickness: 6, size: [60, 40], {place}}}")
    assert findings == []
    assert plate.count == 2
    one, other = plate.places
    assert one.points((10, 30)) == pytest.approx([110, 280, 450])  # its face looks left: seen from there X runs right
    assert one.points((10, 30), 6) == pytest.approx([110, 274, 450])
    flip = np.array([1, -1, 1])
    for depth in (0.0, 6.0):
        assert other.points((10, 30), 6 - depth) == pytest.approx(one.points((10, 30), depth) * flip)
    for placing in plate.places:
        assert np.linalg.det([placing.across, placing.up, placing.normal]) == pytest.approx(1)


def test_fewer_cut_than_placed_is_told(tmp_path):
    place = "place: {at: [100, 280, 420], normal: [0, -1, 0]}, mirror: true, count: 1"
    _, (finding,) = made(tmp_path, f"{{name: p, thickness: 6, size: [60, 40], {place}}}")
    assert (finding.level, "1 cut but 2 placed" in finding.says) == ("warn", True)
