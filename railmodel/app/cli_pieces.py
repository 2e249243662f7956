"""Commands about pieces as they were bent, and how sure the shop can be; `register` adds them to the command line."""

from pathlib import Path
from typing import Annotated

import typer

from railmodel.app.cli_words import Hand, JobPath, Noted, Shown, check_target, leave


def register(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.command(epilog="Example: railmodel measured hauler.yaml right_rail.yaml --datum 'straight 2'")(measured)
    app.command(epilog="Examples: railmodel correct hauler.yaml first.yaml --log; railmodel correct hauler.yaml "
                "first.yaml second.yaml third.yaml --paper correction.pdf")(correct)  # fmt: skip
    app.command(
        epilog="Examples: railmodel sure hauler.yaml; railmodel sure hauler.yaml --datum front --straights-held"
    )(sure)


RecordPath = Annotated[
    Path, typer.Argument(metavar="RECORD", help="What was measured (YAML or CSV).", show_default=False)
]
RecordPaths = Annotated[
    list[Path],
    typer.Argument(
        metavar="RECORD...", show_default=False,
        help="What was measured (YAML or CSV); of several pieces of one part, a file each, the last one bent last.",
    ),
]  # fmt: skip
Pdf = Annotated[Path | None, typer.Option("--paper", help="PDF file to write as well.")]
RecordPart = Annotated[str | None, typer.Option(help="The part it is of, instead of what the record says.")]
RecordHand = Annotated[Hand | None, typer.Option(help="The hand it is of, instead of what the record says.")]
MarksFixed = Annotated[
    bool, typer.Option("--marks-fixed/--straights-held", help="Marks all set out first, or bend by bend.")
]


def measured(
    job: JobPath,
    record: RecordPath,
    part: RecordPart = None,
    hand: RecordHand = None,
    datum: Annotated[str | None, typer.Option(help="Lay it on this as well: rear, or a straight by number.")] = None,
    marks_fixed: MarksFixed = True,
    format: Annotated[Shown, typer.Option(help="text to read, or json.")] = Shown.text,
    paper: Pdf = None,
    noted: Noted = True,
) -> None:
    """Say how a bent piece came out, from what was measured: its shape, how sure, and how far off it is where."""
    from railmodel.app.piece_command import run_measured

    if paper is not None:
        check_target(paper, "--paper", ending=".pdf")
    status = run_measured(
        job, record, part=part, hand=hand, datum=datum, as_json=format is Shown.json, paper=paper,
        working="marks fixed" if marks_fixed else "straights held", noted=noted,
    )  # fmt: skip
    leave(status)


def correct(
    job: JobPath,
    records: RecordPaths,
    part: RecordPart = None,
    hand: RecordHand = None,
    marks_fixed: MarksFixed = True,
    format: Annotated[Shown, typer.Option(help="text to read, or json.")] = Shown.text,
    paper: Pdf = None,
    log: Annotated[bool, typer.Option("--log", help="Add the bends to the shop's record of test bends.")] = False,
    noted: Noted = True,
) -> None:
    """Say what to change for the next piece, or, where the record is of one half bent, on this one.

    Of several pieces, what they have in common is the settings' error, and what they differ by is chance.
    """
    from railmodel.app.piece_command import run_correct

    if paper is not None:
        check_target(paper, "--paper", ending=".pdf")
    status = run_correct(
        job, records, part=part, hand=hand, as_json=format is Shown.json, paper=paper, log=log,
        working="marks fixed" if marks_fixed else "straights held", noted=noted,
    )  # fmt: skip
    leave(status)


def sure(
    job: JobPath,
    datum: Annotated[
        list[str] | None,
        typer.Option(
            help="What parts are held by: main (the longest straight), front, rear, 'best fit', 'straight 2'; "
            "or for one part 'side rail.front'. May be given several times."
        ),
    ] = None,
    marks_fixed: Annotated[
        bool, typer.Option("--marks-fixed/--straights-held", help="Marks all set out first, or bend by bend.")
    ] = True,
    apart: Annotated[bool, typer.Option("--hands-apart", help="Each hand of a pair calibrated by itself.")] = False,
    samples: Annotated[int, typer.Option(help="How many samples to draw.")] = 100_000,
    exact: Annotated[bool, typer.Option("--exact-gaps", help="Check clearances on 2,000 exact samples.")] = False,
    format: Annotated[Shown, typer.Option(help="text to read, or json.")] = Shown.text,
    paper: Pdf = None,
) -> None:
    """Say which bend matters, the chance that the job fits with the shop's own spread, and what would help most."""
    from railmodel.app.sure_command import run_sure

    if paper is not None:
        check_target(paper, "--paper", ending=".pdf")
    status = run_sure(
        job, datum=datum or (), working="marks fixed" if marks_fixed else "straights held",
        hands="apart" if apart else "together", samples=samples, exact=exact, as_json=format is Shown.json,
        paper=paper,
    )  # fmt: skip
    leave(status)
