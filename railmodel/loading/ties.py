"""Which tubes of a frame hold on to which: joints, crossmembers, and ends that stand against another tube. mm."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from railmodel.fitting.fit_job import fit_work
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

TOUCHING = 5.0
"""An end no farther than this from another tube is taken as welded to it."""

FARTHEST = 50.0
"""Ends of a joint farther apart than this are not taken as joined."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a tube.

    Args:
        label: the part's label.
        station: along its centreline from the front, mm.
        at: (3,) where it is: on the centreline, or where a crossmember's axis meets its rail.
    """

    label: str
    station: float
    at: Array


@dataclass(frozen=True, slots=True)
class Tie:
    """Two places joined rigidly."""

    one: Spot
    other: Spot


def span_of(part: RailPart) -> tuple[float, float]:
    """Stations between which a part's axis is metal: a crossmember's runs from cut to cut."""
    if part.cuts is None:
        return 0.0, part.line.length
    start = part.line.start
    first, last = sorted(float((cut.at - start.at) @ start.t) for cut in part.cuts)
    return first, last


def off_tube(part: RailPart, places: Array) -> tuple[Array, Array]:
    """How far places lie off a tube's outside, taken as a box with sharp corners.

    Args:
        part: the tube.
        places: (n, 3) mm.

    Returns:
        (n,) stations nearest to them and (n,) distances, 0 within the tube, mm.
    """
    stations = np.clip(part.line.closest(places)[0], *span_of(part))
    pose = part.line.pose_at(stations)
    off = places - pose.at
    across, up, along = (np.abs(np.sum(off * way, axis=1)) for way in (pose.s, pose.u, pose.t))
    beyond = np.array([across - part.section.width / 2, up - part.section.height / 2, along])
    return stations, np.linalg.norm(np.maximum(beyond, 0.0), axis=0)


def ties(frame: Frame, parts: Sequence[RailPart]) -> list[Tie]:
    """Everything that joins the tubes of a frame, whatever was said of it first."""
    found = [*_joints(frame, parts), *_crossmembers(parts)]
    tied = {(spot.label, round(spot.station, 3)) for tie in found for spot in (tie.one, tie.other)}
    for part in parts:
        for station in span_of(part):
            if (part.label, round(station, 3)) not in tied and (tie := _touching(part, station, parts)):
                found.append(tie)
    return found


def reached(start: Sequence[str], joined: Sequence[Tie]) -> set[str]:
    """Labels of parts that hang together with those of some labels."""
    found, grown = set(start), True
    while grown:
        grown = False
        for tie in joined:
            pair = {tie.one.label, tie.other.label}
            if pair & found and not pair <= found:
                found |= pair
                grown = True
    return found


def _joints(frame: Frame, parts: Sequence[RailPart]) -> Iterator[Tie]:
    by_label = {part.label: part for part in parts}
    for joined in fit_work(frame).joints:
        labels, ends = zip(*(name.rsplit(".", 1) for name in joined.names), strict=True)
        if all(label in by_label for label in labels):
            one, other = (
                _spot(by_label[label], 0.0 if end == "front" else by_label[label].line.length)
                for label, end in zip(labels, ends, strict=True)
            )
            if float(np.linalg.norm(one.at - other.at)) <= FARTHEST:
                yield Tie(one, other)


def _crossmembers(parts: Sequence[RailPart]) -> Iterator[Tie]:
    by_label = {part.label: part for part in parts}
    for part in parts:
        for cut in part.cuts or ():
            if cut.rail in by_label:
                station = float((cut.at - part.line.start.at) @ part.line.start.t)
                yield Tie(_spot(by_label[cut.rail], cut.station), Spot(part.label, station, cut.at))


def _touching(part: RailPart, station: float, parts: Sequence[RailPart]) -> Tie | None:
    """The tie of an end to the tube it stands against, if it stands against one."""
    end = _spot(part, station)
    for other in parts:
        if other.label == part.label:
            continue
        where = float(other.line.closest(end.at)[0][0])
        pose = other.line.pose_at(where)
        off = end.at - pose.at[0]
        beyond, across, up = (abs(float(off @ way[0])) for way in (pose.t, pose.s, pose.u))
        if max(beyond, across - other.section.width / 2, up - other.section.height / 2) <= TOUCHING:
            return Tie(end, _spot(other, where))
    return None


def _spot(part: RailPart, station: float) -> Spot:
    return Spot(part.label, station, part.line.pose_at(station).at[0])
