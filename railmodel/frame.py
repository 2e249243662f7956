"""A job made real: every part of both hands, placed in vehicle axes (mm, radians).

What makes no shape at all (two points on one spot, an offset that cannot be solved) becomes a finding, and the
other parts are still built.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from railmodel.crossmembers import NoMeeting, crossing_axis, crossmember
from railmodel.dies import Wanted, choose_dies, why_none
from railmodel.errors import GeometryError
from railmodel.findings import Finding
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.path import Bend, Move, Offset, Straight, TightOffset, rows_from_moves
from railmodel.geometry.points import point_faults, points_on_centreline
from railmodel.geometry.rows import Array, BendRows, rows_from_points, wrap
from railmodel.geometry.section import Section
from railmodel.job.crossmember import Crossmember
from railmodel.job.parts import BendStep, OffsetStep, Part, Start, Step
from railmodel.job.reader import JobFile
from railmodel.job.schema import Job
from railmodel.job.shop import Shop
from railmodel.part import Face, Hand, RailPart, way_at
from railmodel.tolerances import ANGLE, LENGTH
from railmodel.units import LIMIT, Unit, format_decimal, format_tape

DEFAULT_ROLL_WITHIN = float(np.radians(1.5))
UP = (0.0, 0.0, 1.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """The whole job in vehicle axes. Two frames are equal only when they are the same one.

    Args:
        source: the job file it was made from.
        parts: every part that makes a shape; a pair gives its right part, then its left one.
        faults: findings about parts that make no shape.
    """

    source: JobFile
    parts: tuple[RailPart, ...]
    faults: tuple[Finding, ...]

    @property
    def job(self) -> Job:
        """The job as read."""
        return self.source.job

    @property
    def shop(self) -> Shop | None:
        """The shop the job names, if any."""
        return self.source.shop

    @property
    def unit(self) -> Unit:
        """The job's unit, for everything shown."""
        return self.job.units

    @property
    def roll_within(self) -> float:
        """How far a bend's roll may lie off a quarter turn before it stops the job, radians."""
        return DEFAULT_ROLL_WITHIN if self.shop is None else self.shop.roll_within

    def say(self, length: float) -> str:
        """A length in words, in the job's unit."""
        return say_length(length, self.unit)

    def mark(self, length: float) -> str:
        """A length as it is marked: decimal, and for inches the nearest mark of the shop's tape."""
        if self.unit == "mm":
            return self.say(length)
        step = self.shop.tape_step if self.shop is not None else 16
        return f"{format_decimal(length, 'in')} ({format_tape(length, step)})"


def say_length(length: float, unit: Unit) -> str:
    """A length (mm) in words, in a unit: `4.125 in`."""
    return f"{format_decimal(length, unit)} {unit}"


class _Fault(Exception):
    """A part that makes no shape, with its findings."""

    def __init__(self, *findings: Finding) -> None:
        super().__init__(*(finding.says for finding in findings))
        self.findings = findings


def build_frame(source: JobFile) -> Frame:
    """Every part of a job, both hands, and findings for those that make no shape."""
    parts: list[RailPart] = []
    faults: list[Finding] = []
    for part in source.job.parts:
        try:
            right = _realised(part, source)
        except _Fault as fault:
            faults += fault.findings
            continue
        parts += [right] if part.hand == "single" else [right, right.mirrored()]
    for written in source.job.crossmembers:
        try:
            parts.append(_crossmember(written, parts, source))
        except _Fault as fault:
            faults += fault.findings
    return Frame(source=source, parts=tuple(parts), faults=tuple(faults))


def _realised(part: Part, source: JobFile) -> RailPart:
    tube = source.job.tubes[part.tube]
    section = tube.section
    build = _from_points if part.points is not None else _from_path if part.path is not None else _from_rows
    line, dies, offsets, sides = build(part, source, section)
    _turning(part, line.rows.angle)
    if not line.length <= LIMIT:
        says = (
            f"{part.name}: the rail comes out {say_length(line.length, source.job.units)} long, and no rail may be "
            f"longer than {say_length(LIMIT, source.job.units)}; correct its angles, radii and straights"
        )
        found = _fault(part, "length", says, line.start.at, None)
        raise _Fault(replace(found, found=line.length, needs=LIMIT, unit="length"))
    return RailPart(
        name=part.name,
        hand="single" if part.hand == "single" else "right",
        tube=part.tube,
        section=section,
        line=line,
        sides=sides,
        dies=dies,
        written="points" if part.points is not None else "path" if part.path is not None else "rows",
        offsets=offsets,
        leading_end=part.leading_end or "front",
        seam=part.seam,
        seam_on=tube.seam_on,
        grade=tube.grade,
    )


def _crossmember(written: Crossmember, parts: Sequence[RailPart], source: JobFile) -> RailPart:
    """A crossmember between two rails that are built already.

    Raises:
        _Fault: a rail that is not there, or that it does not meet.
    """
    tube = source.job.tubes[written.tube]
    say = partial(say_length, unit=source.job.units)
    try:
        axis, rails = crossing_axis(written, tube.section, _rails(written, parts), say)
        return crossmember(written.name, written.tube, tube.section, tube.grade, axis, rails, written.ends)
    except NoMeeting as error:
        says = f"{written.name}: {error}; move it, or name the rails it runs between"
        finding = Finding(rule="crossmember", level="stop", says=says, part=written.name, hand="single")
        raise _Fault(finding) from None


def _rails(written: Crossmember, parts: Sequence[RailPart]) -> list[RailPart]:
    """The two rails a crossmember runs between.

    Raises:
        NoMeeting: there are not two of them.
    """
    names = written.between
    rails = [part for part in parts if part.hand != "single" and part.name == names[0]] if len(names) == 1 else []
    for name in names if len(names) == 2 else ():
        rails += [part for part in parts if part.label == name]
    if len(rails) != 2:
        known = ", ".join(part.label for part in parts)
        raise NoMeeting(f"between {' and '.join(names)} there are not two rails; the job's parts are {known}")
    return rails


_Built = tuple[Centreline, tuple[str | None, ...], tuple[tuple[int, Offset], ...], tuple[Face, Face]]


def _from_points(part: Part, source: JobFile, section: Section) -> _Built:
    assert part.points is not None
    points = np.array([point.at for point in part.points], dtype=float)
    faults = [
        _fault(part, rule, f"{part.name}: {says}", where, number)
        for rule, says, where, number in point_faults(points, partial(say_length, unit=source.job.units))
    ]
    if faults:
        raise _Fault(*faults)
    sides, top = _sides(part, points[1] - points[0]), part.top or UP
    if part.points_at in ("inside", "outside") and "inboard" not in sides:
        says = f"{part.name}: points_at {part.points_at} belongs to a pair that runs along the vehicle; use centre"
        raise _Fault(_fault(part, "points_at", says, points[0], None))
    try:
        centre = points_on_centreline(points, top, part.points_at or "centre", section, sides)
        sharp = rows_from_points(centre, np.zeros(len(points) - 2), Pose.of(points[0], points[1] - points[0], top).u)
    except GeometryError as error:
        raise _Fault(_fault(part, "top face", f"{part.name}: {error}", points[0], None)) from None

    _legs_left(part, points, centre, source)

    def straights(radii: Sequence[float]) -> Array:
        return rows_from_points(centre, radii, top).straights

    radii, dies = _tooled(part, part.points[1:-1], sharp.roll, section, source, straights)
    return Centreline.from_points(centre, radii, top), dies, (), sides


def _legs_left(part: Part, points: Array, centre: Array, source: JobFile) -> None:
    """See that every leg of points measured to a face is still there on the centreline.

    Raises:
        _Fault: a leg so short between bends that the centreline would run it backwards.
    """
    legs, say = np.diff(points, axis=0), partial(say_length, unit=source.job.units)
    lengths = np.linalg.norm(legs, axis=1)
    left = np.sum(legs * np.diff(centre, axis=0), axis=1) / lengths
    faults = []
    for i in np.flatnonzero(left <= LENGTH).tolist():
        says = (
            f"{part.name}: points {i + 1} and {i + 2} are {say(lengths[i])} apart at the {part.points_at}, which "
            f"leaves {say(left[i])} between the same two corners of the centreline; move them more than "
            f"{say(-left[i])} further apart, or give points_at: centre and the corners of the centreline"
        )
        found = _fault(part, "points_at", says, points[i], i or None)
        faults.append(replace(found, found=float(left[i]), needs=0.0, unit="length"))
    if faults:
        raise _Fault(*faults)


def _turning(part: Part, angles: Iterable[float | None]) -> None:
    """See that every bend as written, in order, turns at all; None where that is not known yet.

    Raises:
        _Fault: bends of 0 degrees.
    """
    flat = [i for i, angle in enumerate(angles, start=1) if angle is not None and angle <= ANGLE]
    if flat:
        raise _Fault(*(
            _fault(part, "no bend", f"{part.name} bend {_number(part, i)} turns by 0 degrees; take it out", None, i)
            for i in flat
        ))  # fmt: skip


def _from_path(part: Part, source: JobFile, section: Section) -> _Built:
    assert part.path is not None
    path = part.path
    start, sides = _start(part)
    turns: list[BendStep | OffsetStep] = []  # an offset stands here twice: two bends of one die
    rolls: list[float] = []
    for step in path:
        for turn, back in ((step.bend, False), (step.offset, False), (step.offset, True)):
            if turn is None:
                continue
            roll = _roll(part, turn.toward, sides, len(turns) + 1)
            turns.append(turn)
            rolls.append(float(wrap(roll + np.pi)) if back else roll)
    _turning(part, (turn.angle for turn in turns))

    def straights(radii: Sequence[float]) -> Array:
        try:
            return rows_from_moves(_moves(part, path, rolls, radii, source)[0]).straights
        except _Fault:  # an offset that this radius cannot make has no room
            return np.full(len(turns) + 1, -np.inf)

    radii, dies = _tooled(part, turns, rolls, section, source, straights)
    moves, offsets = _moves(part, path, rolls, radii, source)
    return Centreline(rows_from_moves(moves), start), dies, offsets, sides


def _moves(
    part: Part, path: Sequence[Step], rolls: Sequence[float], radii: Sequence[float], source: JobFile
) -> tuple[list[Move], tuple[tuple[int, Offset], ...]]:
    """The moves of a path, and its offsets with the number of their first bend.

    Raises:
        _Fault: an offset that its radius cannot make.
    """
    moves: list[Move] = []
    offsets: list[tuple[int, Offset]] = []
    bends = 0
    for step in path:
        if step.straight is not None:
            moves.append(Straight(step.straight))
        elif step.bend is not None:
            moves.append(Bend(rolls[bends], step.bend.angle, radii[bends]))
            bends += 1
        elif (given := step.offset) is not None:
            offset = Offset(roll=rolls[bends], by=given.by, radius=radii[bends], angle=given.angle, over=given.over)
            try:
                moves += offset.moves
            except TightOffset as error:
                raise _Fault(_tight(part, bends + 1, error, source)) from None
            offsets.append((bends + 1, offset))
            bends += 2
    return moves, tuple(offsets)


def _from_rows(part: Part, source: JobFile, section: Section) -> _Built:
    assert part.rows is not None
    start, sides = _start(part)
    _turning(part, (row.angle for row in part.rows))
    sharp = BendRows.of(
        [row.distance for row in part.rows],
        [row.rotation for row in part.rows],
        [row.angle for row in part.rows],
        [0.0] * len(part.rows),
        part.tail or 0.0,
    )
    radii, dies = _tooled(part, part.rows, sharp.roll, section, source, lambda radii: sharp.straights)
    return Centreline(replace(sharp, radius=np.array(radii)), start), dies, (), sides


class _Given(Protocol):
    """Whatever names a bend's tooling in a job file."""

    @property
    def radius(self) -> float | None: ...
    @property
    def die(self) -> str | None: ...


def _tooled(
    part: Part,
    given: Sequence[_Given],
    rolls: ArrayLike,
    section: Section,
    source: JobFile,
    straights: Callable[[Sequence[float]], Array],
) -> tuple[list[float], tuple[str | None, ...]]:
    """Radius and die of every bend as written.

    Raises:
        _Fault: bends that the shop has no die for.
    """
    wanted = [
        Wanted(way=way_at(section, float(roll)), radius=bend.radius, die=bend.die)
        for bend, roll in zip(given, np.asarray(rolls), strict=True)
    ]
    order = slice(None, None, -1 if part.leading_end == "rear" else 1)  # grip and tail belong to the end bent first
    chosen = choose_dies(wanted[order], section, source.shop, lambda radii: straights(radii[order])[order])[order]
    say = partial(say_length, unit=source.job.units)
    why = [why_none(section, want.way, source.shop, say) for want in wanted]
    faults = [
        _fault(part, "no die", f"{part.name} bend {_number(part, i + 1)}: {why[i]}", None, i + 1)
        for i, choice in enumerate(chosen)
        if choice.radius is None
    ]
    if faults:
        raise _Fault(*faults)
    return [choice.radius for choice in chosen if choice.radius is not None], tuple(choice.die for choice in chosen)


def _start(part: Part) -> tuple[Pose, tuple[Face, Face]]:
    start = part.start or Start()
    try:
        return Pose.of(start.at, start.heading, start.top), _sides(part, start.heading)
    except GeometryError as error:
        raise _Fault(_fault(part, "top face", f"{part.name}: {error}", start.at, None)) from None


def _sides(part: Part, heading: Sequence[float] | np.ndarray) -> tuple[Face, Face]:
    """Names of the faces at +s and -s of the part as written: a pair running along the vehicle has an inside."""
    x, y, z = (abs(value) for value in heading)
    if part.hand == "single" or x < max(y, z):
        return "right", "left"
    return ("outboard", "inboard") if heading[0] > 0 else ("inboard", "outboard")


def _roll(part: Part, toward: Face, sides: tuple[Face, Face], number: int) -> float:
    rolls: dict[Face, float] = {"top": 0.0, sides[1]: np.pi / 2, "bottom": np.pi, sides[0]: -np.pi / 2}
    rolls |= {"left": np.pi / 2, "right": -np.pi / 2}
    if toward in rolls:
        return rolls[toward]
    says = (
        f"{part.name} bend {_number(part, number)} goes toward {toward}, but this part has no inboard and outboard "
        "face; use top, bottom, left or right"
    )
    raise _Fault(_fault(part, "face", says, (part.start or Start()).at, number))


def _tight(part: Part, number: int, error: TightOffset, source: JobFile) -> Finding:
    offset, unit = error.offset, source.job.units
    assert offset.over is not None
    says = (
        f"{part.name} bend {_number(part, number)}: an offset by {say_length(offset.by, unit)} over "
        f"{say_length(offset.over, unit)} does not fit two bends of radius {say_length(offset.radius, unit)}; "
        f"lengthen over to at least {say_length(error.least_over, unit)}, or use a smaller by or radius"
    )
    found = _fault(part, "offset", says, None, number)
    return replace(found, found=offset.over, needs=error.least_over, unit="length")


def _fault(part: Part, rule: str, says: str, where: Sequence[float] | np.ndarray | None, bend: int | None) -> Finding:
    """A finding that stops a part; `bend` counts from the front as written."""
    spot = None if where is None else (float(where[0]), float(where[1]), float(where[2]))
    number = None if bend is None else _number(part, bend)
    return Finding(rule=rule, level="stop", says=says, part=part.name, hand=_hand(part), where=spot, bend=number)


def _number(part: Part, written: int) -> int:
    """The number of a bend counted from the leading end, from its number counted from the front."""
    if part.leading_end != "rear":
        return written
    if part.points is not None:
        count = len(part.points) - 2
    else:
        count = len(part.rows or ()) + sum(
            (step.bend is not None) + 2 * (step.offset is not None) for step in part.path or ()
        )
    return count + 1 - written


def _hand(part: Part) -> Hand:
    return "single" if part.hand == "single" else "right"
