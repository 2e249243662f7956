"""`railmodel sure`: which bend matters, the chance of fit, and what would help most."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import typer

from railmodel.app.finding_lines import finding_lines
from railmodel.app.printed import printer
from railmodel.app.show_sure import head_lines, sections, show_sure, tables
from railmodel.app.sure_answer import Sure, sure_answer
from railmodel.as_bent.shop_spread import recorded_spread
from railmodel.errors import InputError
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.sureness.datum import parse_datum
from railmodel.sureness.exact import check_gaps
from railmodel.sureness.sample import chances
from railmodel.sureness.screws import Working
from railmodel.sureness.sensitivity import sensitivity
from railmodel.sureness.spread import Hands, spread_of
from railmodel.sureness.what_if import what_ifs

MOST_SAMPLES = 2_000_000


def run_sure(
    job: Path, *, datum: Sequence[str], working: Working, hands: Hands, samples: int, exact: bool, as_json: bool,
    paper: Path | None = None,
) -> int:  # fmt: skip
    """Work out and print how sure a job fits.

    Args:
        job: the job file.
        datum: what parts are laid against, as written.
        working: how the shop works.
        hands: whether both hands share one springback line.
        samples: how many samples to draw.
        exact: also check clearances against exact gaps.
        as_json: print JSON.
        paper: PDF to write as well.

    Returns:
        Exit status: 0, or 1 where a part makes no shape and nothing can be said of it.

    Raises:
        InputError: an option, the job, no spread known, or nothing asked for.
    """
    if not 100 <= samples <= MOST_SAMPLES:
        raise InputError(f"--samples: found {samples}; allowed: 100 to {MOST_SAMPLES}")
    frame = build_frame(read_job(job))
    sure = how_sure(frame, datum, working=working, hands=hands, samples=samples, exact=exact)
    if paper is not None:
        _write(sure, paper)
    if as_json:
        typer.echo(json.dumps(sure_answer(sure), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        show_sure(sure, printer())
    for line in finding_lines(frame.faults):
        typer.echo(line, err=True)
    return 1 if frame.faults else 0


def _write(sure: Sure, path: Path) -> None:
    """Write it on paper, in the words of the terminal."""
    from exporters.sheets.sureness import write_sureness

    parts = [{"title": title, "lines": [line for line in lines if line]} for title, lines in sections(sure)]
    shown = [
        {"title": one.title, "heads": list(one.heads), "rows": [list(row) for row in one.rows], "notes": one.notes}
        for one in tables(sure)
    ]
    write_sureness(sure.frame, list(head_lines(sure)), shown, parts, path)


def how_sure(
    frame: Frame,
    datum: Sequence[str] = (),
    *,
    working: Working = "marks fixed",
    hands: Hands = "together",
    samples: int = 100_000,
    exact: bool = False,
    seed: int = 1,
) -> Sure:
    """How sure a job fits; see `run_sure`.

    Raises:
        InputError: a datum, no spread known, or nothing asked for.
    """
    data = [parse_datum(text, [part.name for part in frame.job.parts]) for text in datum]
    found = sensitivity(frame, data, working)
    if not found.measures:
        raise InputError(
            f"{frame.source.path.name}: no fit point, joint or shape to keep clear stands on a bent part, so there is "
            "nothing to be sure of; add fit_points: with the places where the vehicle holds on"
        )
    records = recorded_spread(frame, working)
    spread = spread_of(frame, found.bent, working, hands=hands, recorded=records.fields)
    spread = replace(spread, sources=(*spread.sources, *records.notes))
    done = chances(found, spread, samples=samples, seed=seed)
    return Sure(
        frame=frame, found=found, spread=spread, chances=done,
        what_ifs=what_ifs(done, {label: one.part.name for label, one in found.bent.items()}),
        gaps=check_gaps(frame, found, done) if exact else (), hands=hands, seed=seed,
    )  # fmt: skip
