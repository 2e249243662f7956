"""Light triangle meshes of parts, for looking at: the rounded outline swept along the centreline, inside and out.

Facets lie inside the true corner and chords inside the true bend, so a mesh is a picture and no measure; files to
measure from are the exact solids. mm.
"""

from base64 import b64encode
from dataclasses import dataclass
from math import ceil, pi, radians

import numpy as np
from numpy.typing import NDArray

from railmodel.geometry.centreline import Pose
from railmodel.geometry.rows import Array
from railmodel.part import EndCut, RailPart

CORNER_FACETS = 3
"""Facets of a rounded corner."""

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


def mesh_of(part: RailPart, *, corner_facets: int = CORNER_FACETS, bend_facet: float = BEND_FACET) -> Mesh:
    """A part as a closed mesh: outer and inner faces and both ends, cut as the part's ends are cut.

    Args:
        part: the part.
        corner_facets: facets of a rounded corner.
        bend_facet: greatest facet of a bend, radians.
    """
    size = part.section
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
    """A ring moved along the tube onto the face that its end is cut to."""
    if cut.kind == "square":
        return ring
    flat = ring + ((cut.at - ring) @ cut.normal / (along @ cut.normal))[:, None] * along
    if cut.axis is None or cut.direction is None or cut.kind == "mitred":
        return np.asarray(flat)
    across = np.eye(3) - np.outer(cut.direction, cut.direction)
    off, step = (flat - cut.axis) @ across, across @ along
    a, b, c = step @ step, off @ step, np.sum(off * off, axis=1) - cut.radius**2
    root = np.sqrt(np.maximum(b * b - a * c, 0.0))
    low, high = (-b - root) / a, (-b + root) / a
    return np.asarray(flat + np.where(np.abs(low) < np.abs(high), low, high)[:, None] * along)


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
