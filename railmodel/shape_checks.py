"""Is it a shape a bender can make at all: overlapping bends, radii, the two-plane rule, rolled straights, hands."""

from collections.abc import Iterator
from math import copysign, degrees, sin, tan

import numpy as np

from railmodel.findings import Finding, Level
from railmodel.frame import Frame
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.roll import QUARTER, end_shift, off_legal, plumb, smallest_move, squared_up
from railmodel.geometry.rows import wrap
from railmodel.part import Bend, RailPart, Reading
from railmodel.tolerances import ANGLE, LENGTH

SAME_ROLL = 1e-6
"""Rolls that differ by less than this (radians) lie off by one and the same angle."""

ROLL_SHOWN = float(np.radians(0.05))
"""A straight rolled by less than this is not worth a word: a quarter of a sheet's thickness over a bracket."""


SHIFT_SHOWN = 0.01
"""A far end that lands no farther off than this (mm) when bent square is where it should be: nobody can measure it."""


def spot(point: np.ndarray) -> tuple[float, float, float]:
    """A point as the tuple a finding holds."""
    return float(point[0]), float(point[1]), float(point[2])


def unbuilt(frame: Frame) -> Iterator[Finding]:
    """Parts that make no shape."""
    yield from frame.faults


def overlapping_bends(frame: Frame) -> Iterator[Finding]:
    """Straights that come out negative."""
    for part in frame.parts:
        reading = part.read
        straights = reading.line.rows.straights
        for i in np.flatnonzero(straights < -LENGTH):
            yield _overlap(frame, part, reading, int(i), -float(straights[i]))


def _overlap(frame: Frame, part: RailPart, reading: Reading, i: int, short: float) -> Finding:
    rows = reading.line.rows
    beside = [k for k in (i - 1, i) if 0 <= k < rows.count]
    reach = sum(tan(rows.angle[k] / 2) for k in beside)
    radius = min(rows.radius[k] for k in beside) - short / reach
    smaller = f", or use a radius of at most {frame.say(radius)}" if radius > 0 else ""
    if len(beside) == 2:
        who = f"bends {i} and {i + 1} overlap by {frame.say(short)}"
    else:
        who = f"bend {beside[0] + 1} reaches {frame.say(short)} beyond the end of the tube"
    cure = f"lengthen the leg by that much{smaller}"
    written = i if reading.end == "front" else rows.count - i
    for first, offset in part.offsets:
        if len(beside) == 2 and first == written and offset.angle is not None:
            cure = (
                f"an offset at {degrees(offset.angle):g} degrees on this radius is at least "
                f"{frame.say(offset.least_by)}, and {frame.say(offset.by)} is asked; use a larger by, a smaller angle "
                "or a smaller radius"
            )
    stretch = reading.line.straights[i]
    return Finding(
        rule="overlap", level="stop", says=f"{part.label}: {who}; {cure}", part=part.name, hand=part.hand,
        bend=beside[-1] + 1, where=spot(stretch.start.at), found=-short, needs=0.0, unit="length",
    )  # fmt: skip


def tight_radii(frame: Frame) -> Iterator[Finding]:
    """Radii that are not larger than half the tube's depth in the bend plane."""
    for part in frame.parts:
        reading = part.read
        for bend, stretch in zip(reading.bends, reading.line.bends, strict=True):
            least = part.section.reach(stretch.roll)
            if stretch.radius > least + LENGTH:
                continue
            says = (
                f"{part.label}: bend {bend.number} has a centreline radius of {frame.say(stretch.radius)}, and the "
                f"tube reaches {frame.say(least)} inward from its centreline there; use a radius well above that"
            )
            yield Finding(
                rule="tight radius", level="stop", says=says, part=part.name, hand=part.hand, bend=bend.number,
                where=spot(stretch.start.at), found=stretch.radius, needs=least, unit="length",
            )  # fmt: skip


def two_planes(frame: Frame) -> Iterator[Finding]:
    """Bends that go toward no face: the die holds flat faces, so only four directions can be bent."""
    for part in frame.parts:
        reading = part.read
        off = [bend.off for bend in reading.bends]
        worst = max((abs(value) for value in off), default=0.0)
        if worst <= ANGLE:
            continue
        level: Level = "note" if worst <= frame.roll_within else "stop"
        shift = end_shift(reading.line)
        if level == "note" and shift <= SHIFT_SHOWN:
            continue
        for bend, stretch in zip(reading.bends, reading.line.bends, strict=True):
            if abs(bend.off) > (frame.roll_within if level == "stop" else ANGLE):
                yield Finding(
                    rule="roll", level=level, says=_roll_says(frame, part, reading, bend, shift, level),
                    part=part.name, hand=part.hand, bend=bend.number, where=spot(stretch.start.at),
                    found=stretch.roll, needs=float(wrap(stretch.roll - bend.off)), unit="angle",
                )  # fmt: skip


def _roll_says(frame: Frame, part: RailPart, reading: Reading, bend: Bend, shift: float, level: Level) -> str:
    roll = reading.line.bends[bend.number - 1].roll
    legal = degrees(float(wrap(roll - bend.off)))
    found = (
        f"{part.label}: bend {bend.number} goes {abs(degrees(bend.off)):.2f} degrees off the {bend.toward} face "
        f"(roll {degrees(roll):.2f}, nearest legal {legal:.0f})"
    )
    if level == "note":
        return f"{found}; bent at the nearest quarter turn instead, the far end lands {frame.say(shift)} away"
    return f"{found}; a die holds flat faces only, so it cannot be bent; {_cure(frame, part, bend)}"


def _cure(frame: Frame, part: RailPart, bend: Bend) -> str:
    """What to change in the job file, where a pair stands as its right hand, from the front."""
    written = part.mirrored() if part.hand == "left" else part
    start, off = written.line.start, off_legal(written.line.rows.roll)
    turn = ""
    if np.ptp(off) <= SAME_ROLL:
        x, y, z = start.direction(off[0]) + 0.0
        turn = f", or turn the whole tube with top: [{x:.6f}, {y:.6f}, {z:.6f}]"
    if part.written == "rows":
        legal = squared_up(written.line.rows).rotation
        wrong = np.flatnonzero(np.abs(wrap(legal - written.line.rows.rotation)) > ANGLE)
        rows = " and ".join(f"rotation {degrees(legal[i]):.0f} in row {i + 1}" for i in wrong)
        return f"write {rows}, counted from the front{turn}"
    given = next((given.points for given in frame.job.parts if given.name == part.name), None)
    points = written.line.points if given is None else [point.at for point in given]
    move = smallest_move(points, start.u, bend.written - 1)
    if move is None:
        return f"no move of a single point cures it; finish the bends of one plane before starting the other{turn}"
    shifts = [
        f"{axis} by {'+' if value > 0 else '-'}{frame.say(abs(value))}"
        for axis, value in zip("XYZ", move.by, strict=True)
        if abs(value) > 1e-3
    ]
    cured = "all bends" if len(move.cures) == len(off) else f"{len(move.cures)} of {len(off)} bends"
    return f"the smallest cure is to move point {move.point + 1} {', '.join(shifts)}, which makes {cured} legal{turn}"


def rolled_straights(frame: Frame) -> Iterator[Finding]:
    """Straights with no face square to plumb: brackets and crossmembers there need a wedge."""
    for part in frame.parts:
        reading = part.read
        for straight in reading.line.straights:
            roll = plumb(straight)
            if roll is None or straight.length <= LENGTH:
                continue
            off = float(off_legal(roll))
            if abs(off) <= ROLL_SHOWN:
                continue
            upward, aside = off - roll, copysign(QUARTER, off)
            section = part.section if reading.face(upward) in ("top", "bottom") else part.section.turned
            says = (
                f"{part.label}: straight {straight.number} is rolled, its {reading.face(upward)} face leans "
                f"{abs(degrees(off)):.2f} degrees toward {reading.face(upward + aside)} "
                f"({frame.say(section.width * abs(sin(off)))} across the tube); plan a wedge for brackets and "
                "crossmembers there"
            )
            level: Level = "warn" if abs(off) > frame.roll_within else "note"
            yield Finding(
                rule="rolled straight", level=level, says=says, part=part.name, hand=part.hand,
                where=spot(straight.start.at), found=off, needs=0.0, unit="angle",
            )  # fmt: skip


def pair_side(frame: Frame) -> Iterator[Finding]:
    """Pairs are written for the right hand: nothing of them may lie left of the vehicle's centre; else both stop."""
    for part in frame.parts:
        if part.hand != "right":
            continue
        where = _leftmost(part.line)
        least = float(where[1])
        if least >= -LENGTH:
            continue
        says = (
            f"{part.name}: a pair is written for the right side, and this one reaches {frame.say(-least)} left of the "
            "vehicle's centre (Y below 0); give Y values of 0 and above, or write it as hand: single"
        )
        yield Finding(
            rule="pair side", level="stop", says=says, part=part.name, where=spot(where), found=least, needs=0.0,
            unit="length",
        )  # fmt: skip


def _leftmost(line: Centreline) -> np.ndarray:
    """The point (3,) of a centreline with the least Y: at the end of a stretch, or inside a bend that turns there."""
    stations = [line.length]
    for stretch in line.stretches:
        stations.append(stretch.station)
        if stretch.kind == "bend":
            turn = float(np.arctan2(-stretch.start.t[1], stretch.inward[1]) % np.pi)  # where it runs along X and Z only
            stations.append(stretch.station + min(turn, stretch.angle) * stretch.radius)
    places = line.pose_at(stations).at
    return np.asarray(places[int(places[:, 1].argmin())])
