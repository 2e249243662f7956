"""What the shape checks say: what, where, how far off, and a cure that does cure."""

import re
from math import degrees, radians
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jobfiles import SHOP, frame_of
from scipy.spatial.transform import Rotation

from railmodel import shape_checks
from railmodel.findings import Finding
from railmodel.frame import Frame

in_a_folder = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def number(pattern: str, says: str) -> float:
    found = re.search(pattern, says)
    assert found, says
    return float(found[1])


def only(findings: list[Finding]) -> Finding:
    (finding,) = findings
    return finding


# overlaps ------------------------------------------------------------------------------------------------------------


def kick(tmp_path: Path, run: float, radius: float, more: str = "") -> Frame:
    return frame_of(tmp_path, f"""
    - name: kick
      tube: main
      {more}
      points: [[0, 0, 0], {{at: [600, 0, 0], radius: {radius}}}, {{at: [{600 + run}, 0, {run}], radius: {radius}}},
               [1500, 0, {run}]]
    """)  # fmt: skip


def test_two_bends_that_run_into_each_other_say_by_how_much(tmp_path: Path) -> None:
    # by hand: the leg is 100 x sqrt 2 = 141.4; two set-backs of 200 x tan 22.5 = 82.84 need 165.7, 24.3 too much
    found = only(list(shape_checks.overlapping_bends(kick(tmp_path, 100, 200))))
    assert (found.rule, found.level, found.part, found.bend, found.unit) == ("overlap", "stop", "kick", 2, "length")
    assert found.found == pytest.approx(-24.264, abs=1e-3)
    assert found.needs == 0.0
    assert "bends 1 and 2 overlap by 24.3 mm; lengthen the leg by that much, or use a radius of at most" in found.says
    assert found.where is not None
    assert found.where[1] == 0.0


@in_a_folder
@given(run=st.floats(50, 110), radius=st.floats(190, 400))
def test_the_radius_and_the_length_an_overlap_names_do_cure_it(tmp_path: Path, run: float, radius: float) -> None:
    found = only(list(shape_checks.overlapping_bends(kick(tmp_path, run, radius))))
    smaller = number(r"radius of at most ([\d.]+) mm", found.says) - 0.05  # what rounding to 0.1 mm may hide
    assert list(shape_checks.overlapping_bends(kick(tmp_path, run, smaller))) == []
    longer = run + (number(r"overlap by ([\d.]+) mm", found.says) + 0.05) / np.sqrt(2)
    assert list(shape_checks.overlapping_bends(kick(tmp_path, longer, radius))) == []


def test_a_bend_that_reaches_beyond_the_end_is_named_from_the_leading_end(tmp_path: Path) -> None:
    parts = """
    - name: hook
      tube: main
      leading_end: {end}
      points: [[0, 0, 0], {{at: [600, 0, 0], radius: 200}}, [640, 0, 40]]
    """
    for end in ("front", "rear"):
        found = only(list(shape_checks.overlapping_bends(frame_of(tmp_path, parts.format(end=end)))))
        assert "bend 1 reaches 26.3 mm beyond the end of the tube" in found.says
        assert found.bend == 1


def test_an_offset_that_is_too_small_says_the_least_that_works(tmp_path: Path) -> None:
    parts = """
    - name: step
      tube: main
      path: [{{straight: 90}}, {{offset: {{toward: top, by: {by}, angle: 25, radius: 200}}}}]
    """
    found = only(list(shape_checks.overlapping_bends(frame_of(tmp_path, parts.format(by=20)))))
    # by hand: two arcs rise 2 x 200 x (1 - cos 25) = 37.48
    least = number(r"at least ([\d.]+) mm, and 20.0 mm is asked", found.says)
    assert least == pytest.approx(37.5)
    assert list(shape_checks.overlapping_bends(frame_of(tmp_path, parts.format(by=least)))) == []


def test_straights_of_no_length_are_no_overlap(tmp_path: Path) -> None:
    path = "[{bend: {toward: top, angle: 25, radius: 200}}, {bend: {toward: bottom, angle: 25, radius: 200}}]"
    assert list(shape_checks.overlapping_bends(frame_of(tmp_path, f"- {{name: s, tube: main, path: {path}}}"))) == []


# radii ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("toward", "radius", "least"), [("top", 40, 40), ("top", 12, 40), ("left", 20, 20), ("left", 20.1, None)]
)
def test_a_radius_must_be_more_than_half_the_tube_in_the_plane_of_the_bend(
    tmp_path: Path, toward: str, radius: float, least: float | None
) -> None:
    path = f"[{{straight: 90}}, {{bend: {{toward: {toward}, angle: 25, radius: {radius}}}}}]"
    findings = list(shape_checks.tight_radii(frame_of(tmp_path, f"- {{name: s, tube: main, path: {path}}}")))
    if least is None:
        assert findings == []
        return
    found = only(findings)
    assert (found.rule, found.level, found.bend) == ("tight radius", "stop", 1)
    assert (found.found, found.needs) == (pytest.approx(radius), pytest.approx(least))
    assert f"the tube reaches {least:.1f} mm inward" in found.says


# the two-plane rule --------------------------------------------------------------------------------------------------

ASKEW = """
- name: askew
  tube: main
  hand: {hand}
  leading_end: {end}
  top: {top}
  points: [[0, 500, 500], {{at: [900, 500, 500], radius: 200}}, {{at: [1400, {y}, 640], radius: 200}}, [2400, {y}, 640]]
"""
UPRIGHT = "[0, 0, 1]"


def askew(tmp_path: Path, y: float, *, hand: str = "single", end: str = "front", top: str = UPRIGHT) -> list[Finding]:
    text = ASKEW.format(hand=hand, end=end, top=top, y=y)
    return list(shape_checks.two_planes(frame_of(tmp_path, text)))


def test_a_bend_up_and_in_at_once_is_stopped_with_roll_and_nearest_legal(tmp_path: Path) -> None:
    first, second = askew(tmp_path, 440)
    # by hand: 60 in and 140 up is atan(60 / 140) = 23.2 degrees off the top, toward the left
    assert (first.rule, first.level, first.bend, first.unit) == ("roll", "stop", 1, "angle")
    assert degrees(first.found or 0) == pytest.approx(23.1986, abs=1e-4)
    assert degrees(first.needs or 0) == pytest.approx(0.0, abs=1e-12)
    assert "bend 1 goes 23.20 degrees off the top face (roll 23.20, nearest legal 0)" in first.says
    assert "bend 2 goes 23.20 degrees off the bottom face" in second.says
    assert "a die holds flat faces only, so it cannot be bent" in second.says


def test_a_bend_off_by_less_than_the_shop_allows_is_a_note_with_what_it_does(tmp_path: Path) -> None:
    findings = askew(tmp_path, 497)  # 3 in for 140 up: 1.23 degrees
    assert [found.level for found in findings] == ["note", "note"]
    shift = number(r"the far end lands ([\d.]+) mm away", findings[0].says)
    # by hand: squared up, the rail rises in its own plane the full hypotenuse instead of 140 up and 3 aside
    assert shift == pytest.approx(np.hypot(3, np.hypot(140, 3) - 140), abs=0.051)


def test_the_limit_is_the_shops(tmp_path: Path) -> None:
    text = ASKEW.format(hand="single", end="front", top=UPRIGHT, y=497)
    for within, level in ((1.0, "stop"), (1.2, "stop"), (1.3, "note"), (5, "note")):
        frame = frame_of(tmp_path, text, f"{SHOP}roll_within: {within}\n")
        assert {found.level for found in shape_checks.two_planes(frame)} == {level}


def test_what_no_one_can_measure_is_not_worth_a_word(tmp_path: Path) -> None:
    assert askew(tmp_path, 499.99999) == []
    assert askew(tmp_path, 500) == []


@pytest.mark.parametrize("hand", ["single", "pair"])
@pytest.mark.parametrize("end", ["front", "rear"])
def test_a_top_that_cures_the_whole_tube_is_given_ready_to_be_written(tmp_path: Path, hand: str, end: str) -> None:
    for found in askew(tmp_path, 440, hand=hand, end=end):
        top = re.search(r"top: (\[.*?\])", found.says)
        assert top, found.says
        assert askew(tmp_path, 440, hand=hand, end=end, top=top[1]) == []


@pytest.mark.parametrize("hand", ["single", "pair"])
@pytest.mark.parametrize("end", ["front", "rear"])
def test_the_move_it_names_is_of_the_point_as_written_whichever_hand_or_end(
    tmp_path: Path, hand: str, end: str
) -> None:
    text = """
    - name: askew
      tube: main
      hand: {hand}
      leading_end: {end}
      points: [[0, 500, 500], {{at: [900, 500, 500], radius: 200}}, {{at: {third}, radius: 200}}, [2400, 500, 640]]
    """
    third = np.array([1400.0, 470.0, 640.0])
    for found in shape_checks.two_planes(frame_of(tmp_path, text.format(hand=hand, end=end, third=third.tolist()))):
        assert "move point 3 " in found.says
        for axis, size in re.findall(r"([XYZ]) by ([+-][\d.]+) mm", found.says):
            third["XYZ".index(axis)] += float(size)
        again = shape_checks.two_planes(frame_of(tmp_path, text.format(hand=hand, end=end, third=third.tolist())))
        assert [finding for finding in again if finding.level == "stop"] == []
        third = np.array([1400.0, 470.0, 640.0])


def test_points_measured_to_a_face_are_moved_as_they_were_measured(tmp_path: Path) -> None:
    text = """
    - name: askew
      tube: main
      points_at: bottom
      points: [[0, 0, 500], {{at: [900, 0, 500], radius: 200}}, {{at: {third}, radius: 200}}, [2400, 0, 640]]
    """
    third = np.array([1400.0, -30.0, 640.0])
    found = next(iter(shape_checks.two_planes(frame_of(tmp_path, text.format(third=third.tolist())))))
    for axis, size in re.findall(r"([XYZ]) by ([+-][\d.]+) mm", found.says):
        third["XYZ".index(axis)] += float(size)
    again = shape_checks.two_planes(frame_of(tmp_path, text.format(third=third.tolist())))
    assert [finding for finding in again if finding.level == "stop"] == []


@pytest.mark.parametrize("hand", ["single", "pair"])
@pytest.mark.parametrize("end", ["front", "rear"])
@pytest.mark.parametrize("rotations", [(0, 95, -95, 180), (8, 0, 180, 90), (0, 84, 0, -84), (170, 0, 0, 30)])
def test_rows_say_which_rotations_to_write_so_that_all_are_legal(
    tmp_path: Path, rotations: tuple[float, ...], end: str, hand: str
) -> None:
    def check(values: list[float]) -> list[Finding]:
        rows = "\n".join(f"    - {{distance: 300, rotation: {v}, angle: 12, radius: 200}}" for v in values)
        head = f"- name: old sheet\n  tube: main\n  hand: {hand}\n  leading_end: {end}\n  start: {{at: [0, 2000, 0]}}"
        return list(shape_checks.two_planes(frame_of(tmp_path, f"{head}\n  rows:\n{rows}\n  tail: 300")))

    findings = check(list(rotations))
    assert findings
    for found in findings:
        assert found.level == "stop"
        written = list(rotations)
        cures = re.findall(r"rotation (-?\d+) in row (\d)", found.says)
        assert cures
        for value, row in cures:
            written[int(row) - 1] = float(value)
        assert check(written) == []


# rolled straights ----------------------------------------------------------------------------------------------------

ROLLED = """
- name: rail
  tube: main
  hand: {hand}
  leading_end: {end}
  start: {{at: [0, 2000, 500], heading: [1, 0, 0]}}
  path:
    - straight: 500
    - bend: {{toward: top, angle: {a}, radius: 200}}
    - straight: 300
    - bend: {{toward: {inward}, angle: {b}, radius: 200}}
    - straight: 300
    - bend: {{toward: bottom, angle: {a}, radius: 200}}
    - straight: 300
    - bend: {{toward: {outward}, angle: {b}, radius: 200}}
    - straight: 500
"""


def rolled(tmp_path: Path, a: float, b: float, *, hand: str = "single", end: str = "front") -> list[Finding]:
    inward, outward = ("left", "right") if hand == "single" else ("inboard", "outboard")
    text = ROLLED.format(a=a, b=b, hand=hand, end=end, inward=inward, outward=outward)
    return list(shape_checks.rolled_straights(frame_of(tmp_path, text)))


@pytest.mark.parametrize(("up", "inward", "roll"), [(20, 10, 3.4), (30, 15, 7.4), (15, 8, 2.1)])
def test_two_planes_undone_in_turn_leave_the_last_straight_rolled(
    tmp_path: Path, up: float, inward: float, roll: float
) -> None:
    # derived in the trade notes, checked here by composing scipy Rotations in the tube's own axes
    last = rolled(tmp_path, up, inward)[-1]
    tube = Rotation.identity()
    for axis, angle in (("y", -up), ("z", -inward), ("y", up), ("z", inward)):  # x rearward, y right, z up
        tube = tube * Rotation.from_euler(axis, angle, degrees=True)
    top = tube.apply([0, 0, 1])
    along = tube.apply([1, 0, 0])
    upright = np.array([0, 0, 1]) - along * along[2]
    expected = np.degrees(np.arctan2(np.dot(np.cross(upright, top), along), np.dot(upright, top)))
    assert degrees(last.found or 0) == pytest.approx(expected, abs=1e-9)
    assert abs(expected) == pytest.approx(roll, abs=0.051)
    assert last.level == "warn"
    assert f"{abs(expected):.2f} degrees" in last.says
    assert "straight 4" in last.says


@pytest.mark.parametrize("hand", ["single", "pair"])
@pytest.mark.parametrize("end", ["front", "rear"])
def test_it_says_toward_which_face_the_top_leans(tmp_path: Path, hand: str, end: str) -> None:
    inward, outward = ("left", "right") if hand == "single" else ("inboard", "outboard")
    frame = frame_of(tmp_path, ROLLED.format(a=20, b=10, hand=hand, end=end, inward=inward, outward=outward))
    findings = list(shape_checks.rolled_straights(frame))
    assert findings
    for found in findings:
        part = next(part for part in frame.parts if (part.name, part.hand) == (found.part, found.hand))
        straight = part.read.line.straights[int(number(r"straight (\d)", found.says))]
        words = re.search(r"its top face leans ([\d.]+) degrees toward (\w+)", found.says)
        assert words, found.says
        side = straight.start.direction(part.read.roll_of(words[2]))  # type: ignore[arg-type]
        assert side[2] < 0  # the face it leans toward is the one that looks down a little
        steep = np.sqrt(1 - straight.start.t[2] ** 2)
        assert abs(side[2]) == pytest.approx(steep * np.sin(radians(float(words[1]))), abs=1e-4)


def test_nested_pairs_are_not_rolled(tmp_path: Path) -> None:
    path = ", ".join(
        f"{{straight: 300}}, {{bend: {{toward: {face}, angle: {angle}, radius: 200}}}}"
        for face, angle in (("top", 20), ("bottom", 20), ("left", 10), ("right", 10))
    )
    assert list(shape_checks.rolled_straights(frame_of(tmp_path, f"- {{name: r, tube: main, path: [{path}]}}"))) == []


def test_a_tube_on_its_side_is_rolled_across_its_height(tmp_path: Path) -> None:
    parts = """
    - {name: tie, tube: main, points: [[0, 0, 0], [0, 500, 0]], top: [1, 0, 0.05]}
    """
    found = only(list(shape_checks.rolled_straights(frame_of(tmp_path, parts))))
    # by hand: atan 0.05 = 2.862 degrees; lying on its side the tube is 80 wide, and 80 x sin 2.862 = 3.99
    assert "2.86 degrees" in found.says
    assert "(4.0 mm across the tube)" in found.says
    assert "top face" not in found.says  # the top face looks sideways; the one that looks up is another


def test_a_small_roll_is_a_note_and_a_tiny_one_nothing(tmp_path: Path) -> None:
    parts = "- {{name: tie, tube: main, points: [[0, 0, 0], [0, 500, 0]], top: [{x}, 0, 1]}}"
    levels = {}
    for x in (0.0005, 0.001, 0.02, 0.03):
        findings = list(shape_checks.rolled_straights(frame_of(tmp_path, parts.format(x=x))))
        levels[x] = [found.level for found in findings]
    assert levels == {0.0005: [], 0.001: ["note"], 0.02: ["note"], 0.03: ["warn"]}


def test_straights_that_stand_upright_or_have_no_length_have_no_roll(tmp_path: Path) -> None:
    parts = "- {name: post, tube: main, points: [[0, 0, 0], [0, 0, 500]], top: [1, 0.3, 0]}"
    assert list(shape_checks.rolled_straights(frame_of(tmp_path, parts))) == []


# pairs ---------------------------------------------------------------------------------------------------------------


def test_a_pair_written_for_the_left_is_stopped_once_for_both_hands(tmp_path: Path) -> None:
    parts = "- {name: rail, tube: main, hand: pair, points: [[0, -400, 0], [900, -420, 0]]}"
    found = only(list(shape_checks.pair_side(frame_of(tmp_path, parts))))
    assert (found.rule, found.level, found.hand) == ("pair side", "stop", None)  # the mirror image is as wrong
    assert (found.found, found.where) == (pytest.approx(-420), pytest.approx((900, -420, 0)))
    assert found.says.endswith("give Y values of 0 and above, or write it as hand: single")


def test_a_pair_that_touches_the_centre_is_well(tmp_path: Path) -> None:
    parts = "- {name: rail, tube: main, hand: pair, points: [[0, 0, 0], [900, 40, 0]]}"
    assert list(shape_checks.pair_side(frame_of(tmp_path, parts))) == []


@pytest.mark.parametrize(("y", "crosses"), [(215, False), (185, True)])
def test_the_tube_must_stay_on_its_side_not_the_corner_point(tmp_path: Path, y: float, crosses: bool) -> None:
    # a hairpin of 200 toward the centre reaches 200 in from where it starts; its corner lies 200 x tan 80 = 1134 in
    parts = f"""
    - name: hairpin
      tube: main
      hand: pair
      start: {{at: [0, {y}, 0], heading: [0, -1, 0]}}
      path: [{{bend: {{toward: left, angle: 160, radius: 200}}}}, {{straight: 50}}]
    """
    findings = list(shape_checks.pair_side(frame_of(tmp_path, parts)))
    if crosses:
        assert only(findings).found == pytest.approx(y - 200)
    else:
        assert findings == []


# every sentence ------------------------------------------------------------------------------------------------------


def test_parts_that_make_no_shape_are_passed_on(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, "- {name: bad, tube: main, points: [[0, 0, 0], [0, 0, 0]]}")
    assert tuple(shape_checks.unbuilt(frame)) == frame.faults
