"""Jobs for tests of the solver: parts and wishes as YAML in mm, solved."""

from pathlib import Path
from textwrap import dedent

from jobfiles import HEAD, job_file

from railmodel.app.fit_limits import largest_angles
from railmodel.fitting.near import clearances_of
from railmodel.fitting.problem import problem_of
from railmodel.fitting.solve import Task
from railmodel.fitting.solve_job import Solved, solve_job
from railmodel.frame import build_frame
from railmodel.job.reader import JobFile, job_from, read_job

LEVEL = """\
parts:
  - name: rail
    tube: main
    points:
      - {at: [0, 0, 500], free: {z: [300, 700]}}
      - {at: [1200, 0, 500], free: {z: [300, 700]}}
"""
"""A straight rail, 80 high, along X; its two ends go up and down."""

TWO_PLANES = """\
parts:
  - name: rail
    tube: main
    points:
      - [0, 0, 500]
      - {at: [600, 0, 500], radius: 200, free: {x: [500, 700]}}
      - {at: [1300, 0, 650], radius: 200, free: {x: [1200, 1400], z: [600, 700]}}
      - {at: [2000, 100, 700], radius: 120, free: {y: [50, 150], z: [600, 900]}}
      - {at: [2800, 100, 800], free: {y: [50, 150], z: [600, 900]}}
"""
"""Points whose last bends go toward no face as they stand."""

JOINED = """\
parts:
  - name: rail
    tube: main
    hand: pair
    points: [[0, 300, 500], {at: [800, 300, 500], radius: 200}, {at: [1600, 300, 620], free: {z: [500, 700]}}]
  - name: cap
    tube: main
    start: {at: [1500, 290, 560], free: {x: [1400, 1700], y: [200, 400], z: [500, 700]}}
    path:
      - {straight: 100, free: [50, 200]}
      - {bend: {toward: left, angle: 88, radius: 120, free: {angle: [80, 100]}}}
      - {straight: 400, free: [200, 600]}
      - {bend: {toward: left, angle: 91, radius: 120, free: {angle: [80, 100]}}}
      - {straight: 100, free: [50, 200]}
joints:
  - {between: [rail right.rear, cap.front], gap: 1, offset: 0.5, angle: 9, roll: 0.5}
  - {between: [cap.rear, rail left.rear], gap: 1, offset: 0.5, angle: 9, roll: 0.5}
fit_points:
  - {name: bed, at: [1500, 300, 700], to: {part: rail, face: top}, gap: {want: 60, within: 5}}
"""
"""A pair and a cap that do not meet as they stand."""


def point(name: str, x: float, z: float, gap: float, within: float, face: str = "top") -> str:
    """A fit point above or below the middle of `LEVEL`, as a line of the job."""
    return (
        f"  - {{name: {name}, at: [{x}, 0, {z}], to: {{part: rail, face: {face}}}, "
        f"gap: {{want: {gap}, within: {within}}}}}\n"
    )


def source_of(text: str) -> JobFile:
    """A job that names no other file."""
    return job_from((HEAD + dedent(text)).encode(), Path("job.yaml"))


def task_of(text: str) -> Task:
    """The solver's task of a job without a shop."""
    frame = build_frame(source_of(text))
    problem = problem_of(frame, largest_angles(frame))
    return Task(problem, clearances_of(frame, problem.plans, problem.free))


def solved(text: str, *, starts: int = 16, step: float | None = None) -> Solved:
    """A job without a shop, solved."""
    return solve_job(source_of(text), largest_angles, starts=starts, step=step)


def solved_in_shop(folder: Path, text: str, shop: str, *, step: float | None = None) -> Solved:
    """A job of a shop, solved."""
    return solve_job(read_job(job_file(folder, HEAD + dedent(text), shop)), largest_angles, step=step)
