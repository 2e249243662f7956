"""Jobs made real: both hands, faces by name, points measured to a face, radii from dies, parts that make no shape."""

from pathlib import Path

import numpy as np
import pytest
from jobfiles import SHOP, frame_of

from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.part import RailPart

CLOSE = 1e-9


def only(frame: Frame) -> RailPart:
    assert frame.faults == ()
    (part,) = frame.parts
    return part


def fault(frame: Frame) -> Finding:
    assert frame.parts == ()
    (finding,) = frame.faults
    assert finding.level == "stop"
    return finding


PAIR = """
- name: rail
  tube: main
  hand: pair
  points: [[0, 400, 500], {at: [900, 400, 500], radius: 200}, {at: [1200, 500, 500], radius: 200}, [2500, 500, 500]]
"""


def test_a_pair_gives_its_right_part_then_the_left_one_its_mirror_image(tmp_path: Path) -> None:
    right, left = frame_of(tmp_path, PAIR).parts
    assert (right.hand, left.hand) == ("right", "left")
    assert (right.label, left.label) == ("rail right", "rail left")
    assert np.abs(left.line.points - right.line.points * [1, -1, 1]).max() < CLOSE
    ours, theirs = left.line.rows, right.line.rows
    assert np.array_equal(ours.rotation, -theirs.rotation) or np.array_equal(ours.mirrored().rotation, theirs.rotation)
    assert np.array_equal(ours.straights, theirs.straights)


def test_a_single_part_stands_alone_and_may_lie_anywhere(tmp_path: Path) -> None:
    part = only(frame_of(tmp_path, "- {name: tie, tube: main, points: [[0, -400, 500], [0, 300, 500]]}"))
    assert (part.hand, part.label, part.sides) == ("single", "tie", ("right", "left"))
    assert part.line.length == pytest.approx(700)


@pytest.mark.parametrize(
    ("heading", "sides"),
    [
        ([1, 0, 0], ("outboard", "inboard")), ([-1, 0, 0], ("inboard", "outboard")),
        ([1, 0.9, 0.9], ("outboard", "inboard")), ([-1, 0.9, -0.9], ("inboard", "outboard")),
        ([0.5, 1, 0], ("right", "left")), ([0, -1, 0], ("right", "left")), ([0.1, 0, 1], ("right", "left")),
    ],
)  # fmt: skip
def test_a_pair_along_the_vehicle_has_an_inside_and_an_outside(
    tmp_path: Path, heading: list[float], sides: tuple[str, str]
) -> None:
    top = [1, 0, 0] if abs(heading[2]) == 1 else [0, 0, 1]
    parts = f"""
    - name: rail
      tube: main
      hand: pair
      start: {{at: [0, 3000, 0], heading: {heading}, top: {top}}}
      path: [{{straight: 500}}]
    """
    right, left = frame_of(tmp_path, parts).parts
    assert right.sides == sides
    assert left.sides == (sides[1], sides[0])
    if "inboard" in sides:
        for part in (right, left):  # whatever the hand and the heading, inboard looks at the vehicle's centre
            place = part.line.start
            inboard = place.s if part.sides[0] == "inboard" else -place.s
            assert inboard[1] * place.at[1] < 0


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize(("toward", "moves"), [("inboard", -1), ("outboard", 1), ("left", None), ("right", None)])
def test_a_path_bends_toward_the_face_it_names(tmp_path: Path, way: int, toward: str, moves: int | None) -> None:
    parts = f"""
    - name: rail
      tube: main
      hand: pair
      start: {{at: [0, 3000, 0], heading: [{way}, 0, 0]}}
      path: [{{straight: 500}}, {{bend: {{toward: {toward}, angle: 30, radius: 100}}}}, {{straight: 400}}]
    """
    for part in frame_of(tmp_path, parts).parts:
        side = 1 if part.hand == "right" else -1
        sideways = part.line.end.at[1] - part.line.start.at[1]
        if moves is not None:
            assert sideways * side * moves > 100
            assert part.read.bends[0].toward == toward
        elif part.hand == "right":  # as written: right is +s, the vehicle's right only where it heads rearward
            assert sideways * (1 if toward == "right" else -1) * way > 100


def test_a_single_path_bends_left_and_right_seen_along_it(tmp_path: Path) -> None:
    parts = """
    - name: hoop
      tube: main
      start: {at: [0, 0, 0], heading: [0, 1, 0]}
      path: [{straight: 50}, {bend: {toward: left, angle: 90, radius: 100}}, {straight: 40}]
    """
    part = only(frame_of(tmp_path, parts))
    assert np.allclose(part.line.end.t, [1, 0, 0], atol=1e-12)  # heading right, +x (rear) is to the left with z up
    assert part.read.bends[0].toward == "left"
    assert part.read.bends[0].way == "easy"


def test_points_path_and_rows_of_one_rail_make_the_same_part(tmp_path: Path) -> None:
    point = only(frame_of(tmp_path, """
    - name: a
      tube: main
      points: [[0, 0, 0], {at: [600, 0, 0], radius: 200}, {at: [1000, 0, 400], radius: 200}, [1800, 0, 400]]
    """))  # fmt: skip
    rows = point.line.rows
    first, between, last = rows.straights
    path = only(frame_of(tmp_path, f"""
    - name: a
      tube: main
      path:
        - straight: {first}
        - bend: {{toward: top, angle: 45, radius: 200}}
        - straight: {between}
        - bend: {{toward: bottom, angle: 45, radius: 200}}
        - straight: {last}
    """))  # fmt: skip
    table = only(frame_of(tmp_path, f"""
    - name: a
      tube: main
      rows:
        - {{distance: {first}, rotation: 0, angle: 45, radius: 200}}
        - {{distance: {between}, rotation: 180, angle: 45, radius: 200}}
      tail: {last}
    """))  # fmt: skip
    for other in (path, table):
        assert np.abs(other.line.points - point.line.points).max() < CLOSE
        assert [bend.toward for bend in other.read.bends] == ["top", "bottom"]
    assert (point.written, path.written, table.written) == ("points", "path", "rows")


def test_an_offset_in_a_path_is_two_bends_of_one_die(tmp_path: Path) -> None:
    part = only(frame_of(tmp_path, """
    - name: kick
      tube: main
      path: [{straight: 300}, {offset: {toward: top, by: 150, angle: 25, die: hard 160}}, {straight: 400}]
    """, SHOP))  # fmt: skip
    assert part.line.end.at[2] == pytest.approx(150)
    assert part.line.end.t.tolist() == pytest.approx([1, 0, 0])
    assert part.dies == ("hard 160", "hard 160")
    assert part.offsets[0][0] == 1


def test_a_bend_that_names_no_die_gets_one_from_the_shop(tmp_path: Path) -> None:
    part = only(frame_of(tmp_path, """
    - name: kick
      tube: main
      path:
        - {straight: 300}
        - {offset: {toward: top, by: 150, angle: 25}}
        - {straight: 400}
        - {bend: {toward: left, angle: 9}}
        - {straight: 300}
    """, SHOP))  # fmt: skip
    assert part.dies == ("hard 200", "hard 200", "easy 120")
    assert part.line.rows.radius.tolist() == [200, 200, 120]


@pytest.mark.parametrize(("end", "die"), [("front", "hard 160"), ("rear", "hard 200")])
def test_the_die_is_chosen_for_the_end_that_is_bent_first(tmp_path: Path, end: str, die: str) -> None:
    # front first, grip 100 is missing on the larger radius; rear first, that straight is the tail and 90 is enough
    shop = SHOP.replace("tail: 150", "tail: 40")
    part = only(frame_of(tmp_path, f"""
    - name: kick
      tube: main
      leading_end: {end}
      points: [[0, 0, 0], {{at: [150, 0, 0]}}, [900, 0, 433]]
    """, shop))  # fmt: skip
    assert part.dies == (die,)


def test_where_the_shop_has_no_die_the_bend_is_named_with_what_to_do(tmp_path: Path) -> None:
    found = fault(frame_of(tmp_path, """
    - {name: kick, tube: box, path: [{straight: 300}, {bend: {toward: top, angle: 9}}, {straight: 300}]}
    """, SHOP))  # fmt: skip
    assert (found.rule, found.part, found.bend) == ("no die", "kick", 1)
    assert found.says.startswith("kick bend 1: the shop has no die that bends 50.0 mm x 50.0 mm tube the hard way")
    assert found.says.endswith("give radius: where the bend is written, or add the die to the shop file")


def face_height(part: RailPart, face: str) -> np.ndarray:
    """Y and Z of the middle of a face along each straight, (n + 1, 2)."""
    section = part.section
    places = [straight.start for straight in part.line.straights]
    off = {"top": (0, section.height / 2), "bottom": (0, -section.height / 2)}.get(face)
    if off is None:
        off = (section.width / 2 * (1 if part.sides[0] == face else -1), 0)
    return np.array([place.at + off[0] * place.s + off[1] * place.u for place in places])[:, 1:]


@pytest.mark.parametrize("forward", [False, True])
@pytest.mark.parametrize(
    ("at", "face"), [("top", "top"), ("bottom", "bottom"), ("inside", "inboard"), ("outside", "outboard")]
)
def test_points_measured_to_a_face_lie_on_that_face_of_the_built_rail(
    tmp_path: Path, at: str, face: str, forward: bool
) -> None:
    # the points as measured run along x at one height or distance on each straight, so the face must lie there
    corners = ("[900, 400, 500]", "[1400, 500, 500]", "[2000, 500, 500]", "[2400, 500, 640]")
    points = ["[0, 400, 500]", *(f"{{at: {corner}, radius: 200}}" for corner in corners), "[3400, 500, 640]"]
    if forward:
        points.reverse()
    parts = f"""
    - name: rail
      tube: main
      hand: pair
      points_at: {at}
      points: [{", ".join(points)}]
    """
    frame = frame_of(tmp_path, parts)
    for part in frame.parts:
        side = 1 if part.hand == "right" else -1
        level = face_height(part, face)[[4, 2, 0] if forward else [0, 2, 4]]  # the straights along x
        assert np.abs(level[:, 0] * side - [400, 500, 500]).max() < CLOSE
        assert np.abs(level[:, 1] - [500, 500, 640]).max() < CLOSE


def test_inside_and_outside_need_a_pair_along_the_vehicle(tmp_path: Path) -> None:
    found = fault(frame_of(tmp_path, "- {name: tie, tube: main, points_at: inside, points: [[0, 0, 0], [0, 500, 0]]}"))
    assert (found.rule, found.part) == ("points_at", "tie")
    assert found.says.endswith("use centre")


def test_points_on_a_face_whose_leg_is_gone_on_the_centreline_are_a_finding(tmp_path: Path) -> None:
    # under the tube the leg between the bends is 20 mm; both bends turn up, so 40 mm higher it would be negative
    found = fault(frame_of(tmp_path, """
    - name: hoop
      tube: main
      points_at: bottom
      points: [[0, 0, 0], {at: [500, 0, 0], radius: 200}, {at: [520, 0, 20], radius: 200}, [520, 0, 500]]
    """))  # fmt: skip
    assert (found.rule, found.part) == ("points_at", "hoop")
    assert "points 2 and 3" in found.says
    assert found.found is not None
    assert found.needs == 0.0
    assert found.found < 0


@pytest.mark.parametrize(
    ("points", "rule", "bend"),
    [
        ("[[0, 0, 0], {at: [500, 0, 0], radius: 9}, {at: [500, 0, 0], radius: 9}, [900, 0, 90]]", "doubled point", 1),
        ("[[0, 0, 0], {at: [500, 0, 0], radius: 9}, [900, 0, 0]]", "no bend", 1),
        ("[[0, 0, 0], {at: [500, 0, 0], radius: 9}, [100, 0, 0]]", "doubles back", 1),
        ("[[0, 0, 0], {at: [0, 0, 500], radius: 9}, [100, 0, 600]]", "top face", None),
    ],
)
def test_points_that_make_no_rail_are_findings_and_other_parts_go_on(
    tmp_path: Path, points: str, rule: str, bend: int | None
) -> None:
    frame = frame_of(tmp_path, f"""
    - {{name: bad, tube: main, hand: pair, points: {points}}}
    - {{name: good, tube: main, points: [[0, 0, 0], [0, 500, 0]]}}
    """)  # fmt: skip
    assert [part.name for part in frame.parts] == ["good"]
    (found,) = frame.faults
    assert (found.rule, found.part, found.hand, found.bend) == (rule, "bad", "right", bend)
    assert found.says.startswith("bad: ")
    assert ";" in found.says


def test_every_fault_of_a_part_is_named_at_once(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, """
    - name: bad
      tube: main
      points: [[0, 0, 0], {at: [500, 0, 0], radius: 9}, {at: [900, 0, 0], radius: 9}, [900, 0, 0]]
    """)  # fmt: skip
    assert [finding.rule for finding in frame.faults] == ["doubled point", "no bend"]


def test_faults_count_bends_from_the_leading_end(tmp_path: Path) -> None:
    found = fault(frame_of(tmp_path, """
    - name: bad
      tube: main
      leading_end: rear
      points:
        - [0, 0, 0]
        - {at: [500, 0, 0], radius: 9}
        - {at: [900, 0, 0], radius: 9}
        - {at: [950, 0, 90], radius: 9}
        - [990, 0, 90]
    """))  # fmt: skip
    assert (found.rule, found.bend) == ("no bend", 3)
    found = fault(frame_of(tmp_path, """
    - name: bad
      tube: main
      leading_end: rear
      path:
        - {straight: 90}
        - {offset: {toward: top, by: 100, over: 50, radius: 150}}
        - {straight: 99}
        - {bend: {toward: top, angle: 9, radius: 150}}
    """))  # fmt: skip
    assert (found.rule, found.bend) == ("offset", 3)
    assert "bend 3" in found.says


@pytest.mark.parametrize("way", ["path: [{straight: 100}]", "rows: []"])
def test_a_top_along_the_heading_is_a_finding(tmp_path: Path, way: str) -> None:
    frame = frame_of(tmp_path, f"""
    - name: bad
      tube: main
      start: {{heading: [0, 0, 1]}}
      {way}
    """)  # fmt: skip
    found = fault(frame)
    assert found.rule == "top face"
    assert "give a top that is square to the heading" in found.says


def test_a_face_that_a_cross_heading_pair_does_not_have_is_a_finding(tmp_path: Path) -> None:
    found = fault(frame_of(tmp_path, """
    - name: arm
      tube: main
      hand: pair
      start: {at: [0, 100, 0], heading: [0, 1, 0]}
      path: [{straight: 100}, {bend: {toward: inboard, angle: 9, radius: 150}}]
    """))  # fmt: skip
    assert (found.rule, found.bend) == ("face", 1)
    assert found.says.endswith("use top, bottom, left or right")


def test_an_offset_too_short_for_its_radius_says_the_least_run(tmp_path: Path) -> None:
    found = fault(frame_of(tmp_path, """
    - {name: step, tube: main, path: [{straight: 90}, {offset: {toward: top, by: 100, over: 120, radius: 150}}]}
    """))  # fmt: skip
    # two arcs of 150 that rise 100 between them span sqrt(100 x (600 - 100)) = 223.6: chord geometry, by hand
    assert (found.rule, found.bend, found.unit) == ("offset", 1, "length")
    assert found.needs == pytest.approx(223.60679775)
    assert "lengthen over to at least 223.6 mm" in found.says


@pytest.mark.parametrize(
    ("path", "rule"),
    [
        ("{bend: {toward: top, angle: 1.0e-12, radius: 100}}", "no bend"),
        ("{bend: {toward: top, angle: 1.0e-300, radius: 100}}", "no bend"),
        ("{offset: {toward: top, by: 10, angle: 1.0e-300, radius: 100}}", "no bend"),
        ("{offset: {toward: top, by: 10, angle: 1.0e-4, radius: 100}}", "length"),
        ("{offset: {toward: top, by: 1.0e-30, over: 1000, radius: 100}}", "no bend"),
        ("{bend: {toward: top, angle: 179, radius: 90000}}", "length"),
    ],
)
def test_a_rail_out_of_all_measure_is_a_finding(tmp_path: Path, path: str, rule: str) -> None:
    frame = frame_of(tmp_path, f"- {{name: odd, tube: main, path: [{{straight: 90}}, {path}, {{straight: 9}}]}}")
    assert frame.parts == ()
    for found in frame.faults:
        assert (found.rule, found.part, found.level) == (rule, "odd", "stop")
        assert ";" in found.says
    assert frame.faults


def test_rows_are_held_to_the_same_measure(tmp_path: Path) -> None:
    found = fault(frame_of(tmp_path, """
    - {name: odd, tube: main, rows: [{distance: 99, rotation: 0, angle: 1.0e-200, radius: 100}], tail: 9}
    """))  # fmt: skip
    assert (found.rule, found.bend) == ("no bend", 1)
