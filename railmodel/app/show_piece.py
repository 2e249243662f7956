"""A measured piece and its corrections as tables to read."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from railmodel.app.piece_words import (
    NEXT_HEADS,
    PLACE_HEADS,
    REST_HEADS,
    SHAPE_HEADS,
    logged_lines,
    next_notes,
    next_rows,
    rest_notes,
    rest_rows,
    shape_rows,
)
from railmodel.app.printed import grid
from railmodel.as_bent.correct import NextPiece
from railmodel.as_bent.deviations import Laying
from railmodel.as_bent.piece import Piece
from railmodel.as_bent.to_bender import Logged, Rest
from railmodel.as_bent.words import deviation_words, set_unsaid

if TYPE_CHECKING:
    from rich.console import Console


def show_measured(piece: Piece, layings: Sequence[Laying], console: "Console") -> None:
    """Print a piece as bent and how far off it is."""
    frame = piece.frame
    made = "" if piece.bent == piece.rail.columns.bends else f", {piece.bent} of {piece.rail.columns.bends} bends made"
    console.print(
        Text(f"{piece.part.label} as bent, from its {piece.part.leading_end} end{made}: {piece.name}", style="bold")
    )
    if piece.shape:
        _table(SHAPE_HEADS, shape_rows(piece), console)
    for laying in layings:
        rms = frame.say(laying.rms)
        console.print(Text(f"Laid on {laying.name}: {rms} off (weighted root mean square)", style="bold"))
        _table(PLACE_HEADS, (deviation_words(piece, place) for place in laying.deviations), console)
    for source in piece.sources:
        console.print(Text(f"Spread: {source}"))


def show_next(pieces: Sequence[Piece], found: NextPiece, console: "Console") -> None:
    """Print what to change for the next piece."""
    piece = pieces[-1]
    names = " and ".join(one.name if one.part is piece.part else f"{one.name} ({one.part.hand})" for one in pieces)
    console.print(Text(f"For the next {piece.part.label}, from {names}", style="bold"))
    if unsaid := set_unsaid(pieces):
        console.print(Text(unsaid))
    _table(NEXT_HEADS, next_rows(piece, found), console)
    for words in next_notes(piece, found):
        console.print(Text(words))


def show_rest(piece: Piece, rest: Rest, console: "Console") -> None:
    """Print what to do with the bends that are left."""
    console.print(Text(f"{piece.part.label}, bent to bend {piece.bent}: what is left to do", style="bold"))
    _table(REST_HEADS, rest_rows(piece, rest), console)
    for words in rest_notes(piece, rest):
        console.print(Text(words))


def show_logged(logged: Logged, console: "Console") -> None:
    """Print what went into the record of test bends."""
    for words in logged_lines(logged):
        console.print(Text(words))


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], console: "Console") -> None:
    table = grid(*heads)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console.print(table)
