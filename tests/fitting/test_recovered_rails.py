"""The solver finds rails again from nothing but their fit points, and what it finds can be bent.

A random rail that the shop can bend is made; points are hung on its faces with the gaps they have there. The job then
gets a wrong rail, at least 25 mm and 3 degrees off, without radii or dies, and ranges around that wrong rail. The test
knows the answer independently of the solver.
"""

import os
from dataclasses import dataclass
from math import degrees, radians
from pathlib import Path

import numpy as np
import pytest
from jobfiles import HEAD, job_file

from railmodel.app.fit_limits import largest_angles
from railmodel.checks import run_checks
from railmodel.fitting.solve_job import Solved, solve_job
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.path import Bend, Move, Straight, rows_from_moves
from railmodel.geometry.rows import Array
from railmodel.job.reader import read_job

COUNT = 100 if os.environ.get("CI") == "true" else 10

SHOP = """\
shop: Test shop
units: mm
dies:
  hard 200: {height: 80, width: 40, way: hard, radius: 200, grip: 100, between: 110, tail: 150, max_angle: 100}
  hard 160: {height: 80, width: 40, way: hard, radius: 160, grip: 100, between: 110, tail: 150, max_angle: 100}
  easy 120: {height: 80, width: 40, way: easy, radius: 120, grip: 80, between: 90, tail: 120, max_angle: 100}
"""

WITHIN = 0.2
"""How well the points must fit, mm; two of them stand SPREAD apart on each face of a straight."""

FACES = (("top", 0.0, 40.0), ("left", np.pi / 2, 20.0))
"""Name, roll and distance from the centreline of an 80 x 40 tube's faces that points are hung on."""

TOWARD = ("top", "left", "bottom", "right")


@dataclass(frozen=True)
class Hidden:
    """A rail to be found: its line, and what it is made of."""

    line: Centreline
    straights: Array
    angles: Array
    toward: tuple[str, ...]

    @property
    def fit_points(self) -> str:
        """Points on two faces near both ends of every straight."""
        lines = []
        for straight in self.line.straights:
            for share in (0.15, 0.85):
                pose = straight.pose(share * straight.length)
                for face, roll, reach in FACES:
                    gap = 25.0 + 5.0 * share
                    at = pose.at + (reach + gap) * pose.direction(roll)
                    where = ", ".join(f"{value:.9f}" for value in at)
                    name = f"{face} of straight {straight.number} at {share:.0%}"
                    lines.append(
                        f"  - {{name: {name}, at: [{where}], to: {{part: rail, face: {face}}}, "
                        f"gap: {{want: {gap:.9f}, within: {WITHIN}}}, on: straight}}"
                    )
        return "fit_points:\n" + "\n".join(lines) + "\n"


def hidden(rng: np.random.Generator) -> Hidden:
    """Two to four bends of 12 to 32 degrees toward any face, with room for every die between them."""
    bends = int(rng.integers(2, 5))
    toward = tuple(str(rng.choice(TOWARD)) for _ in range(bends))
    angles = np.radians(rng.uniform(12, 32, bends))
    straights = rng.uniform(260, 480, bends + 1)
    moves: list[Move] = [Straight(float(straights[0]))]
    for i in range(bends):
        roll = TOWARD.index(toward[i]) * np.pi / 2
        radius = 120.0 if toward[i] in ("left", "right") else float(rng.choice([160.0, 200.0]))
        moves += [Bend(float(roll), float(angles[i]), radius), Straight(float(straights[i + 1]))]
    start = Pose.of([100.0, 400.0, 500.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    return Hidden(Centreline(rows_from_moves(moves), start), straights, angles, toward)


def moved(points: Array, rng: np.random.Generator) -> Array:
    """Points moved by 25 to 32 mm across the rail, corners along it too."""
    turn, size = rng.uniform(0, 2 * np.pi, len(points)), rng.uniform(25, 32, len(points))
    along = rng.uniform(-15, 15, len(points))
    along[[0, -1]] = 0.0
    return points + np.stack([along, size * np.cos(turn), size * np.sin(turn)], axis=1)


def bends_of(points: Array) -> Array:
    """Angles at the inner points, radians."""
    legs = np.diff(points, axis=0)
    legs /= np.linalg.norm(legs, axis=1, keepdims=True)
    return np.asarray(np.arccos(np.sum(legs[1:] * legs[:-1], axis=1)))


def wrong_points(true: Hidden, rng: np.random.Generator) -> tuple[str, Array]:
    """The part by points, every corner moved by 25 to 35 mm across the rail and its ends too; and those points."""
    points = true.line.points
    bad = moved(points, rng)
    while np.abs(bends_of(bad) - true.angles).max() < radians(3):
        bad = moved(points, rng)
    lines = ["parts:", "  - name: rail", "    tube: main", "    points:"]
    for k in range(len(points)):
        inner = 0 < k < len(points) - 1
        spans = {axis: (bad[k, i] - 60, bad[k, i] + 60) for i, axis in enumerate("xyz") if inner or axis != "x"}
        free = ", ".join(f"{axis}: [{low:.9f}, {high:.9f}]" for axis, (low, high) in spans.items())
        at = ", ".join(f"{value:.9f}" for value in bad[k])
        lines.append(f"      - {{at: [{at}], free: {{{free}}}}}")
    return "\n".join(lines) + "\n", bad


def wrong_path(true: Hidden, rng: np.random.Generator) -> tuple[str, Array]:
    """The part as a path, every angle 3 to 6 degrees off, straights 25 to 50 mm, the start 25 to 45; and its angles."""
    at = true.line.start.at + np.array([0.0, *(rng.choice([-1, 1], 2) * rng.uniform(25, 32, 2))])
    place = ", ".join(f"{value:.9f}" for value in at)
    free = ", ".join(f"{axis}: [{at[i] - 60:.9f}, {at[i] + 60:.9f}]" for i, axis in enumerate("xyz") if i)
    lines = ["parts:", "  - name: rail", "    tube: main"]
    lines += [f"    start: {{at: [{place}], free: {{{free}}}}}", "    path:"]
    angles = true.angles + np.radians(rng.choice([-1, 1], len(true.angles)) * rng.uniform(3, 6, len(true.angles)))
    for i, straight in enumerate(true.straights):
        length = straight + rng.choice([-1, 1]) * rng.uniform(25, 50)
        lines.append(f"      - {{straight: {length:.9f}, free: [{max(length - 150, 0):.9f}, {length + 150:.9f}]}}")
        if i < len(angles):
            angle = degrees(angles[i])
            span = f"[{max(angle - 10, 1):.9f}, {angle + 10:.9f}]"
            lines.append(f"      - bend: {{toward: {true.toward[i]}, angle: {angle:.9f}, free: {{angle: {span}}}}}")
    return "\n".join(lines) + "\n", angles


def found_again(folder: Path, part: str, true: Hidden) -> Solved:
    """The solved job: every wish met, bendable, and every corner where the hidden rail has it."""
    path = job_file(folder, HEAD + part + true.fit_points, SHOP)
    solved = solve_job(read_job(path), largest_angles)
    assert solved.ok
    assert solved.conflicts == ()
    stopping = [finding.says for finding in run_checks(solved.frame) if finding.level == "stop"]
    assert stopping == []
    (rail,) = solved.frame.parts
    off = np.linalg.norm(rail.line.points[1:-1] - true.line.points[1:-1], axis=1)
    assert off.max() < 12.0  # a corner slides by the error of a leg over the sine of the bend, 12 degrees at least
    assert np.degrees(np.abs(rail.line.rows.angle - true.angles)).max() < 0.25
    assert [bend.toward for bend in rail.read.bends] == list(true.toward)
    return solved


@pytest.mark.parametrize("seed", range(COUNT))
def test_a_rail_is_found_from_its_fit_points(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng([20, seed])
    true = hidden(rng)
    if seed % 2:
        part, bad = wrong_points(true, rng)
        assert np.linalg.norm(bad - true.line.points, axis=1).min() >= 25
        assert np.abs(bends_of(bad) - true.angles).max() >= radians(3)
    else:
        part, angles = wrong_path(true, rng)
        assert np.abs(angles - true.angles).min() >= radians(3) - 1e-9
    assert "radius" not in part
    assert "die" not in part
    found_again(tmp_path, part, true)
