"""The command line. Exit status: 0 all well, 1 the job has findings that stop it, 2 the input cannot be read."""

import io
import json
import os
import sys
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from railmodel import __version__
from railmodel.app import cli_loads, cli_pieces
from railmodel.app.cli_words import Hand, JobPath, Noted, check_target
from railmodel.errors import InputError
from railmodel.findings import Finding, stops

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Bent rectangular-tube frame rails: one job file in; checks, bend tables, STEP and flat layouts out.",
    epilog="Example: railmodel new my_truck.yaml; railmodel check my_truck.yaml; railmodel build my_truck.yaml",
)

INTERRUPTED = 130
"""Exit status after Ctrl-C, as shells have it."""


class Format(StrEnum):
    """File kinds of a bend table."""

    json = "json"
    csv = "csv"
    xlsx = "xlsx"


class Dxf(StrEnum):
    """DXF versions."""

    r2010 = "r2010"
    r12 = "r12"


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"railmodel {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Options that stand before a command."""


@app.command(epilog="Example: railmodel table hauler.yaml --part 'side rail' --hand right --format csv --out right.csv")
def table(
    job: JobPath,
    part: Annotated[str | None, typer.Option(help="Only the part of this name.")] = None,
    hand: Annotated[Hand | None, typer.Option(help="Only this hand of pairs.")] = None,
    format: Annotated[Format | None, typer.Option(help="json, csv or xlsx; else by the ending of --out.")] = None,
    out: Annotated[Path | None, typer.Option(help="Write to this file instead of the screen.")] = None,
    layout: Annotated[Path | None, typer.Option(help="Write it as this layout file says, for one part.")] = None,
) -> None:
    """Print the bend table: distance, rotation, angle and radius of every bend, read from the leading end."""
    from exporters import bend_table
    from railmodel.checks import SHAPE, run_checks
    from railmodel.files import write_whole
    from railmodel.frame import build_frame
    from railmodel.job.fields import not_among
    from railmodel.job.reader import read_job

    kind = format or _kind_of(out)
    if kind is Format.xlsx and out is None:
        raise InputError("--format xlsx needs --out FILE: a spreadsheet cannot be shown on the screen")
    if out is not None:
        check_target(out, inputs=(job, layout))
    frame = build_frame(read_job(job))
    if out is not None:
        check_target(out, inputs=(frame.source.shop_path,))
    known = [p.name for p in frame.job.parts] + [crossmember.name for crossmember in frame.job.crossmembers]
    if part is not None and part not in known:
        raise InputError(f"--part: {not_among(part, known)}")
    if hand is not None and not any(p.hand == "pair" for p in frame.job.parts if part in (None, p.name)):
        raise InputError(f'--hand: found "{hand.value}"; nothing asked for is a pair; leave --hand out')
    chosen = [p for p in frame.parts if part in (None, p.name) and (hand is None or p.hand in (hand.value, "single"))]
    if layout is not None:
        from railmodel.app.other_bender import write_layout

        write_layout(frame, chosen, layout, out)
        _end([finding for finding in run_checks(frame, SHAPE) if part is None or finding.part in (None, part)])
    tables = [
        bend_table.table_of(p, job=frame.job.job, revision=frame.job.revision, unit=frame.unit) for p in chosen
    ]
    if kind is Format.xlsx and out is not None:
        bend_table.write_xlsx(tables, out)
    else:
        text = bend_table.as_csv(tables) if kind is Format.csv else bend_table.as_json(tables)
        if out is None:
            typer.echo(text, nl=False)
        else:
            write_whole(out, text)
    _end([finding for finding in run_checks(frame, SHAPE) if part is None or finding.part in (None, part)])


@app.command(epilog="Example: railmodel check hauler.yaml")
def check(
    job: JobPath,
    as_json: Annotated[bool, typer.Option("--json", help="Print findings and measurements as JSON.")] = False,
) -> None:
    """Say whether the job can be bent and fits: findings first, then what was measured."""
    from railmodel.app.answers import check_answer
    from railmodel.app.finding_lines import finding_lines
    from railmodel.checks import run_checks
    from railmodel.frame import build_frame
    from railmodel.job.reader import read_job

    frame = build_frame(read_job(job))
    findings = run_checks(frame)
    if as_json:
        typer.echo(json.dumps(check_answer(frame, findings), indent=2, ensure_ascii=False, allow_nan=False))
        raise typer.Exit(1 if stops(findings) else 0)
    from railmodel.app.show import show_check

    for line in finding_lines(findings):
        typer.echo(line)
    show_check(frame, findings)
    raise typer.Exit(1 if stops(findings) else 0)


@app.command(epilog="Example: railmodel fit hauler.yaml --angles 0.5 --write")
def fit(
    job: JobPath,
    as_json: Annotated[bool, typer.Option("--json", help="Print values, wishes and fights as JSON.")] = False,
    write: Annotated[bool, typer.Option("--write", help="Store the values where every wish is met.")] = False,
    angles: Annotated[float | None, typer.Option(help="Land angles on whole (1) or half (0.5) degrees.")] = None,
    starts: Annotated[int, typer.Option(help="How many starting shapes to try.")] = 16,
) -> None:
    """Find the bendable shape nearest to the job that meets its fit points, gaps and joints within its free: ranges."""
    from railmodel.app.fit_command import run_fit

    raise typer.Exit(run_fit(job, as_json=as_json, write=write, angles=angles, starts=starts))


@app.command(epilog="Example: railmodel plan hauler.yaml")
def plan(
    job: JobPath,
    as_json: Annotated[bool, typer.Option("--json", help="Print the plan as JSON.")] = False,
    write: Annotated[bool, typer.Option("--write", help="Store the recommended leading ends in the job file.")] = False,
) -> None:
    """Plan the bending: marks, faces, set angles, order of work and cuts."""
    from railmodel.app.plan_answer import plan_answer, plan_findings
    from railmodel.checks import run_checks
    from railmodel.frame import build_frame
    from railmodel.job.reader import read_job

    frame = build_frame(read_job(job))
    if write:
        from railmodel.app.lead import store_leading_ends

        for line in store_leading_ends(frame):
            typer.echo(line, err=as_json)
        frame = build_frame(read_job(job))
    findings = [*run_checks(frame), *plan_findings(frame)]
    if as_json:
        typer.echo(json.dumps(plan_answer(frame, findings), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        from railmodel.app.printed import printer
        from railmodel.app.show_plan import show_plan

        show_plan(frame, findings, printer())
    _end(findings)


@app.command(epilog="Example: railmodel build hauler.yaml --out out")
def build(
    job: JobPath,
    out: Annotated[Path, typer.Option(help="Folder for the files; made if it is not there.")] = Path("out"),
    dxf: Annotated[Dxf, typer.Option(help="DXF version: r2010, or r12 for old shop software.")] = Dxf.r2010,
    with_keep_clear: Annotated[
        bool, typer.Option("--with-keep-clear", help="Put the keep-clear shapes in the STEP assembly, on a branch.")
    ] = False,
    noted: Noted = True,
) -> None:
    """Write every file of the job: STEP, bend tables and flat layouts."""
    from railmodel.app.build import plan_build, run_build
    from railmodel.app.seal import sealed
    from railmodel.app.show import progress
    from railmodel.checks import run_checks
    from railmodel.files import writable_folder
    from railmodel.frame import build_frame
    from railmodel.job.reader import read_job

    source = read_job(job)
    writable_folder(out)
    frame = build_frame(source)
    findings = run_checks(frame)
    steps = plan_build(frame, findings, dxf="R12" if dxf is Dxf.r12 else "R2010", keep_clear=with_keep_clear)
    outcomes = list(progress(sealed(run_build(steps, out), frame, out, job), len(steps) + 2))
    problems = [outcome for outcome in outcomes if outcome.problem]
    for outcome in problems:
        typer.echo(f"not written: {outcome.step.path} ({outcome.step.what}): {outcome.problem}", err=True)
    for name in (name for outcome in outcomes for name in outcome.removed):
        typer.echo(f"removed: {name}, of the last build; this one does not make it")
    typer.echo(f"{len(outcomes) - len(problems)} files in {out}")
    if noted:
        from railmodel.app.noted import note_built, stopping

        words = stopping(sum(finding.level == "stop" for finding in findings))
        words += [f"{len(problems)} not written"] if problems else []
        words += ["keep-clear shapes in the assembly"] if with_keep_clear else []
        for line in note_built(frame, job, out, words=words):
            typer.echo(line, err=True)
    _end(findings, failed=bool(problems))


@app.command(epilog="Example: railmodel verify out --job hauler.yaml")
def verify(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder written by build.", show_default=False)],
    job: Annotated[Path | None, typer.Option(help="The job file; else the one the folder was built from.")] = None,
) -> None:
    """Say whether the files of a folder are as they were written, and whether the job has changed since."""
    from railmodel.app.verify_command import verify as compare

    verdict = compare(folder, job)
    for line in verdict.lines:
        typer.echo(line)
    if verdict.refused:
        raise InputError(verdict.refused)
    raise typer.Exit(0 if verdict.ok else 1)


@app.command(epilog="Example: railmodel new my_truck.yaml")
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The job file to make.", show_default=False)],
) -> None:
    """Write a commented starter job that builds as it stands."""
    from railmodel.job.starter import write_starter

    write_starter(file)
    typer.echo(f"{file} written; try: railmodel build {file} --out out")


@app.command(
    epilog="Examples: railmodel calibrate shop.yaml --plots out; railmodel calibrate shop.yaml --add --die 'hard 7' "
    "--tube main --set 31.3 --measured 30.2 --tube-used '3 5/8'"
)
def calibrate(
    shop: Annotated[Path, typer.Argument(metavar="SHOP", help="The shop file (YAML).", show_default=False)],
    plots: Annotated[Path | None, typer.Option(help="Folder for a plot (SVG) of each die and tube.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the fits as JSON.")] = False,
    add: Annotated[bool, typer.Option("--add", help="Add a test bend to the record; nothing is rewritten.")] = False,
    die: Annotated[str | None, typer.Option(help="Die of the test bend.")] = None,
    tube: Annotated[str | None, typer.Option(help="Tube of the test bend.")] = None,
    set_angle: Annotated[float | None, typer.Option("--set", help="Angle it was set to, degrees.")] = None,
    measured: Annotated[float | None, typer.Option(help="Angle it measured, degrees.")] = None,
    tube_used: Annotated[str | None, typer.Option(help="Stock the bend took up, as read on a tape.")] = None,
    wall: Annotated[str | None, typer.Option(help="Wall of the tube.")] = None,
    grade: Annotated[str, typer.Option(help="Steel grade.")] = "",
    heat: Annotated[str, typer.Option(help="Heat number from the mill certificate.")] = "",
    date: Annotated[str | None, typer.Option(help="Date; today when left out.")] = None,
    note: Annotated[str, typer.Option(help="Anything worth remembering.")] = "",
) -> None:
    """Show what the record of test bends says of each die, and which test bend to make next."""
    from railmodel.app.calibrate import calibration_answer, calibration_lines, read_record, record_of, write_plots
    from railmodel.job.reader import read_shop

    owned = read_shop(shop)
    given = {
        "--die": die, "--tube": tube, "--set": set_angle, "--measured": measured, "--tube-used": tube_used,
        "--wall": wall, "--grade": grade, "--heat": heat, "--date": date, "--note": note,
    }  # fmt: skip
    _check_options(add, given, {"--json": as_json, "--plots": plots})
    if add:
        from railmodel.app.add_bend import add_bend

        said = add_bend(
            owned, record_of(owned, shop), die=die, tube=tube, set_angle=set_angle, measured=measured,
            tube_used=tube_used, wall=wall, grade=grade, heat=heat, date=date, note=note,
        )  # fmt: skip
        typer.echo(said)
        return
    log = read_record(owned, shop)
    if as_json:
        typer.echo(json.dumps(calibration_answer(owned, log), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        for line in calibration_lines(owned, log):
            typer.echo(line)
    if plots is not None:
        for path in write_plots(owned, log, plots):
            typer.echo(str(path), err=as_json)


def _check_options(add: bool, given: Mapping[str, object], asked: Mapping[str, object]) -> None:
    """Refuse values of a test bend that is not to be added, and wishes that adding one would pass over.

    Raises:
        InputError: there are any.
    """
    values, wishes = (
        [name for name, value in some.items() if value is not None and value is not False and value != ""]
        for some in (given, asked)
    )
    if values and not add:
        raise InputError(f"{values[0]}: belongs to a new test bend; give --add as well, or leave it out")
    if wishes and add:
        raise InputError(f"{wishes[0]}: cannot be given with --add; add the test bend first; nothing was recorded")


@app.command("open", epilog="Example: railmodel open hauler.yaml")
def open_(
    job: Annotated[
        Path | None, typer.Argument(metavar="JOB", help="The job file; left out, a page to choose from.")
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0: the job's own, or any that is free.")] = 0,
    lan: Annotated[bool, typer.Option("--lan", help="Also a view to look at for other machines, with a code.")] = False,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open it in the browser.")] = True,
) -> None:
    """Open a job in the browser: change a number and see the rail move."""
    from railmodel.app.open_command import run_open

    raise typer.Exit(run_open(job, port=port, lan=lan, browser=browser))


@app.command("import-mesh", epilog="Example: railmodel import-mesh engine.step --out engine.stl")
def import_mesh(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The STEP file.", show_default=False)],
    out: Annotated[Path | None, typer.Option(help="STL file to write; left out, beside FILE.")] = None,
) -> None:
    """Make a mesh of a STEP file, once, for a shape that the rails must clear."""
    from exporters.step_mesh import mesh_step

    target = out or file.with_suffix(".stl")
    check_target(target, inputs=(file,))
    count = mesh_step(file, target)
    typer.echo(f"{target}: {count} triangles, millimetres; in the job: shape: {{mesh: {target.name}, units: mm}}")


cli_pieces.register(app)
cli_loads.register(app)


def _kind_of(out: Path | None) -> Format:
    ending = "" if out is None else out.suffix.lower().lstrip(".")
    return Format(ending) if ending in {kind.value for kind in Format} else Format.json


def _end(findings: list[Finding], *, failed: bool = False) -> None:
    """Name what stops the job on standard error and leave with 1 where it does or something failed, else with 0."""
    from railmodel.app.finding_lines import finding_lines

    stopping = [finding for finding in findings if finding.level == "stop"]
    for line in finding_lines(stopping):
        typer.echo(line, err=True)
    raise typer.Exit(1 if stopping or failed else 0)


def main() -> None:
    """Run the command line; input that cannot be used ends with 2 and one sentence a problem."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # closed by whoever started it
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif isinstance(stream, io.TextIOWrapper):  # the same bytes on every system, and no name that cannot be printed
            stream.reconfigure(encoding="utf-8", errors="backslashreplace", newline="\n")
    try:
        status = app(prog_name="railmodel", standalone_mode=False) or 0
        _flush()
    except InputError as error:
        status = _refuse(*error.problems)
    except typer.TyperException as error:
        status = _refuse(_usage(error))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        name = error.filename or "output"
        status = _refuse(f"{name}: cannot be read or written ({reason}); check the name and the disk")
    if status == INTERRUPTED:
        print("stopped; files already written are whole", file=sys.stderr)
    raise SystemExit(status)


def _refuse(*problems: str) -> int:
    for problem in problems:
        print(problem, file=sys.stderr)
    return 2


def _usage(error: typer.TyperException) -> str:
    """What is wrong with the words of a command, in one sentence; the whole help where there are none."""
    context: typer.Context | None = getattr(error, "ctx", None)
    path = context.command_path if context is not None else "railmodel"
    said = error.format_message().replace("Value error, ", "").strip()
    return said if said.startswith("Usage:") else f"{path}: {said.rstrip('.?')}; see {path} --help"


def _flush() -> None:
    """Send what is printed; a reader who has seen enough (`| head`) is no problem."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
