"""A frame as straight beam pieces: straights whole, bends in short pieces on their neutral circle.

Millimetres and radians. The section's roll is followed from end to end; nodes within a bend lie on its neutral circle
(see `railmodel.loading.bent_section`), so that pull and bending act on each other as they do in a bent bar. Out of
the bend's plane it bends and twists about the circle of its centroid.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, cos, sin

import numpy as np
from numpy.typing import NDArray

from railmodel.geometry.centreline import Pose
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.loading.beams import Beams, Piece
from railmodel.loading.bent_section import BentSection, bent_section
from railmodel.loading.ties import Tie, span_of
from railmodel.part import RailPart

SAME = 0.01
"""Stations closer than this are one."""

MERGED = 2.0
"""Ends tied over less than this share a node; over more, a stiff link joins them."""

STIFF = 20.0
"""Times the stiffness of the stiffer tube that a link has: it gives as a twentieth of its length of tube would."""


@dataclass(frozen=True, slots=True)
class Mesh:
    """How finely a frame is cut up.

    Args:
        turn: most that one piece of a bend turns, radians.
        length: longest piece of a straight, mm.
    """

    turn: float
    length: float

    @property
    def coarser(self) -> "Mesh":
        """Pieces twice as large."""
        return Mesh(2 * self.turn, 2 * self.length)


@dataclass(frozen=True, eq=False)
class Line:
    """One tube's nodes.

    Args:
        part: the tube.
        stations: (k,) rising, mm.
        nodes: (k,) node at each.
    """

    part: RailPart
    stations: Array
    nodes: NDArray[np.int64]

    def node(self, station: float) -> int:
        """The node nearest to a station."""
        return int(self.nodes[int(np.argmin(np.abs(self.stations - station)))])


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """What stands at the two ends of one piece of a tube; of a link there is none.

    Args:
        line: the tube's number.
        bend: number of the bend from the part's front, None on a straight.
        bent: its section there.
        stations: (2,) mm.
        poses: of the tube at both ends; fields are (2, 3).
        centres: (2, 3) where the section's centroid is.
        inward: (2, 3) toward the bend's centre; nought on a straight.
    """

    line: int
    bend: int | None
    bent: BentSection | None
    stations: Array
    poses: Pose
    centres: Array
    inward: Array


@dataclass(frozen=True, eq=False)
class Skeleton:
    """A whole frame as pieces.

    Args:
        beams: nodes and pieces, nothing held.
        lines: the tubes.
        cuts: of each piece; None for links.
    """

    beams: Beams
    lines: tuple[Line, ...]
    cuts: tuple[Cut | None, ...]

    def line(self, label: str) -> Line:
        """The tube of a label."""
        return next(line for line in self.lines if line.part.label == label)


def skeleton(
    parts: Sequence[RailPart], joined: Sequence[Tie], extra: Mapping[str, Sequence[float]], mesh: Mesh
) -> Skeleton:
    """Tubes as pieces.

    Args:
        parts: the tubes.
        joined: what ties them together.
        extra: stations, by label, that need a node.
        mesh: how finely.
    """
    wanted: dict[str, list[float]] = {part.label: list(extra.get(part.label, ())) for part in parts}
    for spot in (spot for tie in joined for spot in (tie.one, tie.other)):
        wanted[spot.label].append(spot.station)
    nodes: list[Array] = []
    pieces: list[Piece] = []
    cuts: list[Cut | None] = []
    lines = []
    for number, part in enumerate(parts):
        own = [_cut(part, number, low, high) for low, high in pairwise(_stations(part, wanted[part.label], mesh))]
        lines.append(_laid(part, own, nodes, pieces, cuts))
    return _tied(nodes, pieces, cuts, lines, joined)


def _laid(part: RailPart, own: Sequence[Cut], nodes: list[Array], pieces: list[Piece], cuts: list[Cut | None]) -> Line:
    """Add one tube's nodes and pieces: where its axis steps aside, at the ends of a bend, by a stiff link."""
    stations, begin = [float(own[0].stations[0])], len(nodes)
    nodes.append(_axis(part, own[0])[0])
    for cut in own:
        first, last = _axis(part, cut)
        if float(np.linalg.norm(first - nodes[-1])) > SAME:
            nodes.append(first)
            stations.append(float(cut.stations[0]))
            pieces.append(_link(len(nodes) - 2, len(nodes) - 1, nodes, part.section))
            cuts.append(None)
        nodes.append(last)
        stations.append(float(cut.stations[1]))
        pieces.append(_piece(part, cut, len(nodes) - 2))
        cuts.append(cut)
    return Line(part, np.array(stations), np.arange(begin, len(nodes)))


def _axis(part: RailPart, cut: Cut) -> Array:
    """(2, 3) ends of a piece: on the centreline, within a bend on its neutral circle."""
    if cut.bent is None or cut.bend is None:
        return cut.poses.at
    return np.asarray(cut.poses.at + (part.line.bends[cut.bend - 1].radius - cut.bent.neutral) * cut.inward)


def _stations(part: RailPart, wanted: Sequence[float], mesh: Mesh) -> list[float]:
    """Where a part is cut: its ends, its bends, what is wanted, and as often between as the mesh says."""
    first, last = span_of(part)
    needed = [first, last, *wanted]
    for bend in part.line.bends:
        needed += [bend.station, bend.station + bend.length]
    kept = [first]
    for station in sorted(needed):
        if first < station <= last and station - kept[-1] > SAME:
            kept.append(station)
    kept[-1] = last
    found = [first]
    for low, high in pairwise(kept):
        stretch = part.line.stretches[int(part.line.stretch_at((low + high) / 2))]
        longest = mesh.length if stretch.kind == "straight" else mesh.turn * stretch.radius
        found += np.linspace(low, high, max(1, ceil((high - low) / longest - 1e-9)) + 1)[1:].tolist()
    return found


def _cut(part: RailPart, number: int, low: float, high: float) -> Cut:
    stations, poses = np.array([low, high]), part.line.pose_at([low, high])
    stretch = part.line.stretches[int(part.line.stretch_at((low + high) / 2))]
    if stretch.kind == "straight":
        return Cut(number, None, None, stations, poses, poses.at, np.zeros((2, 3)))
    bent = bent_section(part.section, stretch.roll, stretch.radius)
    inward = np.cross(stretch.axis, poses.t)
    return Cut(number, stretch.number, bent, stations, poses, poses.at + bent.shift * inward, inward)


def _piece(part: RailPart, cut: Cut, node: int) -> Piece:
    section, bent = part.section, cut.bent
    up = cut.poses.u[0] + cut.poses.u[1]
    if bent is None or cut.bend is None:
        sizes = (section.area, section.inertia_s, section.inertia_u, section.torsion_constant)
    else:
        roll = part.line.bends[cut.bend - 1].roll
        upright = abs(cos(roll)) >= abs(sin(roll))
        across = bent.across * bent.neutral / bent.radius  # as long as the centroid's circle, on the neutral one
        about_s, about_u = (bent.along, across) if upright else (across, bent.along)
        sizes = (bent.area, about_s, about_u, bent.torsion * bent.neutral / bent.radius)
        inward = cut.inward.sum(axis=0)
        return Piece(node, node + 1, *sizes, up, -bent.eccentricity / float(np.linalg.norm(inward)) * inward)
    return Piece(node, node + 1, *sizes, up)


def _tied(
    nodes: list[Array], pieces: list[Piece], cuts: list[Cut | None], lines: list[Line], joined: Sequence[Tie]
) -> Skeleton:
    """The pieces with ties made: nodes that lie together become one, others are linked."""
    by_label = {line.part.label: line for line in lines}
    same = np.arange(len(nodes))
    links: list[Piece] = []
    for tie in joined:
        one, other = (by_label[spot.label].node(spot.station) for spot in (tie.one, tie.other))
        if float(np.linalg.norm(nodes[one] - nodes[other])) <= MERGED:
            same[same == same[other]] = same[one]
        else:
            stiffer = max((by_label[spot.label].part.section for spot in (tie.one, tie.other)), key=lambda s: s.area)
            links.append(_link(one, other, nodes, stiffer))
    pieces = [*pieces, *links]
    kept, numbers = np.unique(same, return_inverse=True)
    made = tuple(replace(piece, start=int(numbers[piece.start]), end=int(numbers[piece.end])) for piece in pieces)
    whole = [Line(line.part, line.stations, numbers[line.nodes]) for line in lines]
    beams = Beams(np.array(nodes)[kept], made, {})
    return Skeleton(beams, tuple(whole), (*cuts, *(None for _ in links)))


def _link(one: int, other: int, nodes: Sequence[Array], section: Section) -> Piece:
    along, area, inertia = nodes[other] - nodes[one], section.area, section.inertia_s + section.inertia_u
    up = np.eye(3)[int(np.argmin(np.abs(along)))]
    return Piece(one, other, STIFF * area, STIFF * inertia, STIFF * inertia, STIFF * inertia, up)
