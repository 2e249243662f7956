"""How a measured piece came out, and what to change, on paper."""

from collections.abc import Sequence
from math import degrees
from pathlib import Path

from exporters.sheets.typeset import Data, typeset
from exporters.sheets.words import Paper, finished_angle, hand_of, head, paper_of, section_words
from railmodel.as_bent.correct import NextPiece
from railmodel.as_bent.deviations import Laying
from railmodel.as_bent.piece import Piece
from railmodel.as_bent.to_bender import Rest, next_for, rest_for, tools
from railmodel.as_bent.words import (
    LEARNED,
    common_words,
    deviation_words,
    end_words,
    error_words,
    known_words,
    plane_words,
    scatter_words,
    set_unsaid,
    straight_words,
    taken_words,
)
from railmodel.bending.set_angle import set_angle
from railmodel.files import write_whole
from railmodel.findings import Finding


def write_as_bent(
    piece: Piece, layings: Sequence[Laying], findings: Sequence[Finding], path: Path, *, paper: Paper | None = None
) -> None:
    """Write how a piece came out as a PDF file, whole or not at all."""
    write_whole(path, typeset("as_bent", as_bent(piece, layings, findings, paper)))


def as_bent(piece: Piece, layings: Sequence[Laying], findings: Sequence[Finding], paper: Paper | None = None) -> Data:
    """What the paper shows.

    Args:
        piece: the piece.
        layings: how far off it is, each way it was laid.
        findings: about the record and the piece.
        paper: the size; None = the usual one where the job's unit is used.
    """
    frame, n = piece.frame, piece.rail.columns.bends
    following = rest = None
    if piece.sifted is not None:
        following, rest = (next_for(piece), None) if piece.bent == n else (None, rest_for(piece))
    return {
        **_top("As bent", [piece], findings, paper),
        "shape": [[*known_words(piece, one), LEARNED[one.learned]] for one in piece.shape if one.kind != "radius"],
        "layings": [
            {"name": laying.name, "rms": frame.say(laying.rms),
             "rows": [list(deviation_words(piece, one)) for one in laying.deviations]}
            for laying in layings
        ],
        "next": None if following is None else _next([piece], following),
        "rest": None if rest is None else _rest(piece, rest),
        "sources": list(piece.sources),
    }  # fmt: skip


def write_correction(
    pieces: Sequence[Piece], findings: Sequence[Finding], path: Path, *, paper: Paper | None = None
) -> None:
    """Write what to change as a PDF file, whole or not at all.

    Args:
        pieces: one, or several of one part.
        findings: about their records.
        path: the file.
        paper: the size; None = the usual one where the job's unit is used.

    Raises:
        InputError: a record cannot be of its piece, or they do not go together.
    """
    piece = pieces[-1]
    half = len(pieces) == 1 and piece.bent < piece.rail.columns.bends
    data = {
        **_top("Correction", pieces, findings, paper), "shape": [], "layings": [],
        "next": None if half else _next(pieces, next_for(*pieces)),
        "rest": _rest(piece, rest_for(piece)) if half else None,
        "sources": list(piece.sources),
    }  # fmt: skip
    write_whole(path, typeset("as_bent", data))


def _top(title: str, pieces: Sequence[Piece], findings: Sequence[Finding], paper: Paper | None) -> Data:
    """The head of the paper, which pieces it is about, and what is odd about them."""
    piece = pieces[-1]
    frame, part, n = piece.frame, piece.part, piece.rail.columns.bends

    def each(values: Sequence[str | None]) -> str:
        return ", ".join(dict.fromkeys(value for value in values if value)) or "-"

    return {
        **head(frame, title, paper_of(frame, paper)),
        "part": part.name, "hand": hand_of(part), "tube": section_words(frame, part),
        "lead": f"{part.leading_end} end", "record": each([one.name for one in pieces]),
        "made": f"all {n}" if piece.bent == n else f"{piece.bent} of {n}",
        "date": each([one.record.date for one in pieces]), "heat": each([one.record.heat for one in pieces]),
        "by": each([one.record.measured_by for one in pieces]),
        "said": [{"level": finding.level, "says": finding.says} for finding in findings],
    }  # fmt: skip


def _next(pieces: Sequence[Piece], found: NextPiece) -> Data:
    piece = pieces[-1]
    frame = piece.frame
    notes = [*scatter_words(piece, found), *common_words(found, [tool.name for tool in tools(piece)])]
    notes += [straight_words(piece, one) for one in found.straights if one.step != "leave"]
    if unsaid := set_unsaid(pieces):
        notes.append(unsaid)
    if found.nothing:
        notes.append("Nothing to change: all of it is what chance gives.")
    return {
        "rows": [
            [
                str(one.bend), error_words(one) + ("°" if one.told else ""), f"{degrees(one.sigma):.2f}°",
                taken_words(one),
                f"{set_angle(frame, one.set_was)}°", f"{set_angle(frame, one.set_now)}°", frame.say(one.mark_was),
                frame.mark(one.mark_now), plane_words(piece, one.roll_step, one.turn, one.shim),
            ]
            for one in found.bends
        ],
        "cut": [frame.mark(found.cut_was), frame.mark(found.cut_now)],
        "notes": notes,
    }  # fmt: skip


def _rest(piece: Piece, rest: Rest) -> Data:
    frame, found = piece.frame, rest.found
    return {
        "rows": [
            [
                str(one.bend), f"{finished_angle(one.planned)}°", f"{finished_angle(one.angle)}°",
                f"{set_angle(frame, one.set_angle)}°", frame.say(one.mark_planned), frame.mark(one.mark),
            ]
            for one in rest.commands
        ],
        "removed": f"{100 * found.removed:.0f} %",
        "before": frame.say(found.error_before), "after": frame.say(found.error_after), "notes": end_words(piece, rest),
    }  # fmt: skip
