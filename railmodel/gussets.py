"""Gussets set into the corner between two faces: where the corner is, its angle, and what a leg runs onto.

Millimetres and radians.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import acos, radians

import numpy as np

from railmodel.frame import Frame
from railmodel.geometry.centreline import Pose, Stretch
from railmodel.geometry.rows import Array
from railmodel.job.plate import Gusset, PartFace
from railmodel.part import Face, RailPart
from railmodel.tolerances import LENGTH

NEARLY_PARALLEL = radians(5)
"""Faces that stand to each other at less than this make no corner that a gusset could sit in."""

_ROUNDS = 40


class NoCorner(Exception):
    """Two faces that a gusset cannot be set between; the message says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A gusset between two faces.

    Args:
        hand: the hand of the rail it stands on, "" where it is the only one.
        corner: (3,) where the two faces meet, at the gusset's middle plane, mm.
        first: (3,) unit direction of the leg along the first face.
        up: (3,) unit direction square to `first`, toward the second leg.
        angle: between the legs.
        warnings: what a leg runs onto, one sentence each.
    """

    hand: str
    corner: Array
    first: Array
    up: Array
    angle: float
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Face:
    """A face of a part at one place of it."""

    part: RailPart
    face: Face
    pose: Pose
    normal: Array
    half: float

    @property
    def at(self) -> Array:
        """(3,) the middle of the face there."""
        return np.asarray(self.pose.at + self.half * self.normal)

    @property
    def words(self) -> str:
        return f"{self.part.label} {self.face}"


def settings(name: str, gusset: Gusset, frame: Frame) -> Iterator[Setting]:
    """Where a gusset stands: once, or once for each hand where it names a pair without a hand.

    Args:
        name: the gusset's name, for messages.
        gusset: as written; its `between` is given.
        frame: the job.

    Raises:
        NoCorner: a face that is not there, faces that make no corner, a corner on a bend.
    """
    assert gusset.between is not None  # the caller has looked
    firsts, seconds = (_parts(name, named, frame) for named in gusset.between)
    pairs = [
        (first, second)
        for first in firsts
        for second in seconds
        if len(firsts) == 1 or len(seconds) == 1 or first.hand == second.hand
    ]
    for first, second in pairs:
        hand = "" if len(pairs) == 1 else first.hand if len(firsts) > 1 else second.hand
        yield _setting(name, gusset, first, second, hand, frame.say)


def _parts(name: str, named: PartFace, frame: Frame) -> list[RailPart]:
    """The part of a label, else both hands of a pair of that name.

    Raises:
        NoCorner: there is none.
    """
    found = [part for part in frame.parts if part.label == named.part]
    found = found or [part for part in frame.parts if part.name == named.part]
    if not found:
        known = ", ".join(part.label for part in frame.parts) or "none"
        raise NoCorner(f"{name}: there is no part {named.part} to stand on; the parts that make a shape are {known}")
    return found


def _setting(
    name: str, gusset: Gusset, first: RailPart, second: RailPart, hand: str, say: Callable[[float], str]
) -> Setting:
    assert gusset.between is not None
    stations = _nearest(first, second) if gusset.at is None else _beside(first, second, gusset.at)
    faces = [
        _face(name, part, named.face, station)
        for part, named, station in zip((first, second), gusset.between, stations, strict=True)
    ]
    one, other = faces
    cosine = float(np.dot(one.normal, other.normal))
    line = np.cross(one.normal, other.normal)
    if np.linalg.norm(line) < np.sin(NEARLY_PARALLEL):
        raise NoCorner(
            f"{name}: {one.words} and {other.words} look the same way or opposite ways and make no corner; "
            "name two faces that meet at an angle"
        )
    where = other.pose.at if gusset.at is None else np.array(gusset.at)
    planes = np.array([one.normal, other.normal, line])
    corner = np.linalg.solve(planes, [one.normal @ one.at, other.normal @ other.at, line @ where])
    legs = [other.normal - cosine * one.normal, one.normal - cosine * other.normal]
    along, toward = (leg / np.linalg.norm(leg) for leg in legs)
    up = toward - along * np.dot(toward, along)
    up = up / np.linalg.norm(up)
    tips = [corner + gusset.legs[0] * along, corner + gusset.legs[1] * toward]
    warnings = tuple(
        f"{name}: its leg of {say(leg)} on {face.words} {problem}; shorten it, or move the gusset"
        for leg, face, tip in zip(gusset.legs, faces, tips, strict=True)
        if (problem := _off(face, tip, say))
    )
    return Setting(hand=hand, corner=corner, first=along, up=up, angle=acos(-cosine), warnings=warnings)


def _nearest(first: RailPart, second: RailPart) -> tuple[float, float]:
    """Stations where two centrelines come nearest to each other, mm."""
    steps = np.linspace(0.0, second.line.length, 401)
    station, apart = first.line.closest(second.line.pose_at(steps).at)
    best = int(np.argmin(apart))
    here, there = float(station[best]), float(steps[best])
    for _ in range(_ROUNDS):
        there = float(second.line.closest(first.line.pose_at(here).at)[0][0])
        here = float(first.line.closest(second.line.pose_at(there).at)[0][0])
    return here, there


def _beside(first: RailPart, second: RailPart, at: Sequence[float]) -> tuple[float, float]:
    return float(first.line.closest(np.array(at))[0][0]), float(second.line.closest(np.array(at))[0][0])


def _face(name: str, part: RailPart, face: Face, station: float) -> _Face:
    """A face at a station.

    Raises:
        NoCorner: the part has no such face, or it is curved there.
    """
    reading = part.read_from("front")
    if face not in ("top", "bottom", *part.sides):
        known = ", ".join(("top", "bottom", *part.sides))
        raise NoCorner(f"{name}: {part.label} has no {face} face; allowed: {known}")
    poses = part.line.pose_at(station)
    pose = Pose(poses.at[0], poses.t[0], poses.s[0], poses.u[0])
    normal = pose.direction(reading.roll_of(face))
    found = _Face(part, face, pose, normal, part.depth_toward(face) / 2)
    if _curved(found, station):
        stretch = part.line.stretches[int(part.line.stretch_at(station))]
        raise NoCorner(
            f"{name}: {part.label} {face} is curved where the gusset stands, in bend {_number(part, stretch)}; "
            "give a place on a straight (at), or bend there with a template of its own"
        )
    return found


def _curved(face: _Face, station: float) -> bool:
    stretch = face.part.line.stretches[int(face.part.line.stretch_at(station))]
    if stretch.kind == "straight":
        return False
    turned = stretch.pose(station - stretch.station)
    return abs(float(np.dot(np.cross(stretch.axis, turned.t), face.normal))) > 0.5


def _number(part: RailPart, stretch: Stretch) -> int:
    """A bend's number as its table counts it."""
    return stretch.number if part.leading_end == "front" else part.line.rows.count + 1 - stretch.number


def _off(face: _Face, tip: Array, say: Callable[[float], str]) -> str | None:
    """How the tip of a leg leaves its face, if it does."""
    line = face.part.line
    station = float(line.closest(tip)[0][0])
    if _curved(face, station):
        stretch = line.stretches[int(line.stretch_at(station))]
        return f"runs onto bend {_number(face.part, stretch)}"
    pose = line.pose_at(station)
    off = tip - pose.at[0]
    beyond = abs(float(off @ pose.t[0]))
    if beyond > LENGTH:
        return f"reaches {say(beyond)} beyond the part's end"
    across = np.cross(pose.t[0], face.normal)
    side = face.part.section.width if face.face in ("top", "bottom") else face.part.section.height
    over = abs(float(off @ across)) - side / 2
    return f"reaches {say(over)} over the edge of the face" if over > LENGTH else None
