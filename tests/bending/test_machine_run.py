"""The machine's motions make the part that was drawn, step by step and without a jump."""

from math import pi

import numpy as np
import pytest
from bender_rails import R, part, random_part
from numpy.typing import NDArray

from railmodel.bending.machine import Machine, MachineSolid
from railmodel.bending.machine_run import MachineRun
from railmodel.bending.rehearsal import rehearse

Array = NDArray[np.float64]


def frame(at: Array, t: Array, u: Array) -> Array:
    matrix = np.eye(4)
    matrix[:3, :3] = np.stack([t, np.cross(u, t), u], axis=-1)
    matrix[:3, 3] = at
    return matrix


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["counter-clockwise", "clockwise"])
def test_the_machines_motions_make_the_part_that_was_drawn(side: float) -> None:
    """200 random legal parts: laid on the part by its first end, the bent tube is the part, to 1e-6 mm."""
    rng = np.random.default_rng(7)
    for _ in range(200):
        line = random_part(rng, int(rng.integers(1, 11))).line
        run = MachineRun(rows=line.rows, side=side, set_angles=tuple(line.rows.angle + 0.02), arm=True, loads="front")
        bent = run.state(len(run.moves) - 1, 0.0)
        first = bent.points[1] - bent.points[0]
        made = frame(bent.points[0], first / np.linalg.norm(first), bent.tops[0])
        lay = frame(line.start.at, line.start.t, line.start.u) @ np.linalg.inv(made)
        points, tops = bent.points @ lay[:3, :3].T + lay[:3, 3], bent.tops @ lay[:3, :3].T
        station, off = line.closest(points)
        assert off.max() < 1e-6
        assert np.linalg.norm(points[-1] - line.end.at) < 1e-6
        assert np.abs(tops - line.pose_at(station).u).max() * line.length < 1e-6


def test_each_step_begins_where_the_one_before_it_ends() -> None:
    """With set angles equal to the finished ones nothing springs back, so nothing jumps."""
    rng = np.random.default_rng(3)
    for sense in ("clockwise", "counter-clockwise"):
        machine = Machine(bends=sense, solids=(MachineSolid.box("arm", (300, 0, -300), (200, 90, 90), moves="arm"),))
        run = rehearse(random_part(rng, 6).read, machine).run
        for i in range(len(run.moves) - 1):
            before, after = run.state(i, 1.0), run.state(i + 1, 0.0)
            for end in (0, -1):
                assert np.abs(before.points[end] - after.points[end]).max() < 1e-6
                assert np.abs(before.tops[end] - after.tops[end]).max() < 1e-9
            assert before.arm == pytest.approx(after.arm)


def test_the_tube_keeps_its_length_while_it_is_bent() -> None:
    rehearsal = rehearse(random_part(np.random.default_rng(5), 5).read, Machine())
    for i in range(len(rehearsal.steps)):
        for fraction in (0.0, 0.3, 1.0):
            points = rehearsal.state(i, fraction).points
            chords = np.linalg.norm(np.diff(points, axis=0), axis=-1).sum()
            assert chords == pytest.approx(rehearsal.run.length, rel=2e-4)  # 3-degree chords are 1e-4 short


def test_bends_go_to_the_benders_side_and_the_table_feeds_along_x() -> None:
    rail = part([300.0, 250.0], [0, 1], [0.5, 0.4], 400.0)
    for sense, side in (("clockwise", -1), ("counter-clockwise", 1)):
        rehearsal = rehearse(rail.read, Machine(bends=sense))
        assert [s.name for s in rehearsal.steps] == ["load", "bend 1", "feed 2", "turn 2", "bend 2", "unload"]
        bent = rehearsal.state(1, 1.0)
        assert bent.points[0] == pytest.approx([R * np.sin(0.5) + 300 * np.cos(0.5),
                                                side * (R * (1 - np.cos(0.5)) + 300 * np.sin(0.5)), 0.0])  # fmt: skip
        fed = rehearsal.state(2, 1.0)
        assert fed.points[0] - bent.points[0] == pytest.approx([250.0, 0.0, 0.0])
        assert rehearsal.state(0, 0.0).points[-1] == pytest.approx([0.0, 0.0, 0.0])  # tail at the die, all ahead
        assert rehearsal.state(0, 1.0).points[0] == pytest.approx([300.0, 0.0, 0.0])


def test_a_bend_off_a_quarter_turn_is_made_at_the_nearest_one() -> None:
    rail = part([300.0, 250.0], [0.01, 0.99], [0.5, 0.4], 400.0)
    rows = rehearse(rail.read, Machine()).run.rows
    assert rows.roll == pytest.approx([0.0, pi / 2])
