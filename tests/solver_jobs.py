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
