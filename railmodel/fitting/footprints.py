"""What stands on a tube: crossmembers, plates and fit points, where their footprints and holes lie on its faces. mm.

A place on a face is told as (along, across): the finished length along the centreline from the leading end, and how
far off the middle of the face, positive toward `beside(reading, face)[1]`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from railmodel.end_cuts import curved, to_cut
from railmodel.fitting.fit_job import fit_work
from railmodel.frame import Frame
from railmodel.geometry.centreline import Pose, Stretch
from railmodel.geometry.outline import around, borders
from railmodel.geometry.rows import Array
from railmodel.part import EndCut, Face, RailPart, Reading
from railmodel.plates import Placing, Plate, plates

TOUCHES = 1.0
"""A plate within this of a face stands on it, mm."""

_FACING = 0.9999  # cosine; and only where it is parallel to it within this
_STEP = 5.0  # mm; edges of a footprint in a bend are told in steps of this
_LEAST = 1.0  # mm^2; a footprint of less is none
_IN_CORNER = 6  # points of a crossmember's rounded corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Footprint:
    """What stands on one face of a tube.

    Args:
        name: what the job calls it.
        kind: what it is.
        face: the face it stands on.
        at: (along, across) of its middle.
        loops: closed outlines, each (n, 2); a fit point has one where its bracket's width is known.
        holes: (along, across, diameter) of its holes that lie over the face.
    """

    name: str
    kind: Literal["crossmember", "plate", "fit point"]
    face: Face
    at: tuple[float, float]
    loops: tuple[Array, ...] = ()
    holes: tuple[tuple[float, float, float], ...] = ()

    @property
    def span(self) -> tuple[float, float] | None:
        """From where to where its outline reaches along the tube; None where it has none."""
        if not self.loops:
            return None
        along = np.concatenate([loop[:, 0] for loop in self.loops])
        return float(along.min()), float(along.max())


def footprints(frame: Frame, reading: Reading) -> list[Footprint]:
    """What stands on a part, from its leading end."""
    found = [*_crossmembers(frame, reading), *_plates(frame, reading), *_fit_points(frame, reading)]
    return sorted(found, key=lambda one: (one.at[0], one.name))


def beside(reading: Reading, face: Face) -> tuple[Face, Face]:
    """The faces next to a face: toward negative and toward positive `across`."""
    order: tuple[Face, ...] = (reading.sides[1], "top", reading.sides[0], "bottom")
    at = order.index(face)
    return order[at - 1], order[(at + 1) % 4]


def half_width(part: RailPart, face: Face) -> float:
    """From the middle of a face to its edges."""
    return (part.section.width if face in ("top", "bottom") else part.section.height) / 2


def _up(reading: Reading, face: Face, pose: Pose) -> Array:
    """The way `across` counts on a face: unit directions, shaped as the pose."""
    return pose.direction(reading.roll_of(beside(reading, face)[1]))


def _places(reading: Reading, face: Face, points: Array) -> Array:
    """(m, 2) along and across of points (m, 3) on a face."""
    along, _ = reading.line.closest(points)
    pose = reading.line.pose_at(along)
    return np.column_stack([along, np.sum((points - pose.at) * _up(reading, face, pose), axis=1)])


def _crossmembers(frame: Frame, reading: Reading) -> Iterator[Footprint]:
    for part in frame.parts:
        for end, cut in enumerate(part.cuts or ()):
            if cut.rail == reading.part.label:
                yield _crossmember(reading, part, cut, end)


def _crossmember(reading: Reading, part: RailPart, cut: EndCut, end: int) -> Footprint:
    """A crossmember's outside carried along its axis onto the face it meets, however its end is cut."""
    rail = reading.part
    pose = rail.line.pose_at(cut.station)
    side = 1 if float(pose.s[0] @ cut.normal) > 0 else -1
    face = rail.sides[0] if side > 0 else rail.sides[1]
    if not curved(cut):
        on = pose.at[0] + side * rail.section.width / 2 * pose.s[0]
        cut = replace(cut, normal=side * pose.s[0], at=on)
    start, size = part.line.start, part.section
    edges = np.append(borders(size), borders(size)[0] + size.girth)
    shares = np.linspace(0, 1, _IN_CORNER, endpoint=False)
    girth = np.unique((edges[:-1, None] + np.diff(edges)[:, None] * shares).ravel())
    begin = part.line.end.at if end else start.at
    middle = np.vstack([np.zeros(2), around(size, girth)]) @ np.array([start.s, start.u]) + begin
    reach = to_cut(cut, middle, start.t)
    found = _places(reading, face, middle + reach[:, None] * start.t)
    return Footprint(
        name=part.name, kind="crossmember", face=face, at=(float(found[0, 0]), float(found[0, 1])),
        loops=(found[1:],) if np.isfinite(found).all() else (),
    )  # fmt: skip


def _fit_points(frame: Frame, reading: Reading) -> Iterator[Footprint]:
    for fit in fit_work(frame).fits:
        if fit.part.label != reading.part.label:
            continue
        face, width = fit.point.to.face, fit.point.width
        along, across = (float(value) for value in _places(reading, face, fit.foot.at[None])[0])
        loops: tuple[Array, ...] = ()
        if width is not None:
            flat = max(half_width(reading.part, face) - reading.part.section.corner, 0.0)
            box = np.array([(-0.5, -1.0), (0.5, -1.0), (0.5, 1.0), (-0.5, 1.0)])
            loops = (box * [width, flat] + [along, 0.0],) if flat > 0 else ()
        yield Footprint(name=fit.point.name, kind="fit point", face=face, at=(along, across), loops=loops)


@lru_cache(maxsize=8)
def _all_plates(frame: Frame) -> tuple[Plate, ...]:
    return plates(frame)


def _plates(frame: Frame, reading: Reading) -> Iterator[Footprint]:
    if reading.part.section.round:  # no flat face for a plate to lie on
        return
    faces: tuple[Face, ...] = ("top", "bottom", *reading.sides)
    for plate in _all_plates(frame):
        for place in plate.places:
            for face in faces:
                found = [_contact(reading, face, stretch, plate, place) for stretch in reading.line.stretches]
                loops = tuple(loop for contacts, _ in found for loop in contacts)
                if loops:
                    every = np.concatenate(loops)
                    middle = (every.min(axis=0) + every.max(axis=0)) / 2
                    yield Footprint(
                        name=plate.name, kind="plate", face=face, at=(float(middle[0]), float(middle[1])),
                        loops=loops, holes=tuple(hole for _, holes in found for hole in holes),
                    )  # fmt: skip


def _contact(
    reading: Reading, face: Face, stretch: Stretch, plate: Plate, place: Placing
) -> tuple[list[Array], list[tuple[float, float, float]]]:  # fmt: skip
    """Where a plate lies on a face over one straight or bend: outlines, and holes over it."""
    outward = stretch.start.direction(reading.roll_of(face))
    bent = stretch.kind == "bend"
    if stretch.length <= 0 or (bent and abs(float(stretch.axis @ outward)) < _FACING):  # the face itself is curved
        return [], []
    on = stretch.start.at + reading.part.depth_toward(face) / 2 * outward
    half = half_width(reading.part, face)
    loops, holes = [], []
    for corners, looks, with_holes in _facets(plate, place):
        if float(looks @ outward) > -_FACING or np.abs((corners - on) @ outward).max() > TOUCHES:
            continue
        over = _on_stretch(reading, face, stretch, corners, half)
        if _area(over) < _LEAST:
            continue
        loops.append(over)
        for x, y, diameter in plate.holes if with_holes else ():
            centre = place.points([[x, y]])
            beyond = (centre[0] - stretch.pose(stretch.length).at) @ stretch.pose(stretch.length).t
            here = _unrolled(reading, face, stretch, centre)[0]
            if here[0] >= stretch.station and beyond <= 0 and abs(here[1]) <= half:
                holes.append((float(here[0]), float(here[1]), diameter))
    return loops, holes


def _facets(plate: Plate, place: Placing) -> Iterator[tuple[Array, Array, bool]]:
    """A plate's flat sides: corners (n, 3), the way each looks (3,), and whether the plate's holes go through it."""
    flat = plate.outline.flattened()
    yield place.points(flat), -place.normal, True
    yield place.points(flat, plate.thickness), place.normal, True
    for edge in plate.outline.edges:
        if not edge.turn:
            ends = np.array([edge.start, edge.end])
            along = (edge.end - edge.start) / edge.chord
            looks = along[1] * place.across - along[0] * place.up
            yield np.concatenate([place.points(ends), place.points(ends[::-1], plate.thickness)]), looks, False


def _on_stretch(reading: Reading, face: Face, stretch: Stretch, corners: Array, half: float) -> Array:
    """(n, 2) along and across of what of a flat outline lies over a stretch of a face; empty where nothing does."""
    end = stretch.pose(stretch.length)
    kept = _clipped(corners, (corners - stretch.start.at) @ stretch.start.t)
    kept = _clipped(kept, (end.at - kept) @ end.t)
    if stretch.kind == "bend":
        kept = _stepped(kept)
    found = _unrolled(reading, face, stretch, kept)
    found = _clipped(found, half - found[:, 1])
    return _clipped(found, half + found[:, 1])


def _unrolled(reading: Reading, face: Face, stretch: Stretch, points: Array) -> Array:
    """(m, 2) along and across of points (m, 3) on a face beside a stretch."""
    off = points - stretch.start.at
    ahead = off @ stretch.start.t
    if stretch.kind == "bend":
        ahead = stretch.radius * np.arctan2(ahead, stretch.radius - off @ stretch.inward)
    pose = stretch.pose(ahead)
    across = np.sum((points - pose.at) * _up(reading, face, pose), axis=1)
    return np.column_stack([stretch.station + ahead, across])


def _clipped(corners: Array, inside: Array) -> Array:
    """A closed polygon (n, k) cut off where a measure (n,), linear on it, falls below 0 (Sutherland and Hodgman)."""
    found = []
    for i in range(len(corners)):
        here, there = inside[i - 1], inside[i]
        if (here < 0) != (there < 0):
            found.append(corners[i - 1] + here / (here - there) * (corners[i] - corners[i - 1]))
        if there >= 0:
            found.append(corners[i])
    return np.array(found).reshape(-1, corners.shape[1])


def _stepped(corners: Array) -> Array:
    """A closed polygon (n, k) with more corners on its edges, none further apart than a step."""
    found = [corners[:0]]
    for begin, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(end - begin) / _STEP)))
        found.append(begin + np.arange(count)[:, None] / count * (end - begin))
    return np.concatenate(found)


def _area(corners: Array) -> float:
    if len(corners) < 3:
        return 0.0
    x, y = corners.T
    return abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))) / 2
