"""What of a frame is dimensioned in which view: ends, corner points and crossings, widths, bends. Vehicle axes, mm."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from exporters.approval_points import letters
from exporters.views import PLAN, SIDE, View
from railmodel.frame import Frame
from railmodel.geometry.centreline import Stretch
from railmodel.geometry.rows import Array
from railmodel.part import Face, RailPart
from railmodel.plates import Plate
from railmodel.tolerances import LENGTH

VIEWS: tuple[View, View] = (SIDE, PLAN)

_SQUARE = 1e-6
_SAME = 0.01  # mm; values closer than this are one
_RIM = float(np.radians(0.2))  # rims of plates are looked at in steps of this
_ACROSS = 0.7  # of its direction: a straight part that runs this much across the vehicle is a crossing


@dataclass(frozen=True, slots=True)
class Turn:
    """A bend as the drawing dimensions it.

    Args:
        name: letter of its part and its number from the leading end.
        part: whose it is; of a pair the right hand.
        stretch: where it lies, read from the leading end.
        corner: (3,) where its two straights meet.
        toward: the face it goes toward.
        square: the view that sees it square, if any.
    """

    name: str
    part: RailPart
    stretch: Stretch
    corner: Array
    toward: Face
    square: View | None


@dataclass(frozen=True, slots=True)
class Width:
    """How wide a pair is where it runs straight along the vehicle.

    Args:
        x: where that is measured, mm.
        inside: between the two, mm.
        over: over both, mm.
    """

    x: float
    inside: float
    over: float


def shown(frame: Frame) -> list[RailPart]:
    """The parts that are dimensioned: of a pair the right hand stands for both."""
    return [part for part in frame.parts if part.hand != "left"]


def crossing(part: RailPart) -> bool:
    """Whether a part is straight and runs across the vehicle."""
    return not part.line.rows.count and abs(float(part.line.start.t[1])) > _ACROSS


def turns(frame: Frame) -> list[Turn]:
    """Every bend of the parts that are dimensioned."""
    named, found = letters(frame), []
    for part in shown(frame):
        reading = part.read
        corners = reading.line.points
        for bend, stretch in zip(reading.bends, reading.line.bends, strict=True):
            square = next((view for view in VIEWS if abs(abs(stretch.axis @ view.toward) - 1) < _SQUARE), None)
            name = f"{named[part.name]}{bend.number}"
            found.append(Turn(name, part, stretch, corners[bend.number], bend.toward, square))
    return found


def spots(frame: Frame, view: View) -> list[Array]:
    """Points (3,) whose place is dimensioned in a view: ends, corners of bends it sees best, crossings."""
    found = []
    for part in shown(frame):
        ends = [part.line.start.at, part.line.end.at]
        if crossing(part):
            middle = (ends[0] + ends[1]) / 2
            found += [middle] if abs(ends[1][0] - ends[0][0]) < _SAME or view is SIDE else ends
        else:
            found += ends
    return found + [turn.corner for turn in turns(frame) if turn.square in (view, None)]


def stations(frame: Frame, view: View) -> list[Array]:
    """Points whose station is dimensioned in a view, rising; each once in the drawing.

    Of points at one station the side view takes the lowest and the plan the one farthest right, whence the dimension
    runs down or up.
    """
    points = spots(frame, view)
    if view is PLAN:
        told = [point[0] for point in stations(frame, SIDE)]
        left = [point for point in points if not any(abs(point[0] - other) < _SAME for other in told)]
        return [max(same, key=lambda point: float(point[1])) for same in _grouped(left, 0)]
    left = [point for point in points if not _crosses(frame, point)]
    return [min(same, key=lambda point: float(point[2])) for same in _grouped(left, 0)]


def heights(frame: Frame) -> list[list[Array]]:
    """Points whose height is dimensioned in the side view, rising; those of one height together."""
    return _grouped(spots(frame, SIDE), 2)


def half_widths(frame: Frame) -> list[list[Array]]:
    """Points whose distance from the vehicle's centre plane is dimensioned in the plan, likewise.

    None in the plane; of two that lie alike on both sides the one at the right stands for both.
    """
    through = [part for part in shown(frame) if not crossing(part)]
    ends = [point for part in through for point in (part.line.start.at, part.line.end.at)]
    corners = [turn.corner for turn in turns(frame) if turn.square in (PLAN, None)]
    groups = _grouped([point for point in (*ends, *corners) if abs(point[1]) > _SAME], 1)
    right = [same[0][1] for same in groups if same[0][1] > 0]
    return [same for same in groups if same[0][1] > 0 or not any(abs(same[0][1] + y) < _SAME for y in right)]


def widths(frame: Frame) -> list[Width]:
    """Widths over and inside the rails of every pair, each once, from the front."""
    found: list[Width] = []
    for part in frame.parts:
        for stretch in part.line.straights if part.hand == "right" else ():
            width = _width(part, stretch)
            if width is not None and not any(abs(width.over - other.over) < _SAME for other in found):
                found.append(width)
    return sorted(found, key=lambda width: width.x)


def extent(frame: Frame, plates: Sequence[Plate], direction: Array) -> tuple[float, float]:
    """Least and greatest distance of the finished frame along a unit direction (3,), rounded corners and all, mm."""
    found = []
    for way in (-direction, direction):
        farthest = [_reach(part, way) for part in frame.parts]
        for plate in plates:
            rim = plate.outline.flattened(_RIM)
            corners = [one.points(rim, depth) for one in plate.places for depth in (0.0, plate.thickness)]
            farthest += [float((points @ way).max()) for points in corners]
        found.append(max(farthest))
    return -found[0], found[1]


def _reach(part: RailPart, way: Array) -> float:
    """How far a tube reaches in a direction (3,), mm: at the end of a straight, or somewhere in a bend."""
    size, line = part.section, part.line
    across, up = size.width / 2 - size.corner, size.height / 2 - size.corner

    def farthest(stations: Array) -> tuple[float, float]:
        pose = line.pose_at(stations)
        s, u = pose.s @ way, pose.u @ way
        out = pose.at @ way + across * np.abs(s) + up * np.abs(u) + size.corner * np.hypot(s, u)
        return float(out.max()), float(stations[int(np.argmax(out))])

    begins = np.array([stretch.station for stretch in line.stretches] + [line.length])
    best, _ = farthest(begins)
    for bend in line.bends:
        low, high = bend.station, bend.station + bend.length
        for _ in range(4):
            reach, at = farthest(np.linspace(low, high, 201))
            best, step = max(best, reach), (high - low) / 200
            low, high = max(low, at - step), min(high, at + step)
    return best


def _width(part: RailPart, stretch: Stretch) -> Width | None:
    """The pair's width on one straight; none where that does not run along the vehicle."""
    pose = stretch.start
    if stretch.length < _SAME or abs(float(pose.t[1])) > _SQUARE or abs(float(pose.t[0])) < _SQUARE:
        return None
    roll = float(np.arctan2(-pose.s[1], pose.u[1]))  # of the vehicle's right, from the top face
    reach, y = part.section.reach(roll), abs(float(pose.at[1]))
    middle = float(stretch.pose([stretch.length / 2]).at[0, 0])
    return Width(x=middle, inside=2 * (y - reach), over=2 * (y + reach)) if y > reach else None


def _crosses(frame: Frame, point: Array) -> bool:
    """Whether a point stands for a part that runs across the vehicle: its station belongs to the plan."""
    middles = [(part.line.start.at + part.line.end.at) / 2 for part in shown(frame) if crossing(part)]
    return any(np.linalg.norm(point - middle) < LENGTH for middle in middles)


def _grouped(points: Sequence[Array], axis: int) -> list[list[Array]]:
    """The points in rising order of a coordinate, those of one value together."""
    found: list[list[Array]] = []
    for point in sorted(points, key=lambda point: float(point[axis])):
        if found and point[axis] - found[-1][0][axis] < _SAME:
            found[-1].append(point)
        else:
            found.append([point])
    return found
