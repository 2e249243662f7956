"""What the command line shows of a check, and a progress bar on a terminal, plain lines elsewhere."""

import sys
from collections.abc import Iterable, Iterator
from math import degrees

from railmodel.app.build import Outcome
from railmodel.app.printed import grid, printer
from railmodel.app.show_fit import show_fit, show_tape
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.geometry.roll import off_legal, plumb
from railmodel.part import RailPart


def show_check(frame: Frame, findings: list[Finding]) -> None:
    """Print one line a part and the verdict."""
    from rich.text import Text

    table = grid("part", "hand", "bends", "length", "leads", "end to end", "top face rolled")
    for part in frame.parts:
        table.add_row(*(Text(cell) for cell in _part_cells(frame, part)))
    console = printer()
    console.print(Text(f"{frame.job.job}, revision {frame.job.revision or '-'}", style="bold"))
    if frame.parts:
        console.print(table)
    show_fit(frame, console)
    show_tape(frame, console)
    counts = {level: sum(f.level == level for f in findings) for level in ("stop", "warn", "note")}
    tally = f"{counts['stop']} that stop the job, {counts['warn']} to look at, {counts['note']} to know"
    good = "No findings: every bend can be made on flat-sided dies."
    console.print(Text(f"Findings: {tally}." if findings else good))


def _part_cells(frame: Frame, part: RailPart) -> tuple[str, ...]:
    line = part.read.line
    rolls = [plumb(straight) for straight in line.straights]
    worst = max((abs(float(off_legal(roll))) for roll in rolls if roll is not None), default=0.0)
    span = float(((line.end.at - line.start.at) ** 2).sum() ** 0.5)
    return (
        part.name, part.hand, str(line.rows.count), frame.say(line.length), part.leading_end, frame.say(span),
        "no" if degrees(worst) < 0.005 else f"{degrees(worst):.2f} degrees at most",
    )  # fmt: skip


def progress(outcomes: Iterable[Outcome], total: int) -> Iterator[Outcome]:
    """Pass outcomes on while showing them: a bar on a terminal, a plain line each elsewhere."""
    if not sys.stderr.isatty():
        for outcome in outcomes:
            if outcome.problem is None:
                print(f"{outcome.step.path}  {outcome.step.what}", flush=True)
            yield outcome
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("writing", total=total)
        for outcome in outcomes:
            bar.update(task, advance=1, description=str(outcome.step.path))
            yield outcome
