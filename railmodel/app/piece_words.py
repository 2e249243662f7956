"""A measured piece and what to change, as rows of words: alike on the terminal and on the page."""

from collections.abc import Iterator
from math import degrees

from railmodel.as_bent.correct import NextPiece
from railmodel.as_bent.piece import Piece
from railmodel.as_bent.to_bender import Logged, Rest, tools
from railmodel.as_bent.words import (
    LEARNED,
    common_words,
    end_words,
    error_words,
    known_words,
    plane_words,
    scatter_words,
    straight_words,
    taken_words,
)

SHAPE_HEADS = ("what", "planned", "as bent", "off", "sure to", "")
PLACE_HEADS = ("place", "counts", "back", "right", "up", "sure to", "gap", "wanted", "")
NEXT_HEADS = ("bend", "came out", "chance gives", "taken off", "set was", "set now", "mark was", "mark now", "plane")
REST_HEADS = ("bend", "aim for", "planned", "set", "mark", "mark planned")


def shape_rows(piece: Piece) -> Iterator[tuple[str, ...]]:
    """Every straight, turn, angle and radius; see `SHAPE_HEADS`."""
    for one in piece.shape:
        yield *known_words(piece, one), LEARNED[one.learned]


def next_rows(piece: Piece, found: NextPiece) -> Iterator[tuple[str, ...]]:
    """What to change bend by bend for the next piece; see `NEXT_HEADS`."""
    frame = piece.frame
    for one in found.bends:
        yield (
            str(one.bend), error_words(one), f"{degrees(one.sigma):.2f}", taken_words(one),
            f"{degrees(one.set_was):.2f}", f"{degrees(one.set_now):.2f}", frame.say(one.mark_was),
            frame.mark(one.mark_now), plane_words(piece, one.roll_step, one.turn, one.shim),
        )  # fmt: skip


def next_notes(piece: Piece, found: NextPiece) -> Iterator[str]:
    """What else is to be said of the next piece."""
    frame = piece.frame
    yield from scatter_words(piece, found)
    yield from common_words(found, [tool.name for tool in tools(piece)])
    for straight in found.straights:
        if straight.step != "leave":
            yield straight_words(piece, straight)
    if abs(found.cut_now - found.cut_was) > 1e-6:
        yield f"Cut length: {frame.mark(found.cut_was)} was, {frame.mark(found.cut_now)} now."
    if found.nothing:
        yield "Nothing to change: all of it is what chance gives."


def rest_rows(piece: Piece, rest: Rest) -> Iterator[tuple[str, ...]]:
    """What to do bend by bend with what is left; see `REST_HEADS`."""
    frame = piece.frame
    for one in rest.commands:
        yield (
            str(one.bend), f"{degrees(one.angle):.2f}", f"{degrees(one.planned):.2f}", f"{degrees(one.set_angle):.2f}",
            frame.mark(one.mark), frame.mark(one.mark_planned),
        )  # fmt: skip


def rest_notes(piece: Piece, rest: Rest) -> Iterator[str]:
    """How well that does, and what becomes of the end."""
    frame, found = piece.frame, rest.found
    yield (
        f"That takes the places that matter from {frame.say(found.error_before)} off to "
        f"{frame.say(found.error_after)} (weighted root mean square, across the tube, laid as well as it fits): "
        f"{100 * found.removed:.0f} % of the error is removed."
    )
    yield from end_words(piece, rest)


def logged_lines(logged: Logged) -> Iterator[str]:
    """What went into the record of test bends, and why other bends did not."""
    count = len(logged.added)
    yield f"{count} bend{'' if count == 1 else 's'} added to {logged.path.name}."
    for why in logged.passed:
        yield f"Not added: {why}."
