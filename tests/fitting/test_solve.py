"""The solver meets what can be met with the least change, and leaves alone what is well as it is."""

from math import degrees, radians
from pathlib import Path

import numpy as np
import pytest
from jobfiles import HEAD, SHOP, job_file
from solver_jobs import JOINED, LEVEL, TWO_PLANES, point, solved, solved_in_shop, task_of

from railmodel.checks import SHAPE, run_checks
from railmodel.errors import InputError
from railmodel.findings import stops
from railmodel.fitting.clear_job import clearances
from railmodel.fitting.fit_job import fit_work
from railmodel.fitting.open_dies import at_level, naming
from railmodel.fitting.plumb import plumb_findings
from railmodel.fitting.solve import solve
from railmodel.frame import build_frame
from railmodel.geometry.roll import off_legal
from railmodel.job.edit import set_values
from railmodel.job.reader import job_from, read_job


def heights(text: str, **options: int) -> tuple[float, ...]:
    """Heights of both ends of the solved level rail."""
    found = solved(text, **options)
    assert found.ok
    return tuple(float(end.at[2]) for end in (found.frame.parts[0].line.start, found.frame.parts[0].line.end))


def test_a_job_that_is_well_is_left_alone() -> None:
    found = solved(LEVEL + "fit_points:\n" + point("a", 300, 648, 100, 10))
    assert found.ok
    assert found.changes == {}
    assert found.text == found.source.text


def test_the_least_change_leaves_half_of_the_tolerance_to_the_shop() -> None:
    # both points want the top 100 below them, within 10; it is 60, so it goes down by 35 and stands at 95
    text = LEVEL + "fit_points:\n" + point("a", 300, 600, 100, 10) + point("b", 900, 600, 100, 10)
    assert heights(text) == pytest.approx((465.0, 465.0), abs=1e-3)


def test_the_whole_tolerance_is_used_where_half_is_not_enough() -> None:
    # one above lets the rail's middle stand from 470 to 490, one below from 489 to 509
    text = LEVEL + "fit_points:\n" + point("a", 600, 620, 100, 10) + point("b", 600, 379, 80, 10, "bottom")
    low, high = heights(text)
    assert (low + high) / 2 == pytest.approx(489.5, abs=0.51)
    (first, second) = fit_work(solved(text).frame).fits
    assert first.ok
    assert second.ok


@pytest.mark.parametrize("starts", [1, 2, 5, 40])
def test_the_answer_does_not_hang_on_the_starts(starts: int) -> None:
    text = LEVEL + "fit_points:\n" + point("a", 300, 633.3, 100, 2) + point("b", 900, 671.7, 100, 2)
    assert heights(text, starts=starts) == pytest.approx(heights(text, starts=16), abs=1e-6)


def test_values_stay_in_their_ranges_and_land_on_whole_millimetres() -> None:
    text = LEVEL.replace("[300, 700]", "[480.2, 700]") + "fit_points:\n" + point("a", 300, 612.3, 100, 12)
    for height in heights(text):
        assert height >= 480.2
        assert height in (480.2, round(height))


def test_a_value_written_outside_its_range_comes_in() -> None:
    text = LEVEL.replace("[1200, 0, 500]", "[1200, 0, 900]") + "fit_points:\n" + point("a", 300, 700, 100, 30)
    assert max(heights(text)) <= 700


def test_a_range_of_one_value_is_that_value() -> None:
    text = LEVEL.replace("[300, 700]", "[512.5, 512.5]", 1) + "fit_points:\n" + point("a", 600, 652, 100, 5)
    assert heights(text)[0] == 512.5


def test_points_come_out_with_every_bend_toward_a_face() -> None:
    found = solved(TWO_PLANES)
    assert found.ok
    before = off_legal(task_of(TWO_PLANES).problem.frame.parts[0].line.rows.roll)
    assert np.abs(before).max() > radians(2)
    (rail,) = found.frame.parts
    assert np.abs(off_legal(rail.line.rows.roll)).max() <= 1e-9
    assert not [finding for finding in run_checks(found.frame, SHAPE) if finding.rule == "roll"]


CLEAR = """\
keep_clear:
  - name: axle
    shape: {cylinder: {from: [600, -300, 400], to: [600, 300, 400], diameter: 80}}
    moves: {up: 50}
    gap: 25
"""


def test_the_rail_keeps_clear_of_what_moves() -> None:
    # axle top 440, 50 up, 25 gap, half the rail's height 40: the rail's middle must stand at 555 and rises no further
    found = solved(LEVEL + CLEAR)
    assert found.ok
    low, high = (end.at[2] for end in (found.frame.parts[0].line.start, found.frame.parts[0].line.end))
    assert 555 - 0.05 <= (low + high) / 2 <= 556.5
    ((gap, needs),) = clearances(found.frame).gaps
    assert gap.gap >= needs


def test_both_hands_keep_clear() -> None:
    # the ball stands to the left: only the left rail comes near it, and the pair goes up together
    text = """\
parts:
  - name: rail
    tube: main
    hand: pair
    points: [{at: [0, 300, 500], free: {z: [300, 700]}}, {at: [1200, 300, 500], free: {z: [300, 700]}}]
keep_clear:
  - {name: ball, shape: {sphere: {at: [600, -300, 420], diameter: 100}}, gap: 10}
"""
    found = solved(text)
    assert found.ok
    assert all(gap.gap >= needs for gap, needs in clearances(found.frame).gaps)
    middle = np.mean([found.frame.parts[0].line.start.at[2], found.frame.parts[0].line.end.at[2]])
    assert middle == pytest.approx(520, abs=1.5)  # 420 + 50 + 10 + 40


def test_parts_are_brought_together_at_their_joints() -> None:
    found = solved(JOINED)
    assert found.ok
    work = fit_work(found.frame)
    assert all(joined.ok for joined in work.joints)
    assert len(work.joints) == 2
    assert all(fit.ok for fit in work.fits)


ROLLED = """\
parts:
  - name: rail
    tube: main
    start: {at: [0, 300, 500]}
    path:
      - straight: 300
      - bend: {toward: top, angle: 20, radius: 200}
      - straight: 200
      - bend: {toward: left, angle: 10, radius: 120, free: {angle: [4, 20]}}
      - straight: 200
      - bend: {toward: bottom, angle: 20, radius: 200, free: {angle: [5, 30]}}
      - straight: 200
      - bend: {toward: right, angle: 10, radius: 120, free: {angle: [4, 20]}}
      - straight: 400
      - bend: {toward: left, angle: 5, radius: 120, free: {angle: [1, 20]}}
      - straight: 400
plumb:
  - {name: rear crossmember, part: rail, x: 1700, within: 0.2}
"""


def test_a_top_face_is_made_level_where_it_must_be() -> None:
    before = task_of(ROLLED)
    assert [finding.rule for finding in plumb_findings(before.problem.frame)] == ["plumb"]
    found = solved(ROLLED)
    assert found.ok
    assert list(plumb_findings(found.frame)) == []


@pytest.mark.parametrize("step", [1.0, 0.5])
def test_angles_land_on_whole_or_half_degrees(step: float) -> None:
    text = """\
parts:
  - name: rail
    tube: main
    start: {at: [0, 0, 500], free: {z: [480, 520]}}
    path:
      - {straight: 300, free: [200, 500]}
      - offset: {toward: top, by: 150, angle: 21.3, radius: 200, free: {by: [100, 200], angle: [10, 35]}}
      - {straight: 300, free: [200, 500]}
      - bend: {toward: bottom, angle: 3.7, radius: 200, free: {angle: [1, 10]}}
      - straight: 900
fit_points:
""" + point("a", 900, 760, 65, 3) + point("b", 1500, 720, 60, 2)  # fmt: skip
    found = solved(text, step=radians(step))
    assert found.landed
    assert found.ok
    angles = np.degrees(found.frame.parts[0].line.rows.angle) / step
    assert angles == pytest.approx(np.round(angles), abs=1e-3)
    assert all(fit.ok for fit in fit_work(found.frame).fits)
    exact = solved(text)
    assert exact.landed is None
    between = np.degrees(exact.frame.parts[0].line.rows.angle) / step
    assert np.abs(between - np.round(between)).max() > 1e-3


def test_angles_of_points_land_too() -> None:
    text = """\
parts:
  - name: rail
    tube: main
    points:
      - [0, 0, 500]
      - {at: [500, 0, 500], radius: 200, free: {x: [450, 550]}}
      - {at: [1000, 0, 633], radius: 200, free: {x: [950, 1050], z: [600, 660]}}
      - {at: [1900, 0, 633], free: {z: [600, 660]}}
fit_points:
""" + point("a", 1500, 720, 50, 6)  # fmt: skip
    found = solved(text, step=radians(1))
    assert found.ok
    angles = np.degrees(found.frame.parts[0].line.rows.angle)
    assert angles == pytest.approx(np.round(angles), abs=1e-3)


def test_steps_that_cannot_be_had_are_said_and_the_exact_shape_is_kept() -> None:
    # the offset's run fixes its angle: 12.4 degrees and a little
    text = """\
parts:
  - name: rail
    tube: main
    start: {at: [0, 0, 500]}
    path:
      - straight: 300
      - bend: {toward: top, angle: 12, radius: 200, free: {angle: [12.3, 12.4]}}
      - straight: 900
"""
    found = solved(text, step=radians(1))
    assert found.landed is False
    assert not found.ok
    assert found.answer.ok
    assert degrees(found.frame.parts[0].line.rows.angle[0]) == pytest.approx(12.3)


OPEN = """\
parts:
  - name: rail
    tube: main
    points:
      - [0, 0, 500]
      - {at: [500, 0, 500], free: {x: [450, 550]}}
      - {at: [BEND, 0, 620], free: {x: [700, 1000], z: [560, 640]}}
      - {at: [1700, 0, 640], free: {z: [560, 680]}}
fit_points:
""" + point("a", 1400, 720, 60, 5)  # fmt: skip


def test_the_largest_die_with_room_bends_it(tmp_path: Path) -> None:
    found = solved_in_shop(tmp_path, OPEN.replace("BEND", "900"), SHOP)
    assert found.ok
    assert found.frame.parts[0].dies == ("hard 200", "hard 200")
    assert not stops(run_checks(found.frame))


def test_a_smaller_die_is_taken_where_the_larger_has_no_room(tmp_path: Path) -> None:
    tight = OPEN.replace("BEND", "675").replace("x: [700, 1000], z: [560, 640]", "x: [670, 676], z: [600, 604]")
    found = solved_in_shop(tmp_path, tight.replace("x: [450, 550]", "x: [500, 505]"), SHOP)
    assert found.ok
    assert found.frame.parts[0].dies == ("hard 160", "hard 160")
    assert not stops(run_checks(found.frame))


FOUND_ON_160 = """\
parts:
  - name: rail
    tube: main
    start: {at: [0, 0, 500]}
    path:
      - {straight: 400, free: [398, 402]}
      - bend: {toward: top, angle: 30}
      - straight: 600
fit_points:
  - {name: bed, at: [AT, 0, 700], to: {part: rail, face: top}, gap: {want: 60, within: 0.1}}
"""


def test_a_die_that_would_be_read_back_as_another_is_named(tmp_path: Path) -> None:
    # On the path the radius shifts what comes behind by 40 tan 15 = 10.7 mm along X: more than the free straight gives.
    # The point stands 100 square above the centreline that a radius of 160 makes, where that reaches 613.397 high.
    corner = 400 + 160 * np.tan(radians(15))
    along = (700 - 100 * np.cos(radians(30)) - 500) / np.sin(radians(30))
    at = corner + along * np.cos(radians(30)) - 100 * np.sin(radians(30))
    found = solved_in_shop(tmp_path, FOUND_ON_160.replace("AT", f"{at:.6f}"), SHOP)
    assert found.ok
    assert "- bend: {toward: top, angle: 30, die: hard 160}" in found.text
    assert found.frame.parts[0].dies == ("hard 160",)
    assert all(fit.ok for fit in fit_work(found.frame).fits)


def test_a_die_is_named_beside_a_point_that_is_only_its_place(tmp_path: Path) -> None:
    text = HEAD + "parts:\n  - name: rail\n    tube: main\n    points: [[0, 0, 500], [500, 0,  500], [1200, 0, 620]]\n"
    source = read_job(job_file(tmp_path, text, SHOP))
    frame = build_frame(source)
    changes = naming(source, build_frame(at_level(frame, [0], 1, frame)), [0])
    assert changes == {("parts", 0, "points", 1): "{at: [500, 0,  500], die: hard 160}"}
    again = build_frame(job_from(set_values(source.text, changes).encode(), source.path))
    assert again.parts[0].dies == ("hard 160",)


def test_a_part_that_makes_no_shape_as_written_is_brought_into_one() -> None:
    text = """\
parts:
  - name: rail
    tube: main
    points:
      - [0, 0, 500]
      - {at: [500, 0, 500], radius: 200, free: {z: [500, 600]}}
      - {at: [1000, 0, 500], free: {z: [500, 700]}}
fit_points:
""" + point("a", 900, 660, 60, 5)  # fmt: skip
    found = solved(text)
    assert found.before is None
    assert found.ok
    assert all(fit.ok for fit in fit_work(found.frame).fits)


def test_a_part_that_no_value_makes_a_shape_is_refused() -> None:
    text = """\
parts:
  - name: rail
    tube: main
    points: [[0, 0, 500], {at: [500, 0, 500], radius: 200, free: {x: [400, 600]}}, [1000, 0, 500]]
"""
    with pytest.raises(InputError, match=r"lies on the line between its neighbours.*no free value tried"):
        solved(text)


def test_a_job_without_free_values_is_refused() -> None:
    with pytest.raises(InputError, match="no value is free; put a range beside what may change"):
        solved("parts:\n  - {name: rail, tube: main, points: [[0, 0, 500], [1000, 0, 500]]}\n")


def test_what_stands_still_is_not_asked_to_move() -> None:
    task = task_of(JOINED.replace(", free: {z: [500, 700]}", ""))
    assert task.problem.free == {1}
    answer = solve(task)
    rail = task.problem.lay_out(answer.x[None])[0]
    assert rail.end.value[0] == pytest.approx([1600, 300, 620])
