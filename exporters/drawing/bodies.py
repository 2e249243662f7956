"""Parts and plates as a drawing sees them: edges, and flat faces that hide what lies behind. Vehicle axes, mm.

Tubes are drawn with sharp corners, round ones round; where a view looks square at them, the corners lie where its own
outline does.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import acos, ceil, radians
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from railmodel.end_cuts import to_cut
from railmodel.geometry.centreline import Stretch
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.part import RailPart
from railmodel.plates import Placing, Plate

FINE, COARSE = radians(3), radians(15)
"""Curved faces are looked at in facets between these, the finer the larger their radius."""

_SAG = 0.1  # mm between a facet and its arc, where that lies between the two

Kind = Literal["outline", "tangent"]

_ROUND = 32  # corners round a round tube: its outline lies on them where a view looks along an axis of it
_AROUND = ((1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0))  # corners (s, u) round the tube: +s top, -s top, ...


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight edge between two points (3,)."""

    a: Array
    b: Array
    kind: Kind = "outline"


@dataclass(frozen=True, slots=True)
class Round:
    """A circular edge.

    Args:
        centre: (3,).
        first: (3,) from the centre to where it begins.
        second: (3,) likewise a quarter turn on.
        angle: it turns through, radians.
    """

    centre: Array
    first: Array
    second: Array
    angle: float

    def points(self, turn: Array) -> Array:
        """Points (m, 3) at turns (m,) from its beginning."""
        return np.asarray(self.centre + np.cos(turn)[:, None] * self.first + np.sin(turn)[:, None] * self.second)


@dataclass(frozen=True, slots=True)
class Crease:
    """A straight edge between two faces that meet smoothly: drawn where the outline passes over it.

    Args:
        a: (3,).
        b: (3,).
        before: (3,) normal of one face, outward.
        after: (3,) normal of the other.
        tangent: whether it is where a bend begins or ends.
    """

    a: Array
    b: Array
    before: Array
    after: Array
    tangent: bool


@dataclass(frozen=True, eq=False)
class Body:
    """One solid of a drawing.

    Args:
        label: whose it is.
        dashed: whether it is shown dashed where it is behind another body.
        straights: straight edges.
        rounds: circular edges.
        creases: edges of curved faces.
        faces: (n, 4, 3) corners of flat faces; three-cornered ones repeat the last.
        normals: (n, 3) outward.
        joins: (n, 4) whether a face goes on beyond its border from each corner to the next, all but flat.
    """

    label: str
    dashed: bool
    straights: tuple[Straight, ...]
    rounds: tuple[Round, ...]
    creases: tuple[Crease, ...]
    faces: Array
    normals: Array
    joins: NDArray[np.bool_]


def steps(angle: float, radius: float) -> int:
    """Facets of an arc (radians, mm)."""
    facet = 2 * acos(max(1 - _SAG / radius, -1.0)) if radius > 0 else COARSE
    return max(1, ceil(angle / min(max(facet, FINE), COARSE)))


def tube_body(part: RailPart) -> Body:
    """A tube, its ends cut as they are."""
    rim, smooth = _rim(part.section), part.section.round
    count = len(rim)
    straights: list[Straight] = []
    rounds: list[Round] = []
    creases: list[Crease] = []
    faces: list[Array] = []
    normals: list[Array] = []
    joins: list[tuple[bool, ...]] = []
    stretches = [stretch for stretch in part.line.stretches if stretch.length > 0]
    near, far = _ends(part, rim)
    for i, stretch in enumerate(stretches):
        rings, around = _rings(stretch, rim)
        rings[0] = near if i == 0 else rings[0]
        rings[-1] = far if i == len(stretches) - 1 else rings[-1]
        if smooth:
            creases += _sides(rings, around)
        elif stretch.kind == "straight":
            straights += [Straight(rings[0][k], rings[-1][k]) for k in range(count)]
        else:
            rounds += [_round(stretch, across, up) for across, up in rim]
        for j, (here, there, outward) in enumerate(zip(rings[:-1], rings[1:], around, strict=True)):
            after = np.roll(np.arange(count), -1)
            faces += list(np.stack([here, there, there[after], here[after]], axis=1))
            normals += outward
            first, last = i == 0 and j == 0, i == len(stretches) - 1 and j == len(around) - 1
            joins += [(smooth, not last, smooth, not first)] * count
        creases += _creases(stretch, rings, around, rim)
    for ring, looks in ((near, -part.line.start.t), (far, part.line.end.t)):
        straights += _mouth(ring, part, looks)
        for quad, inner in _lid(ring):
            faces.append(quad)
            normals.append(looks)
            joins.append(inner)
    edges = tuple(straights), tuple(rounds), tuple(creases)
    return Body(part.label, True, *edges, np.array(faces), np.array(normals), np.array(joins))


def plate_body(plate: Plate, placing: Placing) -> Body:
    """A plate where it lies."""
    from ezdxf.math.triangulation import mapbox_earcut_2d

    straights: list[Straight] = []
    rounds: list[Round] = []
    creases: list[Crease] = []
    faces: list[Array] = []
    normals: list[Array] = []
    joins: list[tuple[bool, ...]] = []
    back_and_face = (0.0, plate.thickness)
    loops = [[(e.start, e.end, e.turn, e.centre if e.turn else None) for e in plate.outline.edges]]
    for x, y, diameter in plate.holes:
        middle, out = np.array([x, y]), np.array([diameter / 2, 0.0])
        loops.append([(middle + out, middle - out, -np.pi, middle), (middle - out, middle + out, -np.pi, middle)])
    for loop in loops:
        for start, end, turn, centre in loop:
            for depth in back_and_face:
                if centre is None:
                    straights.append(Straight(*placing.points(np.array([start, end]), depth)))
                else:
                    rounds.append(_flat_round(placing, start, centre, turn, depth))
        rim = np.concatenate([_flat_points(*edge) for edge in loop])
        low, high = (placing.points(rim, depth) for depth in back_and_face)
        corner = _sharp(rim)
        for i in range(len(rim)):
            after = (i + 1) % len(rim)
            faces.append(np.array([low[i], low[after], high[after], high[i]]))
            normals.append(_rim_normal(placing, rim[i], rim[after]))
            joins.append((False, not corner[after], False, not corner[i]))
            if corner[i]:
                straights.append(Straight(low[i], high[i]))
            else:
                before = _rim_normal(placing, rim[i - 1], rim[i])
                creases.append(Crease(low[i], high[i], before, normals[-1], tangent=False))
    outer, *holes = [np.concatenate([_flat_points(*edge) for edge in loop]) for loop in loops]
    rims = {_ends_key(a, b) for loop in (outer, *holes) for a, b in zip(loop, np.roll(loop, -1, axis=0), strict=True)}
    for triangle in mapbox_earcut_2d(outer.tolist(), [hole.tolist() for hole in holes]):
        flat = np.array([(point.x, point.y) for point in triangle])
        inner = [_ends_key(flat[k], flat[(k + 1) % 3]) not in rims for k in range(3)]
        for depth, sign in zip(back_and_face, (-1.0, 1.0), strict=True):
            corners = placing.points(flat, depth)
            faces.append(np.array([*corners, corners[-1]]))
            normals.append(sign * placing.normal)
            joins.append((inner[0], inner[1], False, inner[2]))
    edges = tuple(straights), tuple(rounds), tuple(creases)
    return Body(plate.name, False, *edges, np.array(faces), np.array(normals), np.array(joins))


def _ends_key(a: Array, b: Array) -> frozenset[tuple[float, float]]:
    """An edge by its ends, whichever way it runs."""
    return frozenset((round(float(x), 6), round(float(y), 6)) for x, y in (a, b))


def _rim(section: Section) -> Array:
    """(m, 2) corners (s, u) round a tube, mm: four, or of a round one enough to look round."""
    if not section.round:
        return np.array(_AROUND) * [section.width / 2, section.height / 2]
    angle = 2 * np.pi * np.arange(_ROUND) / _ROUND
    return np.stack([np.cos(angle), np.sin(angle)], axis=1) * section.width / 2


def _sides(rings: Sequence[Array], around: Sequence[Sequence[Array]]) -> Iterator[Crease]:
    """Lines along a round tube where it may turn away."""
    for here, there, outward in zip(rings[:-1], rings[1:], around, strict=True):
        for k in range(len(here)):
            yield Crease(here[k], there[k], outward[k - 1], outward[k], tangent=False)


def _lid(ring: Array) -> Iterator[tuple[Array, tuple[bool, ...]]]:
    """The face of an end in pieces of four corners, and which of their edges lie within it."""
    for i in range(1, len(ring) - 1, 2):
        yield ring[[0, i, i + 1, i + 2 if i + 2 < len(ring) else i + 1]], (i > 1, False, False, i + 3 < len(ring))


def _rings(stretch: Stretch, rim: Array) -> tuple[list[Array], list[list[Array]]]:
    """Corners (m, 3) of the tube at steps along a stretch, and between them its faces' normals."""
    count = 1 if stretch.kind == "straight" else steps(stretch.angle, stretch.radius)
    pose = stretch.pose(np.linspace(0.0, stretch.length, count + 1))
    rings = [at + rim @ np.array([s, u]) for at, s, u in zip(pose.at, pose.s, pose.u, strict=True)]
    middle = stretch.pose((np.arange(count) + 0.5) * stretch.length / count)
    return rings, [_outward(s, u, rim) for s, u in zip(middle.s, middle.u, strict=True)]


def _outward(s: Array, u: Array, rim: Array) -> list[Array]:
    """Normals of the faces, each between a corner and the next."""
    along = np.roll(rim, -1, axis=0) - rim
    flat = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    return list(flat @ np.array([s, u]))


def _ends(part: RailPart, rim: Array) -> tuple[Array, Array]:
    """Corners (m, 3) of the tube's two ends; a cope is drawn from corner to corner."""
    found = []
    for i, pose in enumerate((part.line.start, part.line.end)):
        ring = pose.at + rim @ np.array([pose.s, pose.u])
        if part.cuts is not None:
            reach = np.nan_to_num(to_cut(part.cuts[i], ring, pose.t))
            ring = ring + reach[:, None] * pose.t
        found.append(ring)
    return found[0], found[1]


def _round(stretch: Stretch, across: float, up: float) -> Round:
    """A corner's edge through a bend."""
    corner = stretch.start.at + across * stretch.start.s + up * stretch.start.u
    level = float(np.dot(corner - stretch.centre, stretch.axis))
    centre = stretch.centre + level * stretch.axis
    first = corner - centre
    return Round(centre, first, np.cross(stretch.axis, first), stretch.angle)


def _creases(stretch: Stretch, rings: list[Array], around: list[list[Array]], rim: Array) -> Iterator[Crease]:
    """Where each curved face of a bend may turn away, its beginning and end among them."""
    if stretch.kind == "straight":
        return
    poses = stretch.pose([0.0, stretch.length])
    ends = [_outward(s, u, rim) for s, u in zip(poses.s, poses.u, strict=True)]
    beside = pairwise([ends[0], *around, ends[1]])
    for i, (ring, (before, after)) in enumerate(zip(rings, beside, strict=True)):
        for k in range(len(ring)):
            yield Crease(ring[k], ring[(k + 1) % len(ring)], before[k], after[k], tangent=i in {0, len(around)})


def _mouth(ring: Array, part: RailPart, looks: Array) -> Iterator[Straight]:
    """The end's outline, and the inside of the wall in it."""
    count, wall, middle = len(ring), part.section.wall, ring.mean(axis=0)
    for k in range(count):
        yield Straight(ring[k], ring[(k + 1) % count])
    if part.section.round:
        inner = list(middle + (ring - middle) * (1 - 2 * wall / part.section.width))
    else:
        beside = [[ring[k - 1] - ring[k], ring[(k + 1) % count] - ring[k]] for k in range(count)]
        inner = [ring[k] + sum(wall * one / np.linalg.norm(one) for one in beside[k]) for k in range(count)]
    lift = 1e-3 * looks  # so that the end's own face does not hide them
    if np.linalg.norm(inner[0] - middle) < np.linalg.norm(ring[0] - middle):
        for k in range(count):
            yield Straight(inner[k] + lift, inner[(k + 1) % count] + lift, "tangent")


def _flat_points(start: Array, end: Array, turn: float, centre: Array | None) -> Array:
    """(m, 2) points of a plate's edge, without its end."""
    if centre is None:
        return np.array([start])
    out = start - centre
    count = steps(abs(turn), float(np.linalg.norm(out)))
    angle = turn * np.arange(count) / count
    across = np.array([-out[1], out[0]])
    return np.asarray(centre + np.cos(angle)[:, None] * out + np.sin(angle)[:, None] * across)


def _flat_round(placing: Placing, start: Array, centre: Array, turn: float, depth: float) -> Round:
    out = start - centre
    across = np.array([-out[1], out[0]]) * np.sign(turn)
    middle, first, second = placing.points(np.array([centre, centre + out, centre + across]), depth)
    return Round(middle, first - middle, second - middle, abs(turn))


def _rim_normal(placing: Placing, a: Array, b: Array) -> Array:
    """(3,) outward normal of a plate's edge from a to b, the metal on its left."""
    along = (b - a) / np.linalg.norm(b - a)
    return np.asarray(along[1] * placing.across - along[0] * placing.up)


def _sharp(rim: Array) -> Array:
    """(m,) which points of a closed rim are corners rather than steps of an arc."""
    before, after = rim - np.roll(rim, 1, axis=0), np.roll(rim, -1, axis=0) - rim
    turn = np.arctan2(
        before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], np.sum(before * after, axis=1)
    )  # fmt: skip
    return np.asarray(np.abs(turn) > 1.2 * COARSE)
