"""`railmodel fit`: solve a job, say what changed and what that did to every wish, and store it where asked."""

import json
from math import radians
from pathlib import Path

import typer

from railmodel.app.finding_lines import finding_lines
from railmodel.app.fit_answer import fit_answer
from railmodel.app.fit_limits import largest_angles
from railmodel.app.show_solved import show_solved
from railmodel.checks import run_checks
from railmodel.errors import InputError
from railmodel.findings import stops
from railmodel.fitting.solve_job import solve_job
from railmodel.job.edit import write_changes
from railmodel.job.reader import job_from, read_job

STEPS = (0.5, 1.0)
MOST_STARTS = 200


def run_fit(job: Path, *, as_json: bool, write: bool, angles: float | None, starts: int) -> int:
    """Solve a job and print the answer.

    Args:
        job: the job file.
        as_json: print JSON.
        write: store the values when every wish is met.
        angles: step on which angles are to land, degrees; None = what the job says.
        starts: starting shapes to try.

    Returns:
        Exit status: 0 when every wish is met and nothing stops the job, else 1.

    Raises:
        InputError: an option, the job, or writing it.
    """
    if angles is not None and angles not in STEPS:
        raise InputError(f"--angles: found {angles:g}; allowed: 1, 0.5 (whole or half degrees)")
    if not 1 <= starts <= MOST_STARTS:
        raise InputError(f"--starts: found {starts}; allowed: 1 to {MOST_STARTS}")
    source = read_job(job)
    step = angles if angles is not None else source.job.angles_to
    solved = solve_job(source, largest_angles, step=None if step is None else radians(step), starts=starts)
    findings = [f for f in run_checks(solved.frame) if f.level == "stop"] if solved.ok else []
    store = write and solved.ok and bool(solved.changes)
    if store:
        write_changes(source.path, source.digest, solved.changes, lambda data: job_from(data, source.path))
    if as_json:
        answer = fit_answer(solved, findings, written=store)
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        show_solved(solved, step, asked=write, stored=store)
        for line in finding_lines(findings):
            typer.echo(line, err=True)
    return 0 if solved.ok and not stops(findings) else 1
