"""When wishes fight: a smallest set of them is named, with the least they are missed by."""

import pytest
from solver_jobs import LEVEL, point, solved, task_of

from railmodel.fitting.conflict import conflicts
from railmodel.fitting.solve import Task, solve

FIGHT = (
    LEVEL + "fit_points:\n"
    + point("front", 200, 640, 100, 1) + point("middle", 600, 640, 100, 1) + point("rear", 1000, 670, 100, 1)
    + point("easy", 600, 440, 50, 40, "bottom")
)  # fmt: skip
"""Three points that lie on no straight line by 30 mm, and one that is always met."""


def names(task: Task, wishes: tuple[int, ...]) -> list[str]:
    return [task.wishes[i].name.split(":")[0] for i in wishes]



def irreducible(task: Task, wishes: tuple[int, ...]) -> bool:
    """Whether the wishes cannot all be met, and can without any one of them."""
    together = solve(task, asked=wishes).ok
    without = [solve(task, asked=[other for other in wishes if other != one]).ok for one in wishes]
    return not together and all(without)


def test_three_points_off_one_line_fight_and_miss_by_what_least_squares_says() -> None:
    task = task_of(FIGHT)
    (fight,) = conflicts(task, solve(task))
    assert sorted(names(task, fight.wishes)) == ["front", "middle", "rear"]
    assert irreducible(task, fight.wishes)
    # Off the line by front - 2 middle + rear = 30, less 4 for the tolerances of 1: misses in the ratio 1, 2, 1 make
    # the least sum of squares, 26 / 6 each; the slope of the rail (1 in 50 or so) shortens them by 1 in 3,000.
    missed = dict(zip(names(task, fight.wishes), fight.best.missed[list(fight.wishes)], strict=True))
    assert missed["front"] == pytest.approx(26 / 6, rel=0.01)
    assert missed["middle"] == pytest.approx(26 / 3, rel=0.01)
    assert missed["rear"] == pytest.approx(26 / 6, rel=0.01)
    assert fight.ends == ()


def test_fights_that_have_nothing_to_do_with_each_other_are_all_named() -> None:
    text = FIGHT.replace(
        "fit_points:",
        """\
  - name: other
    tube: main
    points: [{at: [0, 300, 500], free: {z: [450, 550]}}, {at: [800, 300, 500], free: {z: [450, 550]}}]
fit_points:
  - {name: high, at: [400, 300, 700], to: {part: other, face: top}, gap: {want: 50, within: 1}}""",
    )
    task = task_of(text)
    found = conflicts(task, solve(task))
    assert sorted(sorted(names(task, fight.wishes)) for fight in found) == [["front", "middle", "rear"], ["high"]]
    (alone,) = (fight for fight in found if len(fight.wishes) == 1)
    # its top comes up to 590 and no further; the gap of 110 misses 51 by 59
    assert alone.best.missed[alone.wishes[0]] == pytest.approx(59.0, abs=0.01)
    ends = {task.problem.variables[i].words for i in alone.ends}
    assert ends == {"points[0] z", "points[1] z"}
    assert all(irreducible(task, fight.wishes) for fight in found)


def test_a_clearance_fights_a_fit_point() -> None:
    text = """\
parts:
  - name: rail
    tube: main
    start: {at: [0, 0, 500], free: {z: [300, 700]}}
    path: [straight: 1200]
fit_points:
""" + point("axle", 600, 380, 60, 5, "bottom") + """\
keep_clear:
  - name: axle tube
    shape: {cylinder: {from: [600, -300, 380], to: [600, 300, 380], diameter: 80}}
    moves: {up: 60}
    gap: 25
"""  # fmt: skip
    found = solved(text)
    assert not found.ok
    (fight,) = found.conflicts
    # the gap may be 65 at most; 40 of radius, 60 up and 25 clear make 125: 60 between them, half each
    assert [found.task.wishes[i].rule for i in fight.wishes] == ["fit gap", "clearance"]
    assert fight.best.missed[list(fight.wishes)] == pytest.approx([30.0, 30.0], abs=0.1)
    assert irreducible(found.task, fight.wishes)


def test_what_nothing_free_can_move_fights_alone() -> None:
    text = LEVEL.replace(", free: {z: [300, 700]}}", "}", 1).replace("{z: [300, 700]}", "{x: [1000, 1400]}")
    text += "fit_points:\n" + point("too low", 600, 700, 100, 5)
    found = solved(text)
    (fight,) = found.conflicts
    assert names(found.task, fight.wishes) == ["too low"]
    assert fight.ends == ()


def test_the_two_plane_rule_can_be_part_of_a_fight() -> None:
    text = """\
parts:
  - name: rail
    tube: main
    points:
      - [0, 0, 500]
      - {at: [600, 0, 500], radius: 200}
      - {at: [1300, 0, 650], radius: 200}
      - {at: [2000, 100, 700], radius: 120, free: {z: [660, 720]}}
      - [2800, 100, 700]
"""
    found = solved(text)
    assert not found.ok
    for fight in found.conflicts:
        assert {found.task.wishes[i].rule for i in fight.wishes} == {"roll"}
        assert irreducible(found.task, fight.wishes)


def test_wishes_that_can_all_be_met_do_not_fight() -> None:
    task = task_of(LEVEL + "fit_points:\n" + point("a", 300, 600, 100, 10))
    answer = solve(task)
    assert answer.ok
    assert conflicts(task, answer) == ()
    assert answer.total == 0.0
