"""Light meshes of keep-clear shapes as drawn, in vehicle axes, mm: for looking at only."""

from itertools import pairwise
from typing import Any

import numpy as np

from exporters.mesh import Mesh
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.shapes import Box, Capsule, Cylinder, Shape, Sphere, turned
from railmodel.geometry.rows import Array

AROUND = 24
"""Facets round a cylinder."""

RINGS = 5
"""Facets from the rim of a half ball to its pole."""

MOST = 6000
"""Triangles of a mesh file that are shown as they are; more are brought together on a grid."""

_CELLS = 48

TINY = 1e-9
"""A radius that is none, mm."""


def shape_mesh(shape: Shape) -> Mesh:
    """A shape as triangles."""
    if isinstance(shape, Box):
        return _facets(_box(shape))
    if isinstance(shape, Sphere):
        at = np.array(shape.at, dtype=float)
        return _turned(at, at, np.array([0.0, 0.0, 1.0]), *_ball(shape.diameter / 2, 0.0))
    if isinstance(shape, Cylinder | Capsule):
        start, end = np.array(shape.start, dtype=float), np.array(shape.end, dtype=float)
        length = float(np.linalg.norm(end - start))
        rounding = _ball if isinstance(shape, Capsule) else _can
        return _turned(start, end, (end - start) / length, *rounding(shape.diameter / 2, length))
    assert isinstance(shape, MeshShape)
    return _facets(_fewer(shape.triangles))


def shape_outline(shape: Shape, axes: tuple[int, int]) -> Array:
    """The convex outline (m, 2) of a shape seen along the third axis, mm; none of one that has no area there."""
    from scipy.spatial import ConvexHull, QhullError

    flat = shape_mesh(shape).points[:, list(axes)]
    try:
        return np.asarray(flat[ConvexHull(flat).vertices])
    except QhullError:
        return np.zeros((0, 2))


def _facets(triangles: Array) -> Mesh:
    """Triangles (n, 3, 3) with a normal each."""
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    kept = size[:, 0] > 0
    normal = normal[kept] / size[kept]
    points = triangles[kept].reshape(-1, 3)
    return Mesh(points, np.repeat(normal, 3, axis=0), np.arange(len(points)).reshape(-1, 3))


def _box(box: Box) -> Array:
    """(12, 3, 3) triangles."""
    found = []
    for axis in range(3):
        one, other = (axis + 1) % 3, (axis + 2) % 3
        for sign in (1.0, -1.0):
            corners = np.empty((4, 3))
            corners[:, axis] = sign
            corners[:, one] = np.array([-1, 1, 1, -1]) * sign
            corners[:, other] = [-1, -1, 1, 1]
            found += [corners[[0, 1, 2]], corners[[0, 2, 3]]]
    return np.asarray(np.array(found) * (np.array(box.size) / 2) @ turned(box.turn).T + np.array(box.at))


def _ball(radius: float, length: float) -> tuple[Array, Array]:
    """Profile (k, 2) of a ball drawn out: distance from the axis and along it, and its normals."""
    turn = np.linspace(0.0, np.pi / 2, RINGS + 1)
    near = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    far = np.stack([np.sin(turn[::-1]), np.cos(turn[::-1])], axis=1)
    normals = np.concatenate([near, far])
    along = np.array([[0.0, 0.0]] * len(near) + [[0.0, length]] * len(far))
    return normals * radius + along, normals


def _can(radius: float, length: float) -> tuple[Array, Array]:
    """Profile of a cylinder, as in `_ball`."""
    profile = np.array([[0, 0], [radius, 0], [radius, 0], [radius, length], [radius, length], [0, length]], dtype=float)
    return profile, np.array([[0, -1], [0, -1], [1, 0], [1, 0], [0, 1], [0, 1]], dtype=float)


def _turned(start: Array, end: Array, along: Array, profile: Array, normals: Array) -> Mesh:
    """A profile turned about an axis from `start` on."""
    across = np.cross(along, np.eye(3)[int(np.argmin(np.abs(along)))])
    across /= np.linalg.norm(across)
    other = np.cross(along, across)
    turn = 2 * np.pi * np.arange(AROUND) / AROUND
    out = np.cos(turn)[:, None] * across + np.sin(turn)[:, None] * other

    def carried(values: Array) -> Array:
        return np.asarray((values[:, None, :1] * out + values[:, None, 1:] * along).reshape(-1, 3))

    return Mesh(start + carried(profile), carried(normals), _rings(profile))


def _rings(profile: Array) -> Any:
    """Triangles between rings of points, without those of no area."""
    here = np.arange(AROUND)
    behind = (here + 1) % AROUND
    found = []
    for ring, (one, other) in enumerate(pairwise(profile)):
        low, high = ring * AROUND, (ring + 1) * AROUND
        if np.allclose(one, other):
            continue
        if one[0] > TINY:
            found.append(np.stack([low + here, low + behind, high + behind], axis=1))
        if other[0] > TINY:
            found.append(np.stack([low + here, high + behind, high + here], axis=1))
    return np.concatenate(found)


def _fewer(triangles: Array) -> Array:
    """Triangles with their corners brought to the middles of a grid's cells where there are many."""
    if len(triangles) <= MOST:
        return triangles
    low = triangles.min(axis=(0, 1))
    cell = float(np.ptp(triangles.reshape(-1, 3), axis=0).max()) / _CELLS
    spots = np.round((triangles - low) / cell).astype(np.int64)
    code = (spots[..., 0] * 4096 + spots[..., 1]) * 4096 + spots[..., 2]
    whole = (code[:, 0] != code[:, 1]) & (code[:, 1] != code[:, 2]) & (code[:, 0] != code[:, 2])
    _, first = np.unique(np.sort(code[whole], axis=1), axis=0, return_index=True)
    return np.asarray(spots[whole][first] * cell + low, dtype=float)
