"""Crossmembers made real: a straight tube from rail to rail, cut where it meets their faces. mm, radians."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import Array, BendRows
from railmodel.geometry.section import Section
from railmodel.part import RailPart

EndKind = Literal["square", "mitred", "coped"]

_ROUNDS = 60
_DEGENERATE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class EndCut:
    """How one end of a crossmember is cut.

    Args:
        kind: "square", "mitred" or "coped".
        rail: label of the rail it meets.
        at: (3,) where its axis meets the rail's face, mm.
        normal: (3,) the rail's face there, looking out of the rail.
        station: along the rail, mm.
        axis: (3,) point on, and
        direction: (3,) direction of, the axis that the face curves about; None where the face is flat.
        radius: radius of that curve, mm.
        hollow: whether the rail's face is hollow there (its metal lies outside the radius).
        angle: between the cut and a square one, radians.
        gap: widest gap left at a square end, mm; 0 for the others.
    """

    kind: EndKind
    rail: str
    at: Array
    normal: Array
    station: float
    axis: Array | None = None
    direction: Array | None = None
    radius: float = np.inf
    hollow: bool = False
    angle: float = 0.0
    gap: float = 0.0


class NoMeeting(Exception):
    """A crossmember that does not meet a rail; the message says why."""


def crossing(rail: RailPart, x: float) -> tuple[float, Array]:
    """Where a rail's centreline passes a vehicle station.

    Returns:
        Length along the rail and the point (3,), mm.

    Raises:
        NoMeeting: the rail does not reach that station.
    """
    line = rail.line
    steps = np.linspace(0.0, line.length, 2001)
    ahead = line.pose_at(steps).at[:, 0] - x
    sign = np.flatnonzero(ahead[:-1] * ahead[1:] <= 0)
    if not sign.size:
        ends = sorted((float(line.start.at[0]), float(line.end.at[0])))
        raise NoMeeting(f"{rail.label} runs from X {ends[0]:g} to {ends[1]:g} mm and does not pass X {x:g} mm")
    low, high = steps[sign[0]], steps[sign[0] + 1]
    for _ in range(_ROUNDS):
        middle = (low + high) / 2
        same = (line.pose_at(middle).at[0, 0] - x) * (line.pose_at(low).at[0, 0] - x) > 0
        low, high = (middle, high) if same else (low, middle)
    return float(low), line.pose_at(low).at[0]


def crossmember(
    name: str, tube: str, section: Section, grade: str | None, axis: tuple[Array, Array],
    rails: Sequence[RailPart], kind: EndKind,
) -> RailPart:  # fmt: skip
    """The tube from the first rail's face to the second's.

    Its line is as long as the tube must be cut, long corner to long corner; `cuts` trim that to the rails' faces.

    Args:
        name: its name in the job.
        tube: its tube's name.
        section: its section.
        grade: its steel grade.
        axis: a point near each rail, on the tube's centreline.
        rails: the two rails.
        kind: how its ends are cut.

    Raises:
        NoMeeting: the axis does not meet a rail's inner face.
    """
    start, end = axis
    heading = end - start
    length = float(np.linalg.norm(heading))
    if length < _DEGENERATE:
        raise NoMeeting(f"{name}: its two ends lie on one spot")
    heading = heading / length
    up = np.array([0.0, 0.0, 1.0]) if abs(heading[2]) < 0.99 else np.array([1.0, 0.0, 0.0])
    pose = Pose.of(start, heading, up)
    middle = start + heading * length / 2
    corners = _outline(section)
    first, low = _end(pose, corners, middle, -1.0, rails[0], kind)
    last, high = _end(pose, corners, middle, 1.0, rails[1], kind)
    begin = Pose(middle + low * heading, pose.t, pose.s, pose.u)
    rows = BendRows.of([], [], [], [], high - low)
    return RailPart(
        name=name, hand="single", tube=tube, section=section, line=Centreline(rows, begin), sides=("right", "left"),
        grade=grade, cuts=(first, last),
    )  # fmt: skip


def _end(
    pose: Pose, corners: Array, middle: Array, way: float, rail: RailPart, kind: EndKind
) -> tuple[EndCut, float]:
    """The cut at one end, and how far along the axis from the middle the tube reaches there (signed), mm."""
    reach = [_meet(rail, middle + s * pose.s + u * pose.u, way * pose.t) for s, u in corners]
    centre, station = _meet(rail, middle, way * pose.t)
    at = middle + way * centre * pose.t
    frame = rail.line.pose_at(station)
    side = float(np.sign(np.dot(middle - frame.at[0], frame.s[0])))
    normal = side * frame.s[0]
    square = float(np.dot(normal, -way * pose.t))
    found = [distance for distance, _ in reach]
    cut = min(found) if kind == "square" else max(found)
    curve = _curve(rail, station, side)
    return (
        EndCut(
            kind=kind, rail=rail.label, at=at, normal=normal, station=station, axis=curve[0], direction=curve[1],
            radius=curve[2], hollow=curve[3], angle=float(np.arccos(np.clip(square, -1.0, 1.0))),
            gap=max(found) - min(found) if kind == "square" else 0.0,
        ),
        way * cut,
    )  # fmt: skip


def _meet(rail: RailPart, point: Array, direction: Array) -> tuple[float, float]:
    """Distance (mm) from a point along a direction to the side face of a rail, and the station there.

    Raises:
        NoMeeting: it never gets there.
    """
    line, half = rail.line, rail.section.width / 2

    def inside(distance: float) -> tuple[float, float]:
        station, _ = line.closest(point + distance * direction)
        frame = line.pose_at(station)
        across = float(np.dot(point + distance * direction - frame.at[0], frame.s[0]))
        return abs(across) - half, float(station[0])

    low, high = 0.0, 0.0
    if inside(0.0)[0] <= 0:
        raise NoMeeting(f"its middle lies inside {rail.label}")
    span = float(np.linalg.norm(line.start.at - point)) + line.length
    for step in np.linspace(0.0, span, 400)[1:]:
        if inside(float(step))[0] <= 0:
            high = float(step)
            break
        low = float(step)
    else:
        raise NoMeeting(f"its axis does not meet {rail.label}")
    for _ in range(_ROUNDS):
        middle = (low + high) / 2
        low, high = (middle, high) if inside(middle)[0] > 0 else (low, middle)
    return high, inside(high)[1]


def _curve(rail: RailPart, station: float, side: float) -> tuple[Array | None, Array | None, float, bool]:
    """The axis a rail's side face curves about at a station, its radius, and whether it is hollow; flat: none."""
    stretch = rail.line.stretches[int(rail.line.stretch_at(station))]
    if stretch.kind == "straight":
        return None, None, np.inf, False
    toward = float(np.dot(stretch.inward, stretch.start.s))
    if abs(toward) < 0.5:  # bends up or down: the side faces stay flat
        return None, None, np.inf, False
    inner = toward * side > 0
    radius = stretch.radius + (-1 if inner else 1) * rail.section.width / 2
    return stretch.centre, stretch.axis, radius, inner


def _outline(section: Section) -> Array:
    """Points (m, 2) round the section's outside, (s, u), mm; the extremes of its corners are among them."""
    turn = np.linspace(0.0, np.pi / 2, 9)
    found = []
    for i, (s, u) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        centre = np.array([s * (section.width / 2 - section.corner), u * (section.height / 2 - section.corner)])
        angle = turn + i * np.pi / 2
        found.append(centre + section.corner * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    return np.concatenate(found)
