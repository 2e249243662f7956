"""Commands about what a frame carries, weighs and costs; `register` adds them to the command line."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railmodel.app.cli_words import HowShown, JobPath, Shown, leave

if TYPE_CHECKING:
    from railmodel.frame import Frame


def register(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.command(epilog="Example: railmodel carry hauler.yaml")(carry)
    app.command(epilog="Example: railmodel weigh hauler.yaml")(weigh)
    app.command(epilog="Example: railmodel quote hauler.yaml --out out")(quote)
    app.command(epilog="Examples: railmodel log hauler.yaml; railmodel log hauler.yaml --add sent --by Ann")(log)


def carry(job: JobPath, shown: HowShown = Shown.text) -> None:
    """Screen the frame under its loads: movement, stress against yield, torsional stiffness. Screening only."""
    from railmodel.app.carry_answer import carry_answer
    from railmodel.app.printed import printer
    from railmodel.app.show_carry import show_carry
    from railmodel.frame import build_frame
    from railmodel.job.reader import read_job
    from railmodel.loading.carry import carry as screen

    frame = build_frame(read_job(job))
    if _stopped(frame):
        leave(1)
    screening = screen(frame)
    if shown is Shown.json:
        _print_json(carry_answer(frame, screening))
    else:
        show_carry(frame, screening, printer())


def weigh(job: JobPath, shown: HowShown = Shown.text) -> None:
    """Weigh the frame, say where it balances, and what it ships in."""
    from railmodel.app.printed import printer
    from railmodel.app.weigh_answer import show_weigh, weigh_answer
    from railmodel.frame import build_frame
    from railmodel.job.reader import read_job

    frame = build_frame(read_job(job))
    if shown is Shown.json:
        _print_json(weigh_answer(frame))
    else:
        show_weigh(frame, printer())
    leave(1 if _stopped(frame) else 0)


def quote(
    job: JobPath,
    shown: HowShown = Shown.text,
    out: Annotated[
        Path | None, typer.Option(help="Folder for the customer's offer (PDF) and the shop's own sheet (XLSX, JSON).")
    ] = None,
    date: Annotated[str | None, typer.Option(help="The day it is made, such as 2031-02-28; else today.")] = None,
) -> None:
    """Work out what the job costs from the shop's rates, and what to ask; the split is for the shop only."""
    from railmodel.app.quote_command import run_quote

    status, lines = run_quote(job, as_json=shown is Shown.json, out=out, day=date)
    for line in lines:
        typer.echo(line, err=True)
    leave(status)


def log(
    job: JobPath,
    add: Annotated[
        str | None, typer.Option(help="What happened: built, sent, approved, measured or corrected.")
    ] = None,
    fingerprint: Annotated[
        str | None, typer.Option(help="The fingerprint that the customer approved; else the job's own now.")
    ] = None,
    part: Annotated[str | None, typer.Option(help="The part it is about.")] = None,
    by: Annotated[str, typer.Option(help="Who.")] = "",
    note: Annotated[str, typer.Option(help="Anything worth remembering.")] = "",
    shown: HowShown = Shown.text,
) -> None:
    """Show the job's record, or add a line to it; nothing in it is ever rewritten."""
    from railmodel.app.log_command import run_log

    for line in run_log(
        job, add=add, approved=fingerprint, part=part, by=by, note=note, as_json=shown is Shown.json,
    ):  # fmt: skip
        typer.echo(line, err=True)


def _stopped(frame: "Frame") -> bool:
    """Whether the frame's shape stops the job; what does is named on standard error."""
    from railmodel.app.finding_lines import finding_lines
    from railmodel.checks import SHAPE, run_checks

    stopping = [finding for finding in run_checks(frame, SHAPE) if finding.level == "stop"]
    for line in finding_lines(stopping):
        typer.echo(line, err=True)
    return bool(stopping)


def _print_json(answer: object) -> None:
    typer.echo(json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False))
