"""Light triangle meshes of parts, for looking at: the rounded outline swept along the centreline, inside and out.

Facets lie inside the true corner and chords inside the true bend, so a mesh is a picture and no measure; files to
measure from are the exact solids. mm.
"""

from base64 import b64encode
from dataclasses import dataclass
from math import ceil, pi, radians

import numpy as np
from numpy.typing import NDArray

from railmodel.end_cuts import to_cut
from railmodel.geometry.centreline import Pose
from railmodel.geometry.rows import Array
from railmodel.part import EndCut, RailPart
from railmodel.plates import Placing, Plate

CORNER_FACETS = 3
"""Facets of a rounded corner; twice as many on round tube."""

ARC_FACET = radians(15)
"""An arc of a plate's outline is cut into facets of at most this."""

BEND_FACET = radians(4)
"""A bend is cut into facets of at most this."""

_FLAT = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles that close a body.

    Args:
        points: (n, 3) vertices, mm.
        normals: (n, 3) unit, outward; vertices are doubled where the surface has an edge.
        triangles: (m, 3) indices, counter-clockwise seen from outside.
    """

    points: Array
    normals: Array
    triangles: NDArray[np.int64]


def mesh_of(part: RailPart, *, corner_facets: int | None = None, bend_facet: float = BEND_FACET) -> Mesh:
    """A part as a closed mesh: outer and inner faces and both ends, cut as the part's ends are cut.

    Args:
        part: the part.
        corner_facets: facets of a rounded corner; None for `CORNER_FACETS`.
        bend_facet: greatest facet of a bend, radians.
    """
    size = part.section
    if corner_facets is None:
        corner_facets = CORNER_FACETS * (2 if size.round else 1)
    outer = _outline(size.height, size.width, size.corner, corner_facets)
    inner = _outline(size.height - 2 * size.wall, size.width - 2 * size.wall, size.inside_corner, corner_facets)
    rings = _rings(part, bend_facet)
    skins = [_skin(part, rings, spots) for spots, _ in (outer, inner)]
    around = len(outer[0])
    meshes = [
        Mesh(skins[0].reshape(-1, 3), _carried(rings, outer[1]), _strips(len(rings.at), around)),
        Mesh(skins[1].reshape(-1, 3), -_carried(rings, inner[1]), _strips(len(rings.at), around)[:, ::-1]),
    ]
    for end, way in ((0, -1.0), (-1, 1.0)):
        normal = way * rings.t[end]
        if part.cuts is not None and part.cuts[end].kind != "square":
            normal = -part.cuts[end].normal
        ring = np.concatenate([skins[0][end], skins[1][end]])
        closed = _strips(2, around)[:, :: int(way)]
        meshes.append(Mesh(ring, np.tile(normal, (len(ring), 1)), closed))
    return _whole(_joined(meshes))


def plate_mesh(plate: Plate, placing: Placing) -> Mesh:
    """One copy of a plate as a closed mesh: back, face, rim and the walls of its holes."""
    from ezdxf.math import Vec2
    from ezdxf.math.triangulation import mapbox_earcut_2d

    rims = plate_rims(plate)
    cut = mapbox_earcut_2d(Vec2.list(rims[0]), [Vec2.list(rim) for rim in rims[1:]])
    inside = np.array([[(corner.x, corner.y) for corner in one] for one in cut])
    (ax, ay), (bx, by) = (inside[:, 1] - inside[:, 0]).T, (inside[:, 2] - inside[:, 0]).T
    inside = np.where((ax * by < ay * bx)[:, None, None], inside[:, ::-1], inside)
    flat, count = inside.reshape(-1, 2), np.arange(3 * len(inside)).reshape(-1, 3)
    normal = placing.normal
    meshes = [
        Mesh(placing.points(flat), np.tile(-normal, (len(flat), 1)), count[:, ::-1]),
        Mesh(placing.points(flat, plate.thickness), np.tile(normal, (len(flat), 1)), count),
    ]
    meshes += [_rim(rim, placing, plate.thickness) for rim in rims]
    return _whole(_joined(meshes))


def plate_rims(plate: Plate) -> list[Array]:
    """Polygons (m, 2) along a plate's outside and each of its holes, with the metal on their left."""
    turn = -ARC_FACET * np.arange(round(2 * pi / ARC_FACET))
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    holes = [np.array([x, y]) + diameter / 2 * circle for x, y, diameter in plate.holes]
    return [plate.outline.flattened(ARC_FACET), *holes]


def _rim(rim: Array, placing: Placing, thickness: float) -> Mesh:
    """The wall along a closed polygon (m, 2) that has the metal on its left."""
    ends = np.roll(rim, -1, axis=0)
    along = ends - rim
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    around = np.stack([rim, ends], axis=1).reshape(-1, 2)
    points = np.concatenate([placing.points(around), placing.points(around, thickness)])
    normals = np.repeat(outward, 2, axis=0) @ np.stack([placing.across, placing.up])
    first = 2 * np.arange(len(rim))
    back, face = first, first + len(around)
    quads = np.concatenate([np.stack([back, back + 1, face + 1], 1), np.stack([back, face + 1, face], 1)])
    return Mesh(points, np.tile(normals, (2, 1)), quads)


def packed(mesh: Mesh) -> dict[str, str]:
    """A mesh as base64 text of little-endian buffers: points float32, normals int8 (127 is 1), triangles uint16.

    Triangles are uint32 where there are more than 65,536 vertices.
    """
    wide = len(mesh.points) > 65536
    return {
        "points": _text(mesh.points.astype("<f4")),
        "normals": _text(np.round(mesh.normals * 127).astype("<i1")),
        "triangles": _text(mesh.triangles.astype("<u4" if wide else "<u2")),
        "index": "uint32" if wide else "uint16",
    }


def _text(array: NDArray[np.generic]) -> str:
    return b64encode(array.tobytes()).decode("ascii")


def _outline(height: float, width: float, radius: float, facets: int) -> tuple[Array, Array]:
    """Points (m, 2) round an outline as (s, u), counter-clockwise seen against t, and their outward normals.

    A sharp corner gives as many points as a rounded one, all on one spot, half of them with either side's normal.
    """
    turns = np.linspace(0.0, pi / 2, facets + 1)
    if radius <= _FLAT:
        turns = np.where(turns < pi / 4 - _FLAT, 0.0, pi / 2)
    spots, normals = [], []
    for i, (s, u) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        angle = turns + i * pi / 2
        normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        spots.append(np.array([s * (width / 2 - radius), u * (height / 2 - radius)]) + radius * normal)
        normals.append(normal)
    return np.concatenate(spots), np.concatenate(normals)


def _rings(part: RailPart, bend_facet: float) -> Pose:
    """The places (n,) along a part where its outline is set up."""
    found: list[Pose] = []
    for stretch in part.line.stretches:
        if stretch.length <= 0:
            continue
        count = 1 if stretch.kind == "straight" else ceil(stretch.angle / bend_facet)
        found.append(stretch.pose(np.linspace(0.0, stretch.length, count + 1)[1 if found else 0 :]))
    return Pose(*(np.concatenate([getattr(pose, name) for pose in found]) for name in ("at", "t", "s", "u")))


def _skin(part: RailPart, rings: Pose, spots: Array) -> Array:
    """The outline set up at every ring, (n, m, 3), the end rings moved onto the cuts."""
    skin = rings.at[:, None] + spots[None, :, :1] * rings.s[:, None] + spots[None, :, 1:] * rings.u[:, None]
    for end in (0, -1) if part.cuts is not None else ():
        assert part.cuts is not None
        skin[end] = _trimmed(skin[end], rings.t[end], part.cuts[end])
    return np.asarray(skin)


def _trimmed(ring: Array, along: Array, cut: EndCut) -> Array:
    """A ring moved along the tube onto the surface that its end is cut to."""
    if cut.kind == "square":
        return ring
    return np.asarray(ring + np.nan_to_num(to_cut(cut, ring, along))[:, None] * along)


def _carried(rings: Pose, normals: Array) -> Array:
    """Outline normals (m, 2) carried along the rings, (n * m, 3)."""
    return np.asarray(
        (normals[None, :, :1] * rings.s[:, None] + normals[None, :, 1:] * rings.u[:, None]).reshape(-1, 3)
    )


def _strips(rings: int, around: int) -> NDArray[np.int64]:
    """Triangles between neighbouring rings of `around` vertices each."""
    k = np.arange(around)
    after = (k + 1) % around
    quad = np.concatenate([np.stack([k, after, after + around], 1), np.stack([k, after + around, k + around], 1)])
    return np.asarray((quad[None] + np.arange(rings - 1)[:, None, None] * around).reshape(-1, 3))


def _joined(meshes: list[Mesh]) -> Mesh:
    starts = np.cumsum([0, *(len(mesh.points) for mesh in meshes[:-1])])
    return Mesh(
        np.concatenate([mesh.points for mesh in meshes]),
        np.concatenate([mesh.normals for mesh in meshes]),
        np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=True)]),
    )


def _whole(mesh: Mesh) -> Mesh:
    """The mesh without triangles that have no area."""
    a, b, c = (mesh.points[mesh.triangles[:, k]] for k in range(3))
    sides = np.stack([b - a, c - b, a - c])
    kept = np.linalg.norm(sides, axis=-1).min(axis=0) > 1e-6
    return Mesh(mesh.points, mesh.normals, mesh.triangles[kept])
