"""Crossmembers made real: a straight tube from rail to rail, cut where it meets their faces. mm, radians."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from railmodel.end_cuts import to_cut
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.outline import around, borders
from railmodel.geometry.rows import Array, BendRows
from railmodel.geometry.section import Section
from railmodel.part import EndCut, EndKind, RailPart
from railmodel.tolerances import LENGTH

_ROUNDS, _CUTS = 8, 65
"""A place is searched for in rounds, each narrowing it to one of so many cuts less one: 2**48 in all."""

_DEGENERATE = 1e-9
_SAMPLES = 16
"""Places on each flat and each corner of the outline where the way to a rail's face is measured first."""


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
    rising = ahead[sign[0]] <= 0
    low, high = float(steps[sign[0]]), float(steps[sign[0] + 1])
    station = _first(lambda along: (line.pose_at(along).at[:, 0] >= x) == rising, low, high)
    return station, line.pose_at(station).at[0]


def _first(reached: Callable[[Array], NDArray[np.bool_]], low: float, high: float) -> float:
    """Where between low (not reached) and high (reached) something is reached, to the last digit or two."""
    for _ in range(_ROUNDS):
        steps = np.linspace(low, high, _CUTS)
        there = reached(steps)
        there[-1] = True
        first = int(there.argmax())
        if first == 0:
            return low
        low, high = float(steps[first - 1]), float(steps[first])
    return high


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
) -> tuple[tuple[Array, Array], tuple[RailPart, RailPart]]:
    """A crossmember's axis and its rails, the leftmost first.

    Returns:
        A point of the axis at each rail, (3,), mm, and the rails in that order.

    Raises:
        NoMeeting: a rail does not pass its station.
    """
    one, other = rails
    if wanted.points is not None:
        first, last = sorted((np.array(point, dtype=float) for point in wanted.points), key=lambda point: point[1])
        (_, near), (_, far) = (rail.line.closest([first, last]) for rail in rails)
        swapped = near[0] + far[1] > near[1] + far[0]
        return (first, last), ((other, one) if swapped else (one, other))
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
    if found[0][1] > found[1][1]:
        return (found[1], found[0]), (other, one)
    return (found[0], found[1]), (one, other)


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
        raise NoMeeting("its two ends lie on one spot")
    heading = heading / length
    up = np.array([0.0, 0.0, 1.0]) if abs(heading[2]) < 0.99 else np.array([1.0, 0.0, 0.0])
    pose = Pose.of(start + heading * length / 2, heading, up)
    first, low = _end(pose, section, -1.0, rails[0], kind)
    last, high = _end(pose, section, 1.0, rails[1], kind)
    begin = Pose(pose.at - low * heading, pose.t, pose.s, pose.u)
    rows = BendRows.of([], [], [], [], low + high)
    return RailPart(
        name=name, hand="single", tube=tube, section=section, line=Centreline(rows, begin), sides=("right", "left"),
        grade=grade, cuts=(first, last),
    )  # fmt: skip


def _end(pose: Pose, section: Section, way: float, rail: RailPart, kind: EndKind) -> tuple[EndCut, float]:
    """The cut at one end of the tube whose middle lies at a pose, and how far from there the tube reaches, mm.

    Raises:
        NoMeeting: it does not meet the rail, or part of it passes the rail's curve by.
    """
    ahead = way * pose.t
    face = _face(pose, section, ahead, rail)

    def reach(cut: EndCut, girth: Array) -> Array:
        return to_cut(cut, pose.at + around(section, girth) @ np.array([pose.s, pose.u]), ahead)

    if np.isnan(reach(face, _girths(section))).any():
        raise NoMeeting(f"it is too wide for the curve of {rail.label} to cope its end to")
    if kind == "coped":
        return face, _greatest(section, lambda girth: reach(face, girth))
    cut = face if kind == "mitred" else replace(face, normal=-ahead)
    cut = replace(cut, kind=kind, axis=None, direction=None, radius=np.inf, hollow=False)
    into = _greatest(section, lambda girth: reach(cut, girth) - reach(face, girth))  # how far that runs into the rail
    cut = replace(cut, at=cut.at - into * ahead)
    return (
        replace(
            cut,
            angle=float(np.arccos(np.clip(-(cut.normal @ ahead), -1.0, 1.0))),
            gap=max(_greatest(section, lambda girth: reach(face, girth) - reach(cut, girth)), 0.0),
        ),
        _greatest(section, lambda girth: reach(cut, girth)),
    )


def _face(pose: Pose, section: Section, ahead: Array, rail: RailPart) -> EndCut:
    """The face of a rail that a tube meets, as the cope that follows it.

    Raises:
        NoMeeting: the tube passes the rail by.
    """
    distance, station = _meet(rail, pose.at, ahead)
    frame = rail.line.pose_at(station)
    side = float(np.sign(np.dot(pose.at - frame.at[0], frame.s[0])))
    at = pose.at + distance * ahead
    along, up = (float(np.dot(at - frame.at[0], way[0])) for way in (frame.t, frame.u))
    if abs(along) > section.width / 2:
        end = "rear" if along > 0 else "front"
        raise NoMeeting(f"its axis passes {rail.label} by, beyond its {end} end")
    if abs(up) >= (rail.section.height + section.height) / 2:
        raise NoMeeting(f"it passes {'over' if up > 0 else 'under'} {rail.label}")
    axis, direction, radius, hollow = _curve(rail, station, side)
    face = EndCut(
        kind="coped", rail=rail.label, at=at, normal=side * frame.s[0], station=station, axis=axis,
        direction=direction, radius=radius, hollow=hollow,
    )  # fmt: skip
    if axis is not None and direction is not None:
        at = pose.at + to_cut(face, pose.at[None], ahead)[0] * ahead
        if np.isnan(at).any():
            raise NoMeeting(f"its axis passes {'over' if up > 0 else 'under'} {rail.label}, which is round")
        out = at - axis - ((at - axis) @ direction) * direction
        face = replace(face, at=at, normal=(-1 if hollow else 1) * out / np.linalg.norm(out))
    return replace(face, angle=float(np.arccos(np.clip(-(face.normal @ ahead), -1.0, 1.0))))


def _meet(rail: RailPart, point: Array, direction: Array) -> tuple[float, float]:
    """Distance from a point (3,) along a direction to the side face of a rail, and the station there, mm.

    Raises:
        NoMeeting: it never gets there.
    """
    line, half = rail.line, rail.section.width / 2

    def outside(distance: Array) -> tuple[Array, Array]:
        """How far outside the side faces (m,) the point is, moved by distances (m,), and the stations."""
        at = point + distance[:, None] * direction
        station, _ = line.closest(at)
        frame = line.pose_at(station)
        return np.abs(np.sum((at - frame.at) * frame.s, axis=-1)) - half, station

    span = float(np.linalg.norm(line.start.at - point)) + line.length
    steps = np.linspace(0.0, span, max(400, int(span / half) + 1))
    inside = outside(steps)[0] <= 0
    if inside[0]:
        raise NoMeeting(f"its middle lies inside {rail.label}")
    if not inside.any():
        raise NoMeeting(f"its axis does not meet {rail.label}")
    first = int(inside.argmax())
    met = _first(lambda distance: outside(distance)[0] <= 0, float(steps[first - 1]), float(steps[first]))
    return met, float(outside(np.array([met]))[1][0])


def _curve(rail: RailPart, station: float, side: float) -> tuple[Array | None, Array | None, float, bool]:
    """The axis a rail's side face curves about at a station, its radius, and whether it is hollow; flat: none."""
    stretch = rail.line.stretches[int(rail.line.stretch_at(station))]
    if rail.section.round and stretch.kind == "straight":
        return stretch.start.at, stretch.start.t, rail.section.width / 2, False
    if stretch.kind == "straight":
        return None, None, np.inf, False
    toward = float(np.dot(stretch.inward, stretch.start.s))
    if abs(toward) < 0.5:  # bends up or down: the side faces stay flat
        return None, None, np.inf, False
    inner = toward * side > 0
    radius = stretch.radius + (-1 if inner else 1) * rail.section.width / 2
    return stretch.centre, stretch.axis, radius, inner


def _girths(section: Section) -> Array:
    """Girths all round, the borders of flats and corners among them."""
    edges = np.append(borders(section), borders(section)[0] + section.girth)
    steps = np.arange(_SAMPLES) / _SAMPLES
    return np.asarray((edges[:-1, None] + np.diff(edges)[:, None] * steps).ravel())


def _greatest(section: Section, value: Callable[[Array], Array]) -> float:
    """The greatest of a value round the outline, searched ever finer about the greatest sample."""
    girth, window = _girths(section), max(section.height, section.width) / _SAMPLES
    while True:
        found = value(girth)
        best = int(found.argmax())
        if window < LENGTH / 1000:
            return float(found[best])
        girth = girth[best] + np.linspace(-1, 1, 4 * _SAMPLES + 1) * window
        window /= _SAMPLES
