"""Parts as convex solids, with the way back from a point on a solid to a station of the part.

A bent tube with rounded corners is, away from its ends, a tube with square corners swollen by a ball of the corner
radius: each place of its rounding is that far from the place of the square tube in the same cross-section. So its
pieces are those of the square tube, eight corners each, and only the last corner radius before each flat end is a
straight prism of its own. The pieces leave nothing of the true tube out and stand out from it by at most the sag.
"""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from railmodel.errors import GeometryError
from railmodel.fitting.bundles import bundles
from railmodel.fitting.motion import Vector
from railmodel.fitting.shapes import Cylinder
from railmodel.fitting.solids import Frame, Solids, polyhedron, solids_of
from railmodel.geometry.centreline import Centreline, Pose, Stretch
from railmodel.geometry.pieces import ConvexPiece, convex, outline, pieces
from railmodel.geometry.rows import Array, BendRows
from railmodel.geometry.section import Section
from railmodel.tolerances import LENGTH

SAG: float = 0.02
"""How far the pieces of a part may stand out from the true part, mm."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where on a part something is.

    Args:
        station: length along the part from the first end of its line, mm.
        kind: whether it lies on a straight or in a bend.
        number: straights count from 0, bends from 1, in the order of the part's line.
    """

    station: float
    kind: Literal["straight", "bend"]
    number: int


@dataclass(frozen=True, eq=False)
class Body:
    """A part made of convex solids.

    Args:
        name: what people call it.
        line: its centreline.
        solids: its pieces, and after them bundles of slices of its bends.
        pieces: the polyhedra they are made of (the square-cornered core, where the solid has a ball); none where
            the part is round.
        stretch: index into `line.stretches` of each piece.
    """

    name: str
    line: Centreline
    solids: Solids
    pieces: tuple[ConvexPiece, ...]
    stretch: tuple[int, ...]

    def place(self, piece: int, point: Array) -> Place:
        """Station and stretch of a point (3,) on a piece."""
        stretch = self.line.stretches[self.stretch[piece]]
        along = min(max(along_stretch(stretch, point), 0.0), max(stretch.length, 0.0))
        return Place(stretch.station + along, stretch.kind, stretch.number)

    def lengthened(self, piece: int, by: float) -> Frame:
        """A piece drawn out along the tube by so much, where the tube goes on, for the collision library."""
        if not self.pieces:
            return self.solids.frame(piece)
        given = self.pieces[piece]
        rings = np.array(np.split(given.vertices, 2))
        along = rings[1].mean(axis=0) - rings[0].mean(axis=0)
        along /= np.linalg.norm(along)
        rings[0] -= min(by, given.begin) * along
        rings[1] += min(by, self.line.length - given.end) * along
        shape = polyhedron(rings.reshape(-1, 3), given.triangles, float(self.solids.ball[piece]))
        return shape, np.eye(3), np.zeros(3)


def rail_body(name: str, line: Centreline, section: Section, sag: float = SAG) -> Body:
    """A bent tube with flat square ends; it counts as filled.

    Args:
        name: what people call it.
        line: centreline.
        section: tube section.
        sag: how far the pieces may stand out from the true tube, mm.

    Raises:
        GeometryError: a bend whose centre lies inside the tube, or a tube of no length.
    """
    for stretch in line.bends:
        _check_bend(stretch, section)
    corner = section.corner
    straights = line.rows.straights
    spare = 2 * corner if len(straights) == 1 else corner
    if corner <= sag or min(straights[0], straights[-1]) <= spare + LENGTH:
        plain = pieces(line, section, sag)
        if not plain:
            raise GeometryError(f"{name} has no length: give it a straight or a bend")
        return _body(name, line, plain, (0.0, 0.0), ())
    ball = min(corner, min(section.height, section.width) / 2 * (1 - 1e-6))
    height, width = section.height - 2 * ball, section.width - 2 * ball
    core = Section(height=height, width=width, wall=min(height, width) / 4, corner=0.0)
    inner = [
        ConvexPiece(piece.vertices, piece.stretch, piece.begin + corner, piece.end + corner)
        for piece in pieces(_shortened(line, corner), core, sag)
    ]
    ends = [_end(line.start, corner, section, sag, 0, 0.0)]
    last = len(line.stretches) - 1
    ends.append(_end(line.pose_at(line.length - corner), corner, section, sag, last, line.length - corner))
    return _body(name, line, (*inner, *(piece for piece, _ in ends)), (ball, corner), tuple(box for _, box in ends))


def round_body(name: str, start: Vector, end: Vector, diameter: float) -> Body:
    """A straight round tube or bar with flat square ends; it counts as filled.

    Raises:
        GeometryError: no length or no diameter.
    """
    solids = Cylinder(start=start, end=end, diameter=diameter).solids()
    across = np.eye(3)[int(np.argmin(np.abs(solids.axis[0])))]
    line = Centreline.from_points([start, end], np.zeros(0), across)
    return Body(name, line, solids, (), (0,))


def along_stretch(stretch: Stretch, point: Array) -> float:
    """Length along a stretch, or its continuation, at which a point (3,) stands square to it, mm."""
    if stretch.kind == "straight":
        return float((point - stretch.start.at) @ stretch.start.t)
    off = point - stretch.centre
    middle = stretch.angle / 2
    turn = float(np.arctan2(off @ stretch.start.t, -(off @ stretch.inward))) - middle
    return (middle + (turn + np.pi) % (2 * np.pi) - np.pi) * stretch.radius


def _body(
    name: str, line: Centreline, found: tuple[ConvexPiece, ...], rounding: tuple[float, float], ends: tuple[Array, ...]
) -> Body:
    """A body of pieces, swollen by a ball; the last ones, as many as `ends`, are rounded prisms around boxes `ends`.

    `rounding` is the radius of the ball of the pieces and of the disc of the ends.
    """
    inner = len(found) - len(ends)
    corners = [*(piece.vertices for piece in found[:inner]), *ends]
    width = max(len(one) for one in corners)
    vertices = np.stack([np.concatenate([one, np.repeat(one[:1], width - len(one), axis=0)]) for one in corners])
    is_end = np.arange(len(found)) >= inner
    along = np.array([line.stretches[piece.stretch].start.t for piece in found])
    if ends:
        along[is_end] = [line.start.t, line.end.t]

    bends = bundles(line, found)
    shapes = [*(piece.vertices for piece in found), *bends.vertices]
    more = len(bends.vertices)
    ball = np.append(np.where(is_end, 0.0, rounding[0]), np.full(more, rounding[0]))
    disc = np.append(np.where(is_end, rounding[1], 0.0), np.zeros(more))

    def make(index: int) -> Any:
        shape = convex(shapes[index])
        shape.setSweptSphereRadius(ball[index])
        return shape

    if more:
        wider = np.repeat(bends.vertices[:, :1], width - 8, axis=1)
        vertices = np.concatenate([vertices, np.concatenate([bends.vertices, wider], axis=1)])
        ahead = bends.vertices[:, 4:].mean(axis=1) - bends.vertices[:, :4].mean(axis=1)
        along = np.concatenate([along, ahead / np.linalg.norm(ahead, axis=-1, keepdims=True)])
    solids = replace(
        solids_of(vertices, make, ball=ball, disc=disc, axis=along),
        children=np.concatenate([np.zeros((len(found), 2), dtype=np.int64), bends.children]),
        slack=np.append(np.zeros(len(found)), bends.slack),
    )
    return Body(name, line, solids, found, tuple(piece.stretch for piece in found))


def _end(
    pose: Pose, length: float, section: Section, sag: float, stretch: int, begin: float
) -> tuple[ConvexPiece, Array]:
    """The prism (around the true rounding) and the box inside the rounding of a tube's last bit."""
    at, t, s, u = (np.asarray(one).reshape(3) for one in (pose.at, pose.t, pose.s, pose.u))

    def prism(polygon: Array) -> Array:
        across = at + polygon @ np.stack([s, u])
        return np.concatenate([across, across + length * t])

    half = np.array([section.width, section.height]) / 2 - section.corner
    box = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return ConvexPiece(prism(outline(section, sag)), stretch, begin, begin + length), prism(box)


def _shortened(line: Centreline, by: float) -> Centreline:
    rows = line.rows
    straights = rows.straights
    straights[0] -= by
    straights[-1] -= by
    cut = BendRows.of(straights[:-1], rows.rotation, rows.angle, rows.radius, straights[-1])
    start = line.start
    return Centreline(cut, Pose(start.at + by * start.t, start.t, start.s, start.u))


def _check_bend(stretch: Stretch, section: Section) -> None:
    flat = np.array([section.height, section.width]) / 2 - section.corner
    half = float(np.abs([np.cos(stretch.roll), np.sin(stretch.roll)]) @ flat) + section.corner
    if stretch.radius - half <= LENGTH:
        raise GeometryError(
            f"bend {stretch.number}: radius {stretch.radius:g} puts the bend's centre inside the tube, "
            f"{stretch.radius - half:.4g} from its inner wall; choose a radius above {half:.4g}"
        )
