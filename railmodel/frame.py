"""A job made real: every part of both hands, placed in vehicle axes (mm, radians).

What makes no shape at all (two points on one spot, an offset that cannot be solved) becomes a finding, and the
other parts are still built.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from railmodel.errors import GeometryError
from railmodel.findings import Finding
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.path import Bend, Move, Offset, Straight, TightOffset, rows_from_moves
from railmodel.geometry.points import point_faults, points_on_centreline
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.job.parts import Part, Start
from railmodel.job.read import JobFile
from railmodel.job.schema import Job
from railmodel.job.shop import Shop
from railmodel.part import Face, Hand, RailPart
from railmodel.units import Unit, format_decimal

DEFAULT_ROLL_WITHIN = float(np.radians(1.5))
UP = (0.0, 0.0, 1.0)


@dataclass(frozen=True, kw_only=True)
class Frame:
    """The whole job in vehicle axes.

    Args:
        job: the job as read.
        shop: the shop it names, if any.
        parts: every part that makes a shape; a pair gives its right part, then its left one.
        faults: findings about parts that make no shape.
    """

    job: Job
    shop: Shop | None
    parts: tuple[RailPart, ...]
    faults: tuple[Finding, ...]

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


def say_length(length: float, unit: Unit) -> str:
    """A length (mm) in words, in a unit: `4.125 in`."""
    return f"{format_decimal(length, unit)} {unit}"


class _Fault(Exception):
    """A part that makes no shape, with its findings."""

    def __init__(self, *findings: Finding) -> None:
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
    return Frame(job=source.job, shop=source.shop, parts=tuple(parts), faults=tuple(faults))


def _realised(part: Part, source: JobFile) -> RailPart:
    tube = source.job.tubes[part.tube]
    section = tube.section
    build = _from_points if part.points is not None else _from_path if part.path is not None else _from_rows
    line, dies, offsets, sides = build(part, source, section)
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


_Built = tuple[Centreline, tuple[str | None, ...], tuple[tuple[int, Offset], ...], tuple[Face, Face]]


def _from_points(part: Part, source: JobFile, section: Section) -> _Built:
    assert part.points is not None
    points = np.array([point.at for point in part.points], dtype=float)
    faults = [
        _fault(part, rule, f"{part.name}: {says}", where, number)
        for rule, says, where, number in point_faults(points, partial(say_length, unit=source.job.units))
    ]
    inner = part.points[1:-1]
    radii = [_radius(part, i + 1, point.radius, point.die, source) for i, point in enumerate(inner)]
    faults += [radius for radius in radii if isinstance(radius, Finding)]
    if faults:
        raise _Fault(*faults)
    sides, top = _sides(part, points[1] - points[0]), part.top or UP
    if part.points_at in ("inside", "outside") and "inboard" not in sides:
        says = f"{part.name}: points_at {part.points_at} belongs to a pair that runs along the vehicle; use centre"
        raise _Fault(_fault(part, "points_at", says, points[0], None))
    try:
        centre = points_on_centreline(points, top, part.points_at or "centre", section, sides)
        line = Centreline.from_points(centre, [radius for radius in radii if isinstance(radius, float)], top)
    except GeometryError as error:
        raise _Fault(_fault(part, "top face", f"{part.name}: {error}", points[0], None)) from None
    return line, tuple(point.die for point in inner), (), sides


def _from_path(part: Part, source: JobFile, section: Section) -> _Built:
    assert part.path is not None
    start, sides = _start(part)
    moves: list[Move] = []
    dies: list[str | None] = []
    offsets: list[tuple[int, Offset]] = []
    faults: list[Finding] = []
    for step in part.path:
        if step.straight is not None:
            moves.append(Straight(step.straight))
            continue
        turn = step.bend or step.offset
        assert turn is not None
        number = len(dies) + 1
        radius = _radius(part, number, turn.radius, turn.die, source)
        roll = _roll(part, turn.toward, sides, number)
        for problem in (radius, roll):
            if isinstance(problem, Finding):
                faults.append(problem)
        if isinstance(radius, Finding) or isinstance(roll, Finding):
            continue
        if step.bend is not None:
            moves.append(Bend(roll, step.bend.angle, radius))
            dies.append(turn.die)
            continue
        assert step.offset is not None
        offset = Offset(roll=roll, by=step.offset.by, radius=radius, angle=step.offset.angle, over=step.offset.over)
        try:
            moves += offset.moves
        except TightOffset as error:
            faults.append(_tight(part, number, error, source))
            continue
        offsets.append((number, offset))
        dies += [turn.die, turn.die]
    if faults:
        raise _Fault(*faults)
    return Centreline(rows_from_moves(moves), start), tuple(dies), tuple(offsets), sides


def _from_rows(part: Part, source: JobFile, section: Section) -> _Built:
    assert part.rows is not None
    start, sides = _start(part)
    radii = [_radius(part, i + 1, row.radius, row.die, source) for i, row in enumerate(part.rows)]
    faults = [radius for radius in radii if isinstance(radius, Finding)]
    if faults:
        raise _Fault(*faults)
    rows = BendRows.of(
        [row.distance for row in part.rows],
        [row.rotation for row in part.rows],
        [row.angle for row in part.rows],
        [radius for radius in radii if isinstance(radius, float)],
        part.tail or 0.0,
    )
    return Centreline(rows, start), tuple(row.die for row in part.rows), (), sides


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


def _roll(part: Part, toward: Face, sides: tuple[Face, Face], number: int) -> float | Finding:
    rolls: dict[Face, float] = {"top": 0.0, sides[1]: np.pi / 2, "bottom": np.pi, sides[0]: -np.pi / 2}
    rolls |= {"left": np.pi / 2, "right": -np.pi / 2}
    if toward in rolls:
        return rolls[toward]
    says = (
        f"{part.name} bend {number} goes toward {toward}, but this part has no inboard and outboard face; "
        "use top, bottom, left or right"
    )
    return _fault(part, "face", says, (part.start or Start()).at, number)


def _radius(part: Part, number: int, radius: float | None, die: str | None, source: JobFile) -> float | Finding:
    """The radius a bend is given outright, or its die's."""
    if radius is not None:
        return radius
    if die is not None and source.shop is not None:
        return source.shop.dies[die].radius
    says = f"{part.name} bend {number} has neither a radius nor a die; give radius: or die: where the bend is written"
    return _fault(part, "no radius", says, None, number)


def _tight(part: Part, number: int, error: TightOffset, source: JobFile) -> Finding:
    offset, unit = error.offset, source.job.units
    assert offset.over is not None
    says = (
        f"{part.name} bend {number}: an offset by {say_length(offset.by, unit)} over {say_length(offset.over, unit)} "
        f"does not fit two bends of radius {say_length(offset.radius, unit)}; lengthen over to at least "
        f"{say_length(error.least_over, unit)}, or use a smaller by or radius"
    )
    return Finding(
        rule="offset", level="stop", says=says, part=part.name, hand=_hand(part), bend=number,
        found=offset.over, needs=error.least_over, unit="length",
    )  # fmt: skip


def _fault(part: Part, rule: str, says: str, where: Sequence[float] | np.ndarray | None, bend: int | None) -> Finding:
    spot = None if where is None else (float(where[0]), float(where[1]), float(where[2]))
    return Finding(rule=rule, level="stop", says=says, part=part.name, hand=_hand(part), where=spot, bend=bend)


def _hand(part: Part) -> Hand:
    return "single" if part.hand == "single" else "right"
