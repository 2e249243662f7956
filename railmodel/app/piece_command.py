"""`railmodel measured` and `railmodel correct`: a record of measurements, the shape it tells of, what to change."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import typer

from railmodel.app.finding_lines import finding_lines
from railmodel.app.noted import note_pieces
from railmodel.as_bent.correct import NextPiece
from railmodel.as_bent.deviations import Laying
from railmodel.as_bent.piece import RULE, Piece, read_piece
from railmodel.as_bent.to_bender import Rest, log_pieces, next_for, rest_for
from railmodel.findings import Finding, stops, worst_first
from railmodel.frame import build_frame
from railmodel.job.reader import read_job
from railmodel.job.record import Kind
from railmodel.sureness.datum import Datum, parse_datum
from railmodel.sureness.screws import Working

BEST: str = "best fit"


def run_measured(
    job: Path, record: Path, *, part: str | None, hand: str | None, datum: str | None, as_json: bool,
    paper: Path | None, working: Working = "marks fixed", noted: bool = True,
) -> int:  # fmt: skip
    """Say how a piece came out.

    Args:
        job: the job file.
        record: the record.
        part: which part, instead of what the record says.
        hand: which hand, likewise.
        datum: what to lay it on beside its front end, its main straight and the best fit; None = nothing.
        as_json: print JSON.
        paper: PDF to write as well.
        working: how the shop works.
        noted: note it in the job's record.

    Returns:
        Exit status: 1 where the record cannot be of that piece, or a fit point is missed even where it fits best.
    """
    piece, layings, findings = look(job, record, part=part, hand=hand, datum=datum, working=working)
    if paper is not None:
        from exporters.sheets.as_bent import write_as_bent

        write_as_bent(piece, layings, findings, paper)
    if as_json:
        from railmodel.app.piece_answer import measured_answer

        _print(measured_answer(piece, layings, findings))
    else:
        from railmodel.app.printed import printer
        from railmodel.app.show_piece import show_measured

        for line in finding_lines(findings):
            typer.echo(line)
        show_measured(piece, layings, printer())
    if noted:
        _note("measured", [piece], job, [record], findings)
    return 1 if stops(findings) else 0


def look(
    job: Path, record: Path, *, part: str | None, hand: str | None, datum: str | None, working: Working
) -> tuple[Piece, tuple[Laying, ...], list[Finding]]:
    """A piece, how far off it is each way it is laid, and what is to be said of both."""
    frame = build_frame(read_job(job))
    piece = read_piece(frame, record, part=part, hand=hand, working=working)
    return piece, *laid(piece, datum)


def laid(piece: Piece, datum: str | None = None) -> tuple[tuple[Laying, ...], list[Finding]]:
    """How far off a piece is each way it is laid, and what is to be said of it.

    Args:
        piece: the piece.
        datum: what to lay it on beside its front end, its main straight and the best fit; None = nothing.
    """
    made = piece.bent == piece.rail.columns.bends
    data = [Datum("front"), Datum("main")] if made else [Datum(piece.part.leading_end)]
    if datum is not None:
        data.append(parse_datum(datum, [one.name for one in piece.frame.parts]))
    layings = piece.layings(data)
    return layings, worst_first([*piece.findings, *missed(piece, layings)])


def missed(piece: Piece, layings: Sequence[Laying]) -> Iterator[Finding]:
    """Fit points out of their tolerance even where the piece fits best."""
    say = piece.frame.say
    for one in next((laying.deviations for laying in layings if laying.name == BEST), ()):
        fit = one.target.fit
        if one.ok is False and one.gap is not None and fit is not None:
            want, sure_to = fit.point.gap, 2 * float(one.sigma.max())
            told = abs(one.gap - want.want) - want.within > sure_to
            unsure = f"the record tells of that place to {say(sure_to)} only: measure more before rejecting it"
            cure = "re-bend, shim or reject it" if told else unsure
            says = (
                f"{one.target.name} on {piece.part.label} stands {say(one.gap)} from its face even where the piece "
                f"fits best, and {say(want.want)} within {say(want.within)} is wanted; hold the piece: {cure}"
            )
            yield Finding(
                rule=RULE, level="stop", says=says, part=piece.part.name, hand=piece.part.hand, found=one.gap,
                needs=want.want, unit="length",
            )  # fmt: skip


def run_correct(
    job: Path, records: Sequence[Path], *, part: str | None, hand: str | None, as_json: bool, paper: Path | None,
    log: bool, working: Working = "marks fixed", noted: bool = True,
) -> int:  # fmt: skip
    """Say what to change, and add the bends to the record of test bends where asked.

    Args:
        job: the job file.
        records: a record, or several of pieces of one part.
        part: which part, instead of what the records say.
        hand: which hand, likewise.
        as_json: print JSON.
        paper: PDF to write as well.
        log: add the bends to the record of test bends.
        working: how the shop works.
        noted: note it in the job's record.

    Returns:
        Exit status: 0.

    Raises:
        InputError: a record cannot be of its piece, they do not go together, or adding to the record of test bends.
    """
    frame = build_frame(read_job(job))
    pieces = [read_piece(frame, record, part=part, hand=hand, working=working) for record in records]
    piece, findings = pieces[-1], findings_of(pieces)
    following, rest = changes(*pieces)
    if paper is not None:
        from exporters.sheets.as_bent import write_correction

        write_correction(pieces, findings, paper)
    logged = log_pieces(*pieces) if log else None
    if as_json:
        from railmodel.app.piece_answer import correct_answer

        _print(correct_answer(pieces, findings, following=following, rest=rest, logged=logged))
    else:
        from railmodel.app.printed import printer
        from railmodel.app.show_piece import show_logged, show_next, show_rest

        for line in finding_lines(findings):
            typer.echo(line)
        console = printer()
        if following is not None:
            show_next(pieces, following, console)
        if rest is not None:
            show_rest(piece, rest, console)
        if logged is not None:
            show_logged(logged, console)
    if noted:
        _note("corrected", pieces, job, records, findings)
    return 0


def findings_of(pieces: Sequence[Piece]) -> list[Finding]:
    """What is odd about records; of several, each with the name of its record."""
    found = []
    for piece in pieces:
        for finding in piece.findings:
            named = len(pieces) == 1 or finding.says.startswith(piece.name)
            found.append(finding if named else replace(finding, says=f"{piece.name}: {finding.says}"))
    return worst_first(found)


def _note(kind: Kind, pieces: Sequence[Piece], job: Path, records: Sequence[Path], findings: Sequence[Finding]) -> None:
    """Note pieces in the job's record, and say on standard error where that cannot be done."""
    stopped = sum(finding.level == "stop" for finding in findings)
    for line in note_pieces(kind, pieces[-1].frame, job, pieces[-1].part.label, records, stopped=stopped):
        typer.echo(line, err=True)


def changes(*pieces: Piece) -> tuple[NextPiece | None, Rest | None]:
    """What to change for the next piece; of a single one half bent, what to do with the bends that are left.

    Raises:
        InputError: a record cannot be of its piece, or they do not go together.
    """
    half = len(pieces) == 1 and pieces[0].bent < pieces[0].rail.columns.bends
    return (None, rest_for(pieces[0])) if half else (next_for(*pieces), None)


def _print(answer: dict[str, Any]) -> None:
    typer.echo(json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False))
