"""Is it a shape a bender can make at all: overlapping bends, radii, the two-plane rule, rolled straights, hands."""

from collections.abc import Iterator
from math import degrees, sin, tan

import numpy as np

from railmodel.findings import Finding, Level
from railmodel.frame import Frame
from railmodel.geometry.roll import end_shift, off_legal, plumb, smallest_move
from railmodel.geometry.rows import wrap
from railmodel.part import Bend, RailPart, Reading
from railmodel.tolerances import ANGLE, LENGTH

SAME_ROLL = 1e-6
"""Rolls that differ by less than this (radians) lie off by one and the same angle."""

ROLL_SHOWN = float(np.radians(0.05))
"""A straight rolled by less than this is not worth a word: a quarter of a sheet's thickness over a bracket."""


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
    return f"{found}; a die holds flat faces only, so it cannot be bent; {_cure(frame, part, reading, bend)}"


def _cure(frame: Frame, part: RailPart, reading: Reading, bend: Bend) -> str:
    off = np.array([other.off for other in reading.bends])
    turn = ""
    if np.ptp(off) <= SAME_ROLL:
        turn = f", or give the whole tube a top turned by {abs(degrees(bend.off)):.2f} degrees"
    if part.written == "path":
        return f"write every bend toward a face{turn}"
    if part.written == "rows":
        return f"change its rotation by {degrees(-bend.off):.4g} degrees{turn}"
    move = smallest_move(part.line.points, part.line.start.u, bend.written - 1)
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
    """Straights whose top face is neither up, down nor upright: brackets and crossmembers there need a wedge."""
    for part in frame.parts:
        for straight in part.read.line.straights:
            roll = plumb(straight)
            if roll is None or straight.length <= LENGTH:
                continue
            off = float(off_legal(roll))
            if abs(off) <= ROLL_SHOWN:
                continue
            drop = part.section.width * abs(sin(off))
            says = (
                f"{part.label}: the top face is rolled {degrees(off):+.2f} degrees on straight {straight.number} "
                f"({frame.say(drop)} across its width); plan a wedge for brackets and crossmembers there"
            )
            level: Level = "warn" if abs(off) > frame.roll_within else "note"
            yield Finding(
                rule="rolled straight", level=level, says=says, part=part.name, hand=part.hand,
                where=spot(straight.start.at), found=off, needs=0.0, unit="angle",
            )  # fmt: skip


def pair_side(frame: Frame) -> Iterator[Finding]:
    """Pairs are written for the right hand: nothing of them may lie left of the vehicle's centre."""
    for part in frame.parts:
        if part.hand != "right":
            continue
        points = part.line.points
        least = float(points[:, 1].min())
        if least >= -LENGTH:
            continue
        where = spot(points[int(points[:, 1].argmin())])
        says = (
            f"{part.name}: a pair is written for the right side, and this one reaches {frame.say(-least)} left of the "
            "vehicle's centre (Y below 0); give Y values of 0 and above, or write it as hand: single"
        )
        yield Finding(
            rule="pair side", level="stop", says=says, part=part.name, hand=part.hand, where=where,
            found=least, needs=0.0, unit="length",
        )  # fmt: skip

