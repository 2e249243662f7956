"""A measured piece and its corrections as tables to read."""

from collections.abc import Sequence
from math import degrees
from typing import TYPE_CHECKING

from rich.text import Text

from railmodel.app.printed import grid
from railmodel.as_bent.correct import NextPiece
from railmodel.as_bent.deviations import Laying
from railmodel.as_bent.piece import Piece
from railmodel.as_bent.to_bender import Logged, Rest, tools, was_set
from railmodel.as_bent.words import (
    LEARNED,
    common_words,
    deviation_words,
    known_words,
    plane_words,
    straight_words,
    taken_words,
)

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
        table = grid("what", "planned", "as bent", "off", "sure to", "")
        for one in piece.shape:
            name, planned, found, off, sure = known_words(piece, one)
            table.add_row(*(Text(cell) for cell in (name, planned, found, off, sure, LEARNED[one.learned])))
        console.print(table)
    for laying in layings:
        rms = frame.say(laying.rms)
        console.print(Text(f"Laid on {laying.name}: {rms} off (weighted root mean square)", style="bold"))
        table = grid("place", "counts", "back", "right", "up", "sure to", "gap", "wanted", "")
        for place in laying.deviations:
            table.add_row(*(Text(cell) for cell in deviation_words(piece, place)))
        console.print(table)
    for source in piece.sources:
        console.print(Text(f"Spread: {source}"))


def show_next(piece: Piece, found: NextPiece, console: "Console") -> None:
    """Print what to change for the next piece."""
    frame = piece.frame
    console.print(Text(f"For the next {piece.part.label}, from {piece.name}", style="bold"))
    if not all(was_set(piece)[1]):
        console.print(Text("The record does not say what the bender was set to: what was planned is taken."))
    table = grid("bend", "came out", "chance gives", "taken off", "set was", "set now", "mark was", "mark now", "plane")
    for one in found.bends:
        cells = (
            str(one.bend), f"{degrees(one.error):+.2f}", f"{degrees(one.sigma):.2f}", taken_words(one),
            f"{degrees(one.set_was):.2f}", f"{degrees(one.set_now):.2f}", frame.say(one.mark_was),
            frame.mark(one.mark_now), plane_words(piece, one.roll_step, one.turn, one.shim),
        )  # fmt: skip
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    for words in common_words(found, [tool.name for tool in tools(piece)]):
        console.print(Text(words))
    for straight in found.straights:
        if straight.step != "leave":
            console.print(Text(straight_words(piece, straight)))
    if abs(found.cut_now - found.cut_was) > 1e-6:
        console.print(Text(f"Cut length: {frame.mark(found.cut_was)} was, {frame.mark(found.cut_now)} now."))
    if found.nothing:
        console.print(Text("Nothing to change: all of it is what chance gives."))


def show_rest(piece: Piece, rest: Rest, console: "Console") -> None:
    """Print what to do with the bends that are left."""
    frame, found = piece.frame, rest.found
    console.print(Text(f"{piece.part.label}, bent to bend {piece.bent}: what is left to do", style="bold"))
    table = grid("bend", "aim for", "planned", "set", "mark", "mark planned")
    for one in rest.commands:
        cells = (
            str(one.bend), f"{degrees(one.angle):.2f}", f"{degrees(one.planned):.2f}", f"{degrees(one.set_angle):.2f}",
            frame.mark(one.mark), frame.mark(one.mark_planned),
        )  # fmt: skip
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    console.print(
        Text(
            f"That takes the places that matter from {frame.say(found.error_before)} off to "
            f"{frame.say(found.error_after)} (weighted root mean square, across the tube, laid as well as it fits): "
            f"{100 * found.removed:.0f} % of the error is removed."
        )
    )
    tail = float(found.straight[-1])
    if rest.trim >= 0:
        console.print(Text(f"Leave the last straight {frame.mark(tail)} long; cut {frame.say(rest.trim)} off its end."))
    else:
        console.print(Text(f"The last straight comes out {frame.say(-rest.trim)} shorter than {frame.say(tail)}."))
    if found.at_limit:
        bends = ", ".join(map(str, found.at_limit))
        console.print(Text(f"At its limit: bend {bends}; more would need another die or a longer straight."))


def show_logged(logged: Logged, console: "Console") -> None:
    """Print what went into the record of test bends."""
    count = len(logged.added)
    console.print(Text(f"{count} bend{'' if count == 1 else 's'} added to {logged.path.name}."))
    for why in logged.passed:
        console.print(Text(f"Not added: {why}."))
