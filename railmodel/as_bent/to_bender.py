"""From measured pieces to the bender: corrections for the next, commands for one half bent, lines for the log."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from pathlib import Path

import numpy as np

from railmodel.as_bent.correct import Errors, NextPiece, next_piece
from railmodel.as_bent.deviations import targets
from railmodel.as_bent.piece import Piece
from railmodel.as_bent.remaining import Remaining, Room, remaining
from railmodel.as_bent.settings import at_odds, digest_of, index_of, logged_bends, note_of, read_by_protractor
from railmodel.as_bent.several import ASUNDER, Told, asunder, together
from railmodel.bending.bend_log import LoggedBend, contradiction
from railmodel.bending.bend_log_append import append_bend
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.work import DEFAULT_ANGLE_STEP, ToolUse, record_path, shop_work
from railmodel.errors import InputError
from railmodel.geometry.rows import Array
from railmodel.sureness.sensitivity import tool_key, tools_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """What to do at a bend that is left.

    Args:
        bend: its number from the leading end.
        angle: finished angle to aim for, radians.
        planned: as planned, radians.
        set_angle: what to set, rounded to the controller's step, radians.
        mark: where to mark the flat tube, from the stock's leading end, mm.
        mark_planned: as planned, mm.
        straight: straight before the bend, tangent to tangent, mm.
    """

    bend: int
    angle: float
    planned: float
    set_angle: float
    mark: float
    mark_planned: float
    straight: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Rest:
    """The rest of a piece half bent.

    Args:
        commands: bend by bend.
        found: how well they do.
        trim: what to cut off the tail when all is bent, mm; below 0 so much is missing.
    """

    commands: tuple[Command, ...]
    found: Remaining
    trim: float


def tools(piece: Piece) -> list[ToolUse]:
    """What each bend is made with, from the leading end."""
    known = tools_of(piece.frame)
    return [known[tool_key(piece.part, i)] for i in range(piece.rail.columns.bends)]


def marks_of(piece: Piece) -> MarkOut:
    """How the part is marked out."""
    return next(one for one in shop_work(piece.frame).mark_outs if one.reading.part.label == piece.part.label)


def angle_step(piece: Piece) -> float:
    """Step of the set angle, radians."""
    shop = piece.frame.shop
    return shop.bender.set_angle_step if shop is not None else DEFAULT_ANGLE_STEP


def was_set(piece: Piece) -> tuple[Array, list[bool]]:
    """(n,) what the bender was set to, radians, and whether the record says so; else it is what was planned.

    A piece that was set as planned was set to the bend sheet of its day: where its bends went into the record of test
    bends, which changes the sheet, they stand there.

    Raises:
        InputError: the record says it of a bend there is not.
    """
    planned = np.array([one.set_angle for one in marks_of(piece).bends])
    given, count = piece.record.set, len(planned)
    if given is None or given == "as planned":
        if given is not None:
            for index, line in logged_bends(piece.frame, piece.part, piece.record).items():
                planned[index] = line.set_angle
        return planned, [given is not None and i < piece.bent for i in range(count)]
    said = [False] * count
    for one in given:
        if not 1 <= one.bend <= count:
            raise InputError(f"{piece.name}: set: found bend {one.bend}; allowed: 1 to {count}")
        index = index_of(piece.part, piece.record, one.bend)
        planned[index], said[index] = one.angle, True
    return planned, said


def next_for(*pieces: Piece) -> NextPiece:
    """What to change for the next piece of the last one's hand, which was bent as it says.

    Args:
        pieces: one, or several of one part in the order they were bent; of the other hand may be among them.

    Raises:
        InputError: a record cannot be of its piece, one is not bent to its end, or they do not go together.
    """
    piece = pieces[-1]
    _see_that_they_go_together(pieces)
    owned = tools(piece)
    dies, was = [(tool.name, tool.tube, tool.way) for tool in owned], was_set(piece)[0]
    springback = [tool.springback for tool in owned]
    assert piece.sifted is not None
    if len(pieces) == 1:
        errors = Errors.of_one(piece.sifted.solution, piece.rail)
    else:
        told = [_told(one, piece, owned, was) for one in pieces]
        _see_that_they_agree(pieces, told)
        errors = together(told)
    return next_piece(errors, piece.rail, marks_of(piece), springback, dies, was, angle_step(piece))


def _told(one: Piece, last: Piece, owned: Sequence[ToolUse], was: Array) -> Told:
    """What a piece tells, had it been set like the last one."""
    changed, own = np.zeros(one.rail.columns.count), was_set(one)[0]
    changed[one.rail.columns.block("angle")] = [
        tool.springback.finished(float(a)) - tool.springback.finished(float(b))
        for tool, a, b in zip(owned, own, was, strict=True)
    ]
    assert one.sifted is not None
    return Told(one.sifted, one.rail, changed, one.part.hand != last.part.hand)


def _see_that_they_agree(pieces: Sequence[Piece], told: Sequence[Told]) -> None:
    """See that what the pieces tell has anything in common.

    Raises:
        InputError: one is of another shape than the others.
    """
    odd = asunder(told)
    if odd is None:
        return
    index, times = odd
    others = " and ".join(one.name for i, one in enumerate(pieces) if i != index)
    raise InputError(
        f"{pieces[index].name}: does not agree with {others}: about a common shape its readings are off "
        f"{times**0.5:.0f} times what chance and measuring explain (allowed: {ASUNDER**0.5:.0f} times); check hand:, "
        "numbered_from: and set: of the records, or leave that piece out"
    )


def _see_that_they_go_together(pieces: Sequence[Piece]) -> None:
    """See that every piece can be corrected from, and that they are different pieces of one part.

    Raises:
        InputError: they are not.
    """
    problems = [f.says for one in pieces if one.sifted is None for f in one.findings if f.level == "stop"]
    last, seen = pieces[-1], dict[str, str]()
    for one in pieces:
        if one.part.name != last.part.name:
            problems.append(
                f"{one.name}: is of {one.part.label} and {last.name} of {last.part.label}; give records of one part"
            )
        elif one.bent < one.rail.columns.bends:
            problems.append(f"{one.name}: bent: only {one.bent} bends are made; measure the finished piece")
        digest = digest_of(one.record)
        if digest in seen:
            problems.append(f"{one.name}: holds the same as {seen[digest]}; give the record of each piece once")
        seen.setdefault(digest, one.name)
    if problems:
        raise InputError(problems)


def rest_for(piece: Piece) -> Rest:
    """What to do with the bends that are left.

    Raises:
        InputError: the record cannot be of this piece, or all of it is bent.
    """
    if piece.sifted is None:
        raise InputError([finding.says for finding in piece.findings if finding.level == "stop"])
    n, bent = piece.rail.columns.bends, piece.bent
    if bent >= n:
        raise InputError(f"{piece.name}: all {n} bends are made; nothing is left to change on this piece")
    owned, now = tools(piece), piece.sifted.solution.line.rows
    found = remaining(
        piece.part.read, now, bent, targets(piece.frame, piece.part, piece.record.weights), _rooms(owned, bent)
    )
    marks, plan, step = marks_of(piece), piece.part.read.line.rows, angle_step(piece)
    commands, shift = [], 0.0
    for k, i in enumerate(range(bent, n)):
        before = now.straights if k == 0 else plan.straights
        shift += float(found.straight[k] - before[i])
        if k:
            shift += _use(piece, i - 1, float(found.angle[k - 1]))
        exact = owned[i].springback.set_angle(float(found.angle[k]))
        commands.append(
            Command(
                bend=i + 1, angle=float(found.angle[k]), planned=float(plan.angle[i]),
                set_angle=round(exact / step) * step if step else exact, mark=marks.bends[i].mark + shift,
                mark_planned=marks.bends[i].mark, straight=float(found.straight[k]),
            )
        )  # fmt: skip
    left = float(plan.tail) - shift - _use(piece, n - 1, float(found.angle[-1]))
    trim = left - float(found.straight[-1]) + marks.trim_tail
    return Rest(commands=tuple(commands), found=found, trim=trim)


def _use(piece: Piece, bend: int, angle: float) -> float:
    """How much more tube a bend takes up at another angle, mm."""
    rows = piece.part.read.line.rows
    return float((1 - piece.rail.stretch[bend]) * rows.radius[bend] * (angle - rows.angle[bend]))


def _rooms(owned: Sequence[ToolUse], bent: int) -> list[Room]:
    rooms = []
    for i in range(bent, len(owned)):
        die = owned[i].die
        least = 0.0 if die is None else (die.grip if i == 0 else die.between) or 0.0
        most = inf if die is None or die.max_angle is None else owned[i].springback.finished(die.max_angle)
        rooms.append(Room(straight=least, angle=min(most, np.pi * 0.98)))
    last = owned[-1].die
    return [*rooms, Room(straight=0.0 if last is None else last.tail or 0.0, angle=0.0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """What went into the record of test bends.

    Args:
        path: the record.
        added: bends added.
        passed: why others were not, a sentence each.
    """

    path: Path
    added: tuple[LoggedBend, ...]
    passed: tuple[str, ...]


def log_lines(piece: Piece) -> tuple[list[LoggedBend], list[str]]:
    """A line for the record of test bends for each bend that was read by protractor, and why others have none.

    Raises:
        InputError: the record cannot be of this piece.
    """
    if piece.sifted is None:
        raise InputError([finding.says for finding in piece.findings if finding.level == "stop"])
    angles, said = was_set(piece)
    size, lines, passed = piece.part.section, list[LoggedBend](), list[str]()
    for i, tool in enumerate(tools(piece)[: piece.bent]):
        read = read_by_protractor(piece.sifted.solution.readings.taken, i)
        bend = LoggedBend(
            die=tool.name or "", tube=tool.tube, set_angle=float(angles[i]), measured_angle=read or 0.0,
            date=piece.record.date or "", wall=size.wall, grade=piece.part.grade or "", heat=piece.record.heat or "",
            note=note_of(piece.part, i, piece.record),
        )  # fmt: skip
        why = None
        if tool.name is None:
            why = "has no die of the shop's"
        elif not said[i]:
            why = "has no set angle in the record; add set: as planned, or what was set"
        elif not read:  # what the other readings tell leans on the plan, and would teach the record its own answer
            why = "has no angle by protractor that counts"
        else:
            why = at_odds(tool.springback, bend.set_angle, read)
            why = f"has {why}" if why else contradiction(bend)
        if why:
            passed.append(f"bend {i + 1} {why}")
        else:
            lines.append(bend)
    return lines, passed


def log_pieces(*pieces: Piece) -> Logged:
    """Add the bends of pieces to the shop's record of test bends; nothing that is there is touched.

    Of several pieces, one that is there already is passed over.

    Raises:
        InputError: the shop keeps none, every piece is in it already, or it cannot be written.
    """
    frame = pieces[0].frame
    path = record_path(frame)
    if path is None or frame.shop is None:
        raise InputError("--log: the job's shop keeps no record of test bends; add test_bends: to the shop file")
    lines, passed, there = list[LoggedBend](), list[str](), list[str]()
    for piece in pieces:
        mark = f"record {digest_of(piece.record)}"
        if any(mark in bend.note for bend in shop_work(frame).log.bends):
            there.append(f"{piece.name} is in {path.name} already ({mark})")
            continue
        own, why = log_lines(piece)
        if piece.record.set is None:
            why = [
                f"any bend of {piece.name}: it does not say what the bender was set to, without which a measured angle "
                "tells nothing of springback; add set: as planned, or set: with the angle set at each bend"
            ]
        elif len(pieces) > 1:
            why = [f"{piece.name}: {words}" for words in why]
        lines, passed = [*lines, *own], [*passed, *why]
    if len(there) == len(pieces):
        raise InputError([f"--log: {words}; nothing was added" for words in there])
    for bend in lines:
        append_bend(path, bend, frame.shop.units)
    return Logged(path=path, added=tuple(lines), passed=(*there, *passed))
