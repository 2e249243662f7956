"""Crossmembers made real: a straight tube from rail to rail, cut where it meets their faces. mm, radians."""

from collections.abc import Callable, Sequence
from typing import Literal, Protocol

import numpy as np

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import Array, BendRows
from railmodel.geometry.section import Section
from railmodel.part import EndCut, EndKind, RailPart

_ROUNDS = 60
_DEGENERATE = 1e-9


class NoMeeting(Exception):
    """A crossmember that does not meet a rail; the message says why."""


def crossing(rail: RailPart, x: float, say: Callable[[float], str]) -> tuple[float, Array]:
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
        raise NoMeeting(f"{rail.label} runs from X {say(ends[0])} to {say(ends[1])} and does not pass X {say(x)}")
    low, high = steps[sign[0]], steps[sign[0] + 1]
    for _ in range(_ROUNDS):
        middle = (low + high) / 2
        same = (line.pose_at(middle).at[0, 0] - x) * (line.pose_at(low).at[0, 0] - x) > 0
        low, high = (middle, high) if same else (low, middle)
    return float(low), line.pose_at(low).at[0]


class Crossing(Protocol):
    """Where a job wants a crossmember; see `railmodel.job.crossmember.Crossmember`."""

    @property
    def x(self) -> float | None:
        """Vehicle station, mm."""
        ...

    @property
    def points(self) -> tuple[tuple[float, float, float], ...] | None:
        """Two points on its axis, mm."""
        ...

    @property
    def height(self) -> float | None:
        """Height of its centre, mm."""
        ...

    @property
    def flush(self) -> Literal["centre", "top", "bottom"] | None:
        """The rail face it is level with."""
        ...



def crossing_axis(
    wanted: Crossing, section: Section, rails: Sequence[RailPart], say: Callable[[float], str]
) -> tuple[Array, Array]:
    """A point of a crossmember's axis at each rail, (3,), mm.

    Raises:
        NoMeeting: a rail does not pass its station.
    """
    if wanted.points is not None:
        first, last = (np.array(point, dtype=float) for point in wanted.points)
        return (first, last) if first[1] <= last[1] else (last, first)
    assert wanted.x is not None  # the job file allows one of the two and needs one
    found = []
    for rail in rails:
        station, at = crossing(rail, wanted.x, say)
        up = float(rail.line.pose_at(station).u[0, 2])
        if wanted.height is not None:
            at = np.array([at[0], at[1], wanted.height])
        elif wanted.flush in ("top", "bottom") and abs(up) > _DEGENERATE:
            sign = 1 if wanted.flush == "top" else -1
            at = at + np.array([0.0, 0.0, sign * (rail.section.height / 2 / abs(up) - section.height / 2)])
        found.append(at)
    return found[0], found[1]


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
    spots = np.concatenate([middle + corners @ np.array([pose.s, pose.u]), middle[None]])
    found, stations = _meet(rail, spots, way * pose.t)
    *reach, centre = found.tolist()
    station = float(stations[-1])
    at = middle + way * centre * pose.t
    frame = rail.line.pose_at(station)
    side = float(np.sign(np.dot(middle - frame.at[0], frame.s[0])))
    normal = side * frame.s[0]
    square = float(np.dot(normal, -way * pose.t))
    cut = min(reach) if kind == "square" else max(reach)
    curve = _curve(rail, station, side)
    return (
        EndCut(
            kind=kind, rail=rail.label, at=at, normal=normal, station=station, axis=curve[0], direction=curve[1],
            radius=curve[2], hollow=curve[3], angle=float(np.arccos(np.clip(square, -1.0, 1.0))),
            gap=max(reach) - min(reach) if kind == "square" else 0.0,
        ),
        way * cut,
    )  # fmt: skip


def _meet(rail: RailPart, points: Array, direction: Array) -> tuple[Array, Array]:
    """Distances (m,) from points (m, 3) along a direction to the side face of a rail, and the stations (m,) there, mm.

    Raises:
        NoMeeting: it never gets there.
    """
    line, half = rail.line, rail.section.width / 2

    def outside(distance: Array) -> tuple[Array, Array]:
        """How far outside the side faces (..., m) the points are, moved by distances (..., m), and the stations."""
        at = (points + distance[..., None] * direction).reshape(-1, 3)
        station, _ = line.closest(at)
        frame = line.pose_at(station)
        across = np.abs(np.sum((at - frame.at) * frame.s, axis=-1))
        return (across - half).reshape(distance.shape), station.reshape(distance.shape)

    span = float(np.linalg.norm(line.start.at - points, axis=-1).max()) + line.length
    steps = np.linspace(0.0, span, 400)
    inside = outside(np.repeat(steps[:, None], len(points), axis=1))[0] <= 0
    if inside[0].any():
        raise NoMeeting(f"its middle lies inside {rail.label}")
    if not inside.any(axis=0).all():
        raise NoMeeting(f"its axis does not meet {rail.label}")
    first = inside.argmax(axis=0)
    low, high = steps[first - 1], steps[first]
    for _ in range(_ROUNDS):
        middle = (low + high) / 2
        within = outside(middle)[0] <= 0
        low, high = np.where(within, low, middle), np.where(within, middle, high)
    return high, outside(high)[1]


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
